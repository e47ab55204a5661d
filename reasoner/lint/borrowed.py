"""A number of the shop's under somebody else's source.

Where a shop's rules change a number of an entry whose `source` is a key of the bibliography, and do not say whose
number it now is, it would stand there as if it had been published.

Good:

    faults:
      meter-high: {share: 40, source: practice}

Bad:

    faults:
      meter-high: {share: 40}
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.lint.context import Context, Finding

ID = "borrowed-source"
TITLE = "a changed number under the old source"
MEND = "add whose number it is: source: practice, judgement, or a key of `sources`"
NUMBERS = ("share", "shows", "pairs", "more likely", "otherwise", "given", "minutes", "wait", "money", "from")


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    written = context.book.written
    order = {file: number for number, file in enumerate(context.book.files)}  # from the lowest layer up
    for trail, value in written.items():
        section, name, key, *part = (*trail, "", "")[: max(3, len(trail))]
        source = written.get((section, name, "source"))
        if key not in NUMBERS or source is None or source.text not in context.book.sources:
            continue
        if part and trail[:3] in written:
            continue  # said of the whole
        says_its_own = key == "given" and "source: " in value.text
        if order[value.place.file] > order[source.place.file] and not says_its_own:
            what = f"{key}: {part[0]}" if part else key
            message = f'`{what}` of "{name}" is changed here, and would stand under {source.text}'
            yield Finding(section, name, value.place, len(value.text), message)
