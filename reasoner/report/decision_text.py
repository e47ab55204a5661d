"""The choices open, as plain text."""

from __future__ import annotations

from reasoner.report.lines import WIDTH, columns, head, page, para, section
from reasoner.session.decision_doc import ChoiceDoc, DecisionDoc
from reasoner.session.plain import clean, thousands, time_text
from reasoner.session.words import percent

RIGHT = frozenset((2, 3, 4, 5))


def decision_text(document: DecisionDoc, width: int = WIDTH) -> str:
    """What is recommended, what it hangs on, every choice in a table and in words, and the figures reckoned with."""
    d = clean(document)
    title = f"What to replace: case {d.case}" if d.case else "What to replace"
    lines = [title, "", *para(d.sentence, 0, width=width)]
    lines += section("What it hangs on", d.hinges, width=width)
    lines += section("To be known first", _missing(d), "!", width)
    lines += [*head("The choices, the cheapest first", width), *_table(d)]
    for number, choice in enumerate(d.choices, start=1):
        lines += ["", *_choice(d, choice, number, width)]
    lines += section("Left out", d.notes, width=width)
    rows = [(p.what, p.value, "" if p.own else "(usual figure of the rules)") for p in d.prices]
    lines += [*head("Reckoned with", width), *columns(rows)]
    return page(lines)


def _table(d: DecisionDoc) -> list[str]:
    rows = [["", "", "now", "later", "in all", "cures"]]
    for number, choice in enumerate(d.choices, start=1):
        mark = "->" if choice.recommended else " !" if choice.missing else "  "
        figures = [thousands(value) for value in (choice.now, choice.later, choice.expected)]
        rows.append([mark, f"{number} {NAMES[choice.kind]}", *figures, _cures(choice)])
    unit = [f"   (money in {d.currency})"] if d.currency else []
    return [*columns(rows, RIGHT), *unit]


def _missing(d: DecisionDoc) -> list[str]:
    """What is missing, each once, with the numbers of the choices that it is missing for."""
    found: dict[str, list[int]] = {}
    for number, choice in enumerate(d.choices, start=1):
        for text in dict.fromkeys(choice.missing):
            found.setdefault(text, []).append(number)
    return [f"before {', '.join(map(str, numbers))}: {text}" for text, numbers in found.items()]


NAMES = {  # in brackets: the word to take it up with
    "alone": "the suspect alone (alone)",
    "two": "the likeliest two (two)",
    "bank": "the whole bank (bank)",
    "all": "all of them (all)",
    "cheaper": "a step first (cheaper)",
    "in turn": "one by one (in turn)",
    "free": "first, for nothing (free)",
    "test": "test on",
    "watch": "nothing yet, watch",
    "hand on": "hand the car on",
}


def _cures(choice: ChoiceDoc) -> str:
    return "" if choice.kind in ("test", "watch", "hand on") else percent(choice.cures)


def _choice(d: DecisionDoc, choice: ChoiceDoc, number: int, width: int) -> list[str]:
    lines = para(f"{choice.title}.", 0, f"{number}", width)
    spent = (
        f"Parts {thousands(choice.parts)}, labour {time_text(choice.minutes)}" if choice.minutes or choice.parts else ""
    )
    facts = [spent] if spent else []
    if choice.again:
        facts.append(f"back within the distance: {percent(choice.comes_back)} ({'; '.join(choice.again)})")
    if choice.driving >= 1:
        facts.append(f"harm by driving on meanwhile: {thousands(choice.driving)} of what is expected later")
    if not facts:
        return lines
    first = "The first of them: " if choice.kind == "in turn" else ""
    return lines + para(first + ". ".join(f[:1].upper() + f[1:] for f in facts) + ".", 2, width=width)
