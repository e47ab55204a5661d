"""A small case, and any plain data, for the tests of this folder."""

from __future__ import annotations

from pathlib import Path

from hypothesis import strategies as st

from reasoner.casebook import journal

HEAD = {
    "case": "kestrel",
    "opened": "2026-11-25T08:53:00+01:00",
    "rules": "12345678",  # all digits, and text all the same
    "vehicle": {"layout": "inline 4", "injection": "direct", "distance": "160000 km", "charged": "no"},
}
ANSWER = {"event": "answer", "step": 1, "values": {"0": 'öl riecht "scharf"'}, "at": "2026-11-25T09:00:00+01:00"}
NOTE = {"event": "note", "step": 2, "text": "line one\nline two\t\x7f\x85\u2028 # no comment: {[&*!|>'%@`"}


def write(folder: Path, *events: dict[str, object], name: str = "kestrel") -> Path:
    """A case file with these events, written by the program."""
    path = folder / f"{name}.yaml"
    with journal.create(path, HEAD) as kept:
        for event in events:
            assert kept.append(event) == ()
    return path


# Half characters are left out here: no UTF-8 file can hold them. They have a test of their own.
NASTY = ["\x00", "\x7f", "\x85", "\u2028", "\u2029", "\ufeff", "\ufffe", "\uffff", "\U0001f600", "- ", ": ", " #", "<<"]
LIKE_OTHER_THINGS = [
    "yes",
    "no",
    "null",
    "~",
    "12:30",
    "1e5",
    "0x1f",
    "007",
    "2026-11-25",
    "=",
    "-",
    "- ",
    "'",
    '"',
    "",
]
texts = st.one_of(
    st.text(st.characters(exclude_categories=["Cs"])),
    st.text(st.sampled_from("".join(NASTY) + 'ab\\"\r\n\t')),
    st.sampled_from(LIKE_OTHER_THINGS),
)
keys = texts.map(lambda text: text[:100])
finite = st.floats(allow_nan=False, allow_infinity=False)
scalars = st.one_of(st.none(), st.booleans(), st.integers(), finite, texts)
plain_data = st.recursive(
    scalars, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(keys, inner, max_size=4), max_leaves=12
)
events = st.dictionaries(keys, plain_data, max_size=5)
heads = st.fixed_dictionaries(
    {"case": texts, "opened": texts, "rules": texts},
    optional={"by": st.lists(texts, max_size=3)},
).flatmap(lambda head: st.dictionaries(keys, texts, max_size=4).map(lambda vehicle: {**head, "vehicle": vehicle}))
