"""All the lints, run over a rule base; what was waived, with a reason, is left out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from reasoner.lint import checks, entries, faults, numbers
from reasoner.lint.context import Context, Lint, LintFinding
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.problem import Problem, choices_of, near

LINTS: Mapping[str, Lint] = {
    found.name: found
    for subject in (faults, checks, numbers, entries)
    for found in vars(subject).values()
    if isinstance(found, Lint)
}
IDLE_WAIVER = "idle-waiver"


def run_lints(context: Context, lines: Mapping[str, Sequence[str]], strict: bool = False) -> tuple[Problem, ...]:
    """Every warning, sorted by place. lines: the text of each file read. strict: also what only strictness minds."""
    asked = {name: lint for name, lint in LINTS.items() if strict or not lint.strict}
    waived, found = context.book.waived, set[Problem]()
    idle = {
        (*entry, name) for entry, reasons in waived.items() for name in reasons if name not in LINTS or name in asked
    }
    for name, lint in asked.items():
        for finding in lint.check(context):
            if name in waived.get((finding.section, finding.name), {}):
                idle.discard((finding.section, finding.name, name))
            else:
                found.add(_problem(finding, name, lint.mend, lines))
    found |= {
        _problem(finding, IDLE_WAIVER, "delete it from `waive`", lines) for finding in _idle(context.book, sorted(idle))
    }
    return tuple(sorted(found))


def _idle(book: Rulebook, waivers: Iterable[tuple[str, str, str]]) -> Iterator[LintFinding]:
    """Waivers of what there is nothing to be warned of: they would hide the next mistake."""
    for section, entry, name in waivers:
        written = book.written[section, entry, "waive", name]
        if book.over and written.place.file not in book.over:
            continue  # what lies over it may be why; it is looked at where it stands alone
        message, mend = f'"{entry}" waives {name}, which is not the matter with it', ""
        if name not in LINTS:
            meant = near(name, LINTS)
            message = f'there is no warning called "{name}"'
            mend = f'did you mean "{meant}"?' if meant else "there are: " + choices_of(LINTS, "and")
        yield LintFinding(section, entry, written.place, len(written.text), message, mend)


def _problem(finding: LintFinding, name: str, mend: str, lines: Mapping[str, Sequence[str]]) -> Problem:
    text, number = lines.get(finding.place.file, ()), finding.place.line - 1
    line = text[number] if number < len(text) else ""
    return Problem(finding.place, finding.message, finding.mend or mend, line, finding.length, name, "warning")
