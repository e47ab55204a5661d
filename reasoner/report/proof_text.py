"""The plan of proof and where it stands, as plain text."""

from __future__ import annotations

from reasoner.repair.proof import CountDoc, ProofDoc, ProvocationDoc, SeenDoc
from reasoner.report.lines import WIDTH, columns, head, items, page, para, section
from reasoner.session.plain import clean, effort_text
from reasoner.session.words import percent

TELLS = 0.9  # an upper bound above says nothing
NOT_YET = ": not looked at yet"
SIGNS = {"seen": "[x]", "not right": "[!]", "missing": "[ ]", "no tool": "[-]"}


def standing_text(document: ProofDoc, width: int = WIDTH) -> str:
    """Where it stands, in a few lines."""
    p = clean(document)
    lines = para(f"If the case were closed now: {p.state}.", 0, width=width)
    for plan in (p.provocation, *p.also):
        lines += para(_so_far(plan), 0, width=width) if plan and not plan.showed else []
    return page(lines + section("Still missing", _missing(p), width=width))


def _missing(p: ProofDoc) -> list[str]:
    """What is missing; all that was not looked at yet in one line."""
    unseen = [text.removesuffix(NOT_YET) for text in p.missing if text.endswith(NOT_YET)]
    rest = [text for text in p.missing if not text.endswith(NOT_YET)]
    return [*rest, *([f"not looked at yet: {'; '.join(unseen)}"] if unseen else [])]


def _so_far(p: ProvocationDoc) -> str:
    many = f"{p.clean} of {p.needed}" if p.needed else str(p.clean)
    return (
        f"{p.title.capitalize()} without a sign of it: {many}. The chance that it is still there is {percent(p.still)}."
    )


def proof_text(document: ProofDoc, width: int = WIDTH) -> str:
    p = clean(document)
    lines = [f"Proof{f': case {p.case}' if p.case else ''}", *para(f"{p.title}.", 0, width=width)]
    lines += para(f"If the case were closed now: {p.state}.", 0, width=width)
    lines += section("Still missing", _missing(p), width=width)
    for plan in (p.provocation, *p.also):
        lines += _provocation(plan, width) if plan else []
    if p.provocation and p.provocation.showed:
        return page(lines)  # what else would have to be seen comes after the next repair
    lines += [*head("To be seen", width)]
    for item in p.seen:
        lines += _seen(item, width)
    lines += _counts(p, width)
    lines += section("Until then, do not do this", [f"{title}. {say}" for title, say in p.never], "!", width)
    lines += section("Sources", p.sources, width=width)
    return page(lines)


def _provocation(p: ProvocationDoc, width: int) -> list[str]:
    lines = head(f"Bring it about on purpose: {p.title}", width)
    lines += items(p.cautions, "!", width=width) + para(p.how, 2, width=width)
    lines += para(
        f"Before the repair it showed in about {percent(p.shows)} of such tries, by the rules and by what was seen on "
        f"this car. Each takes {effort_text(p.minutes, p.waiting)}.",
        2,
        width=width,
    )
    if p.showed:
        return lines + para("It has shown again since the work: it is not cured.", 2, "!", width)
    if p.needed is None:
        lines += para(
            f"Not even {p.most} tries without a sign of it prove it gone, and nobody makes more. What can be said is "
            "how small the chance has become.",
            2,
            "!",
            width,
        )
    else:
        lines += para(f"{p.needed} in a row without a sign of it are enough; {p.clean} so far.", 2, width=width)
    lines += ["", *columns(_course(p), frozenset((0, 1))), ""]
    if p.bound is not None and p.bound < TELLS:
        text = f"No sign in {p.clean}: it shows in at most {percent(p.bound)} of such tries (19 times in 20)."
        lines += para(text, 2, width=width)
    return lines


def _course(p: ProvocationDoc) -> list[list[str]]:
    rows = [["tries", "still there", ""]]
    for number, chance in enumerate(p.course):
        note = " <- so far" if number == p.clean else " enough" if number == p.needed else ""
        rows.append([str(number), percent(chance), note])
    return rows


def _seen(item: SeenDoc, width: int) -> list[str]:
    note = {"not right": " It is not as it should be.", "no tool": " No tool for it at hand."}.get(item.state, "")
    said = f"{item.title}. {item.say}" if item.say else f"{item.title}, likewise."
    return para(f"{said}{_by(item.source) if item.say else ''}{note}", 2, SIGNS[item.state], width)


def _by(source: str) -> str:
    return f" [{source}]" if source else ""


def _counts(p: ProofDoc, width: int) -> list[str]:
    lines = []
    for title, together in (("In one and the same drive", True), ("Counted", False)):
        found = [count for count in p.counts if count.together == together]
        if found:
            lines += head(title, width)
            lines += [text for count in found for text in _count(count, width)]
    if p.cleared is None:
        lines += [
            "",
            *para("Say whether codes were cleared after the work: what has to be seen depends on it.", 2, width=width),
        ]
    return lines


def _count(count: CountDoc, width: int) -> list[str]:
    sign = "[ ]" if count.missing else "[x]"
    have = f"{count.have:g} of {count.least:g} {count.unit}"
    return para(f"{count.title}: {have} ({count.name}). {count.say}{_by(count.source)}", 2, sign, width)
