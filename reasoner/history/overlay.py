"""Learned numbers as rules: the rules with them laid over, and the text of a file that says the same.

What the file holds is read back to exactly the rules that `overlaid` gives.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from reasoner.casebook.writing import quoted
from reasoner.mistake import Place
from reasoner.rulebook.model import Check, Fault, Frequency, Origin, Rulebook, Statement, Trail
from reasoner.rulebook.quantity import how_often

LEARNED_SOURCE = "own-cases"  # the key of the bibliography that learned statements name
HERE, ELSEWHERE, OTHERWISE = "here", "elsewhere", "otherwise"
LEARNED_PLACE = Place("learned from cases", 1)


@dataclass(frozen=True)
class Learned:
    """One distribution or share of the rules, before and after.

    names: what before and after are the chances of, in this order (of a share: the injection). weight: cases it was
    worth; seen: cases of each outcome (of a share: found, and expected). behind: the first of the cases, of so many (of
    a share: those in which it was found, of so many in which it could have been).
    """

    trail: Trail
    names: tuple[str, ...]
    before: tuple[float, ...]
    after: tuple[float, ...]
    weight: float
    seen: tuple[float, ...]
    behind: tuple[str, ...]
    cases: int

    @property
    def weight_after(self) -> float:
        """Cases it is worth now; of a share, what was expected counts as looked at."""
        return self.weight + (self.seen[1] if self.trail[2] == "share" else sum(self.seen))

    @property
    def moved(self) -> float:
        """The largest change; of a share, relative to what it was."""
        if self.trail[2] == "share":
            return abs(self.after[0] - self.before[0]) / self.before[0]
        return max(abs(a - b) for a, b in zip(self.after, self.before, strict=True))


def overlaid(book: Rulebook, learned: Iterable[Learned]) -> Rulebook:
    """The rules with these numbers in place of theirs."""
    faults, checks = dict(book.faults), dict(book.checks)
    for one in learned:
        name = one.trail[1]
        if one.trail[0] == "faults":
            faults[name] = _fault(faults[name], one)
        else:
            checks[name] = _check(checks[name], one)
    return replace(book, faults=faults, checks=checks)


def _fault(fault: Fault, one: Learned) -> Fault:
    kind = one.trail[2]
    if kind == "share":
        return replace(fault, share={**fault.share, one.trail[3]: one.after[0]})
    if kind == "pairs":
        return replace(fault, pairs=_frequency(one.after[0]))
    return replace(fault, shows={**fault.shows, one.trail[3]: _frequency(one.after[0])})


def _check(check: Check, one: Learned) -> Check:
    said = {name: _frequency(value) for name, value in zip(one.names[1:], one.after[1:], strict=True)}
    if one.trail[2] == OTHERWISE:
        return replace(check, otherwise=replace(check.otherwise, here=said))
    subject, side = one.trail[3:]
    statement = check.given[subject]
    again = (
        statement.origin.source == LEARNED_SOURCE and statement.origin.place == LEARNED_PLACE
    )  # its other side was learned too
    weight = min(statement.origin.weight, weight_of(one)) if again else weight_of(one)
    origin = Origin(LEARNED_SOURCE, weight, LEARNED_PLACE, "")
    sides = {HERE: statement.here, ELSEWHERE: statement.elsewhere, side: said}
    new = Statement(sides[HERE] or {}, sides[ELSEWHERE], origin)
    return replace(check, given={**check.given, subject: new})


def _frequency(value: float) -> Frequency:
    text = percent_text(value)
    return Frequency(text, how_often(text)[0], LEARNED_PLACE)


def percent_text(value: float) -> str:
    """`87.8 %`, `0.55 %`: as exactly as it was rounded."""
    return f"{100 * value:.2f}".rstrip("0").rstrip(".") + " %"


def weight_of(one: Learned) -> float:
    """How many cases the learned numbers are worth."""
    return round(one.weight_after, 1)


# ---- as a file -------------------------------------------------------------------------------------------------------


def as_rules(book: Rulebook, learned: Sequence[Learned], cite: str, remarks: Iterable[str]) -> str:
    """The text of a rule file. cite: what the cases were. remarks: lines of comment at its head."""
    lines = [*(f"# {remark}".rstrip() for remark in remarks), "format: 1", ""]
    if learned:  # also where no statement names it: it marks the file, so that nothing is learned from twice
        named = any(one.trail[2] == "given" for one in learned)
        waived = [] if named else ["    waive: {unused: it marks this file}"]
        lines += ["sources:", f"  {LEARNED_SOURCE}:", f"    cite: {quoted(cite)}", "    seen: text", *waived, ""]
    for section, of_section in groupby(learned, key=lambda one: one.trail[0]):
        lines.append(f"{section}:")
        for name, of_entry in groupby(of_section, key=lambda one: one.trail[1]):
            lines.append(f"  {name}:")
            said = list(of_entry)
            of_fault = section == "faults"
            lines += _fault_lines(book.faults[name], said) if of_fault else _check_lines(book.checks[name], said)
        lines.append("")
    return "\n".join(lines)


def _fault_lines(fault: Fault, learned: Sequence[Learned]) -> list[str]:
    lines = []
    shares = [one for one in learned if one.trail[2] == "share"]
    if shares:
        said = {**fault.share, **{one.trail[3]: one.after[0] for one in shares}}
        lines += [f"    # {remark(one)}" for one in shares]
        lines.append(f"    share: {{{', '.join(f'{kind}: {value:g}' for kind, value in said.items())}}}")
    for one in learned:
        if one.trail[2] == "pairs":
            lines += [f"    # {remark(one)}", f"    pairs: {percent_text(one.after[0])}"]
    shows = [one for one in learned if one.trail[2] == "shows"]
    if shows:
        lines.append("    shows:")
        for one in shows:
            lines += [f"      # {remark(one)}", f"      {one.trail[3]}: {percent_text(one.after[0])}"]
    return lines


def _check_lines(check: Check, learned: Sequence[Learned]) -> list[str]:
    lines = []
    for one in learned:
        if one.trail[2] == OTHERWISE:
            lines += [f"    # {remark(one)}", f"    {OTHERWISE}: {_map(_written(one))}"]
    given = [one for one in learned if one.trail[2] == "given"]
    if given:
        lines.append("    given:")
    for subject, sides in groupby(given, key=lambda one: one.trail[3]):
        both = list(sides)
        new = {one.trail[4]: _written(one) for one in both}
        old = check.given[subject]
        lines += [f"      # {remark(one)}" for one in both]
        lines += [f"      {subject}:", f"        {HERE}: {_map(new.get(HERE) or _as_was(old.here))}"]
        if ELSEWHERE in new or old.elsewhere is not None:
            lines.append(f"        {ELSEWHERE}: {_map(new.get(ELSEWHERE) or _as_was(old.elsewhere or {}))}")
        lines += [f"        weight: {min(map(weight_of, both)):g}", f"        source: {LEARNED_SOURCE}"]
    return lines


def _written(one: Learned) -> dict[str, str]:
    return {name: percent_text(value) for name, value in zip(one.names[1:], one.after[1:], strict=True)}


def _as_was(said: Mapping[str, Frequency]) -> dict[str, str]:
    return {name: frequency.written for name, frequency in said.items()}


def _map(said: Mapping[str, str]) -> str:
    return "{" + ", ".join(f"{name}: {text}" for name, text in said.items()) + "}"


def remark(one: Learned) -> str:
    """What changed, on what grounds, on one line."""
    named = ", ".join(one.behind)
    if one.trail[2] == "share":
        found = f"found {one.seen[0]:g} times in {one.cases} cases, {one.seen[1]:.2g} expected"
        return f"{one.trail[3]}: {changes(one)} (worth {one.weight:g}; {found}{': ' + named if named else ''})"
    named += f" and {one.cases - len(one.behind)} more" if one.cases > len(one.behind) else ""
    what = {"given": one.trail[-1], "shows": one.trail[-1]}.get(one.trail[2], one.trail[2])
    return f"{what}: {changes(one)} (worth {one.weight:g}, now {weight_of(one):g}: {named})"


def changes(one: Learned) -> str:
    """What it was and what it becomes: a share, a rate, or the outcomes but for the first."""
    if one.trail[2] == "share":
        return f"{one.before[0]:.4g} -> {one.after[0]:.4g}"
    pairs = zip(one.names, one.before, one.after, strict=True)
    texts = [(name, f"{100 * before:.1f} % -> {100 * after:.1f} %") for name, before, after in pairs]
    if one.trail[0] == "faults":
        return texts[0][1]
    return ", ".join(f"{name} {text}" for name, text in texts[1:])
