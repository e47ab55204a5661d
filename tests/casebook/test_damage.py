"""A gallery of damaged files: each refused with its place, what is wrong and what would mend it. Full text asserted.

And any damage at all: a case or a CasebookError, nothing else.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.casebook import journal, store
from reasoner.casebook.casefile import LARGEST_CASE, load_case, load_ends, parse_case
from reasoner.casebook.trouble import CasebookError
from reasoner.casebook.writing import event_line, head_text
from tests.casebook.small import ANSWER, HEAD, NOTE, write

TOP = "format: 1\n" + head_text(HEAD)  # 10 lines
GOOD = TOP + event_line(ANSWER) + event_line(NOTE)
LEAVE_OUT = "; or put `# ` before the event to leave it out"
EVENT = 'an event is `- {"event": ...}` on one line; mend it, or put `# ` before it to leave it out'
CASE = "a case begins with `format: 1`, `case:`, `opened:`, `rules:`, `vehicle:` and then has `events:`"
BOMB = "a: &a [x, x]\n" + "".join(f"{b}: &{b} [*{a}, *{a}]\n" for a, b in zip("abcdefgh", "bcdefghi", strict=True))

GALLERY: dict[str, tuple[str | bytes, str, str]] = {
    "empty": ("", "1: there is nothing in this file", "delete it; no answer was in it yet"),
    "only blanks": ("\n \n", "1: there is nothing in this file", "delete it; no answer was in it yet"),
    "head cut off": (
        TOP[:50],
        "2: the head stops before the line `events:`",
        "add the line `events:` at its end, or delete the file if it held no answers yet",
    ),
    "events misspelt": (
        GOOD.replace("events:", "event:"),
        "12: the head stops before the line `events:`",
        "add the line `events:` at its end, or delete the file if it held no answers yet",
    ),
    "something behind events": (
        TOP.replace("events:", "events: []"),
        "10: there is something after `events:`",
        "write `events:` alone on its line, and below it one event a line: `- {...}`",
    ),
    "merge marks": (
        TOP + "<<<<<<< ours\n" + event_line(ANSWER) + "=======\n" + event_line(NOTE) + ">>>>>>> theirs\n",
        "11: two versions of this file were merged and not settled",
        "keep the lines you want of the two versions, delete the others and the marks",
    ),
    "merge marks, ends left": (
        GOOD + ">>>>>>> theirs\n",
        "13: two versions of this file were merged and not settled",
        "keep the lines you want of the two versions, delete the others and the marks",
    ),
    "other YAML": ("faults:\n  a: {b: c}\n", "1: this is not a case: there is no line `events:`", CASE),
    "other YAML with events": ("name: x\nevents:\n- {}\n", "1: this is not a case: it has no `format:`", CASE),
    "a list": ("- a\n- b\n", "1: this is not a case: there is no line `events:`", CASE),
    "no YAML": ("Dear customer,\n", "1: this is not a case: there is no line `events:`", CASE),
    "newer": (
        GOOD.replace("format: 1", "format: 12"),
        "1: written by a newer program (format 12; this one knows 1)",
        "use the newer program",
    ),
    "newer and otherwise built": (
        "format: 2\nanswers: []\n",
        "1: written by a newer program (format 2; this one knows 1)",
        "use the newer program",
    ),
    "no format": (
        GOOD.replace("format: 1", "format: first"),
        '1: "first" is no format of cases',
        "write `format: 1`",
    ),
    "no vehicle": (
        "format: 1\ncase: a\nopened: b\nrules: c\nevents:\n",
        "1: `vehicle:` is missing in the head",
        "write `vehicle:` with keys and values below it above `events:`",
    ),
    "empty vehicle": (
        "format: 1\ncase: a\nopened: b\nrules: c\nvehicle:\nevents:\n",
        "1: `vehicle:` has no keys and values below it",
        "write `vehicle:` with keys and values below it above `events:`",
    ),
    "key twice in the head": (
        GOOD.replace("vehicle:", "rules: b\nvehicle:"),
        '5: "rules" is written twice; first on line 4',
        "keep one of the two",
    ),
    "bracket open in the head": (
        GOOD.replace("kestrel", "[kestrel"),
        "2: this `[` is never closed",
        "close it with `]`",
    ),
    "quote open in the head": (GOOD.replace('"no"', '"no'), "9: this quote is never closed", 'close it with "'),
    "labels in the head": (
        BOMB + GOOD,
        "1: `&` labels something to be repeated, which is not done here",
        "write it out where it is needed; if it is text, put it in quotes",
    ),
    "labels in an event": (
        TOP + "- {a: &a [1]}\n" + "- {a: *a}\n",
        "11: `&` labels something to be repeated, which is not done here",
        "write it out where it is needed; if it is text, put it in quotes" + LEAVE_OUT,
    ),
    "repeated in an event": (
        TOP + "- {a: *a}\n",
        "11: `*` repeats something written elsewhere, which is not done here",
        "write it out where it is needed; if it is text, put it in quotes" + LEAVE_OUT,
    ),
    "copied keys": (
        TOP + "- <<: {a: 1}\n",
        "11: `<<` would copy keys from elsewhere, which is not done here",
        "write them out" + LEAVE_OUT,
    ),
    "tag": (
        TOP + "- !!python/name:os.system {a: 1}\n",
        "11: `!` has a meaning of its own in YAML",
        "if it is text, put it in quotes" + LEAVE_OUT,
    ),
    "tag on a text": (
        TOP + "- {a: !!binary xx}\n",
        "11: `!` has a meaning of its own in YAML",
        "if it is text, put it in quotes" + LEAVE_OUT,
    ),
    "map as key": (
        TOP + "- ? {a: 1}\n  : b\n",
        "11: a key is a plain word, not a list or a map",
        "write `key: value`" + LEAVE_OUT,
    ),
    "not UTF-8": (
        GOOD.encode().replace("ö".encode(), b"\xf6"),
        "11: not UTF-8 text from here on",
        "save it as UTF-8 (the editor's Save as, Encoding)",
    ),
    "UTF-16": (
        GOOD.encode("utf-16"),
        "1: not UTF-8 text from here on",
        "save it as UTF-8 (the editor's Save as, Encoding)",
    ),
    "binary": (
        GOOD.replace("kestrel", "kes\0trel"),
        "2: this is no text file",
        "is it another file, or was the disk damaged?",
    ),
    "terminal commands": (
        GOOD.replace("scharf", "\x1b[2J"),
        "11: a control character (U+001B) that does not belong in a text",
        "delete it, or write it as an escape in quotes",
    ),
    "line break of another kind": (
        GOOD.replace("scharf", "a\u2028b"),
        "11: a control character (U+2028) that does not belong in a text",
        "delete it, or write it as an escape in quotes",
    ),
    "old line ends": (
        GOOD.replace("\n", "\r"),
        "1: a control character (U+000D) that does not belong in a text",
        "delete it, or write it as an escape in quotes",
    ),
    "an event is text": (TOP + "- drove home\n", "11: an event has keys and values, and here are none", EVENT),
    "an event is a list": (TOP + "- [1, 2]\n", "11: an event has keys and values, and here are none", EVENT),
    "an event is nothing": (GOOD + "-\n", "13: an event has keys and values, and here are none", EVENT),
    "no dash": (TOP + "{}\n", "11: an event begins with `- `", EVENT),
    "no blank after the dash": (TOP + "-{}\n", "11: an event begins with `- `", EVENT),
    "cut off in the middle": (
        TOP + event_line(ANSWER)[:40] + "\n" + event_line(NOTE),
        "11: this quote is never closed",
        'close it with "' + LEAVE_OUT,
    ),
    "another indent": (
        GOOD + "  - {}\n",
        "13: this line does not line up with those above it",
        "it begins in column 3, the line above it in column 1" + LEAVE_OUT,
    ),
    "a comma too many": (
        TOP + '- {"a": 1,, "b": 2}\n',
        "11: something is missing before this `,`",
        "write it" + LEAVE_OUT,
    ),
    "key twice in an event": (
        TOP + '- {"a": 1, "a": 2}\n',
        '11: "a" is written twice; first on line 11',
        "keep one of the two" + LEAVE_OUT,
    ),
    "tab for indent": (
        TOP + "- event: note\n\ttext: a\n",
        "12: a tab where spaces should be",
        "use spaces, two for each level" + LEAVE_OUT,
    ),
    "a hand's event, wrong in its third line": (
        TOP + "- event: note\n  text: a\n  more: b: c\n",
        "13: a colon inside a text",
        'put it in quotes: more: "b: c"' + LEAVE_OUT,
    ),
    "second document": (GOOD + "---\n" + TOP, "13: a second document begins here", "delete the line `---`" + LEAVE_OUT),
    "end of document": (GOOD + "...\n", "13: `...` ends the document, and more is to follow", "delete it" + LEAVE_OUT),
    "too deep": (
        TOP + "- {a: " + "[" * 60 + "]" * 60 + "}\n",
        "11: nested more than 51 deep",
        "a bracket may be left open above" + LEAVE_OUT,
    ),
    "a number of 5000 digits": (
        TOP + "- {a: " + "9" * 5000 + "}\n",
        "11: a number too large to be meant",
        "if it is text, put it in quotes" + LEAVE_OUT,
    ),
    "infinite": (
        TOP + "- {a: 1.0e+999}\n",
        "11: a number too large to be meant",
        "if it is text, put it in quotes" + LEAVE_OUT,
    ),
}


@pytest.mark.parametrize("name", GALLERY)
def test_gallery(tmp_path: Path, name: str) -> None:
    content, message, mend = GALLERY[name]
    path = tmp_path / "damaged.yaml"
    data = content if isinstance(content, bytes) else content.encode()
    path.write_bytes(data)
    write(tmp_path, ANSWER, name="good")
    with pytest.raises(CasebookError) as refused:
        load_case(path)
    said, expected = refused.value.one_line, f"{path}:{message}"
    assert said == expected
    assert str(refused.value) == f"{said}\n   {mend}"
    with pytest.raises(CasebookError) as refused:
        journal.resume(path)
    assert refused.value.one_line == said
    assert path.read_bytes() == data, "a refused file is left as it is"
    assert sorted(os.listdir(tmp_path)) == ["damaged.yaml", "good.yaml"], "no lock is left"
    damaged, good = store.entries(tmp_path)
    assert damaged.trouble == said and "\n" not in damaged.trouble
    assert good.trouble == "" and good.latest == (ANSWER,)


@pytest.mark.parametrize("kind", ["folder", "pipe", "device", "nothing", "circle", "link to nothing", "too large"])
def test_what_is_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    path = tmp_path / "odd.yaml"
    expected = {
        "folder": "this is a folder, not a file",
        "nothing": "the case cannot be opened: the file or its folder",
    }
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        path.symlink_to("/dev/zero")
    elif kind == "circle":
        path.symlink_to(path)
    elif kind == "link to nothing":
        path.symlink_to(tmp_path / "gone")
    elif kind == "too large":
        path.touch()
        os.truncate(path, LARGEST_CASE + 1)
    expected |= {"pipe": "this is a pipe or a device, not a file", "device": "this is a pipe or a device, not a file"}
    expected |= {"circle": "the case cannot be opened: its links lead round in a circle"}
    expected |= {"link to nothing": expected["nothing"], "too large": "larger than 8 MB, which no case is"}
    write(tmp_path, ANSWER, name="good")
    if kind != "too large":  # no lock file is made beside something that is no case, in /dev least of all
        monkeypatch.delattr(journal, "lock_case")
    for use in (load_case, load_ends, journal.resume):
        with pytest.raises(CasebookError) as refused:
            use(path)
        assert refused.value.message.startswith(expected[kind]), refused.value
    assert not list(tmp_path.glob("*.lock"))
    listed = {entry.name: entry for entry in store.entries(tmp_path)}
    assert listed["good"].latest == (ANSWER,)
    assert kind == "nothing" or expected[kind] in listed["odd"].trouble


@pytest.mark.parametrize("opening", ["[", "{a: ", '{"a": ', "- ", "? ", '{"a": ['])
def test_a_hundred_thousand_levels_are_refused(opening: str) -> None:
    for text in (TOP + "- " + opening * 100_000 + "\n", opening * 100_000 + "\n" + TOP):
        with pytest.raises(CasebookError):
            parse_case(text.encode(), Path("x.yaml"))


def test_messages_hold_no_control_characters(tmp_path: Path) -> None:
    path = tmp_path / "a\x1b[2Jb.yaml"
    path.write_text(TOP + '- {"\\u001b]0;x": 1, "\\u001b]0;x": 2}\n')
    with pytest.raises(CasebookError) as refused:
        load_case(path)
    assert "\\x1b[2J" in str(refused.value) and "\\x1b]0;x" in str(refused.value)
    assert str(refused.value).replace("\n", "").isprintable()


@given(st.data())
def test_any_damage_is_a_case_or_a_clear_refusal(data: st.DataObject) -> None:
    """Cut out, doubled, overwritten, inserted: whatever happens to a file."""
    content = GOOD.encode()
    for _ in range(data.draw(st.integers(1, 3))):
        start = data.draw(st.integers(0, len(content)))
        end = data.draw(st.integers(start, min(len(content), start + 40)))
        piece = data.draw(st.one_of(st.binary(max_size=8), st.sampled_from(PIECES), st.just(content[start:end] * 2)))
        content = content[:start] + piece + content[end:]
    try:
        case, _ = parse_case(content, Path("x.yaml"))
    except CasebookError as error:
        assert error.message and error.mend and error.line and "\n" not in error.one_line
        assert 1 <= error.line <= content.count(b"\n") + 1
    else:
        assert all(isinstance(event, dict) for event in case.events)


PIECES = [b"- ", b"\n", b"\n- ", b"\n  ", b"{", b"}", b"[", b'"', b"'", b"|", b">", b"&a ", b"*a", b"!x ", b"? ", b": "]
PIECES += [b"#", b"---\n", b"...\n", b"%", b"@", b"\t", b"\r", b"\0", b"\xff", b"\xef\xbb\xbf", b"<<: ", b"events:\n"]
