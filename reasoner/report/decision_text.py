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
    lines += section("What would change that", d.hinges, width=width)
    lines += section("To look at first", _missing(d), "!", width)
    lines += [*head("The choices, the cheapest first", width), *_table(d)]
    for number, choice in enumerate(d.choices, start=1):
        lines += ["", *_choice(d, choice, number, width)]
    lines += section("Note", d.notes, width=width)
    rows = [(p.what, p.value, "" if p.own else "(the rules' usual figure)") for p in d.prices]
    lines += [*head("Prices used", width), *columns(rows)]
    if not all(p.own for p in d.prices):
        lines += para("Your own prices: reasoner settings --write", 2, width=width)
    return page(lines)


def _table(d: DecisionDoc) -> list[str]:
    rows = [["", "", "now", "may follow", "in all", "cures"]]
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
    "cheaper": "a cheaper step first (cheaper)",
    "in turn": "one by one (in turn)",
    "free": "first, without parts (free)",
    "test": "test on",
    "watch": "nothing yet, watch",
    "hand on": "pass the car on",
}


def _cures(choice: ChoiceDoc) -> str:
    return "" if choice.kind in ("test", "watch", "hand on") else percent(choice.cures)


def _choice(d: DecisionDoc, choice: ChoiceDoc, number: int, width: int) -> list[str]:
    lines = para(f"{choice.title}.", 0, f"{number}", width)
    spent = (
        f"Parts {_money(d, choice.parts)}, labour {time_text(choice.minutes)}" if choice.minutes or choice.parts else ""
    )
    facts = [spent] if spent else []
    if choice.kind == "free":  # what comes after it is done at once, so the car does not come back for it
        facts.append(f"chance that it is not cured by that: {percent(1 - choice.cures)}")
    elif choice.again:
        facts.append(f"chance that the car comes back: {percent(choice.comes_back)} ({'; '.join(choice.again)})")
    if choice.driving >= 1:
        facts.append(f"{_money(d, choice.driving)} of what may follow is harm done by driving on")
    if not facts:
        return lines
    first = "The first of them: " if choice.kind == "in turn" else ""
    return lines + para(first + ". ".join(f[:1].upper() + f[1:] for f in facts) + ".", 2, width=width)


def _money(d: DecisionDoc, value: float) -> str:
    return f"{thousands(value)} {d.currency}".strip()
