"""What follows a verdict, as plain text: the choices open, the repair sheet, the plan of proof."""

from __future__ import annotations

import re
from collections.abc import Sequence

from reasoner.repair.proof import CountDoc, ProofDoc, ProvocationDoc, SeenDoc
from reasoner.repair.sheet import CautionDoc, LineDoc, SectionDoc, SheetDoc
from reasoner.report.lines import LINE_WIDTH, bullet_lines, heading, in_columns, page, paragraph, section
from reasoner.session.document import ChoiceDoc, DecisionDoc
from reasoner.session.plain import clean, effort_text, thousands, time_text
from reasoner.session.words import EMPTY_LIST, percent

# ---- The choices open, as plain text ---------------------------------------------------------------------------------

RIGHT = frozenset((2, 3, 4, 5))


def decision_text(document: DecisionDoc, width: int = LINE_WIDTH) -> str:
    """What is recommended, what it hangs on, every choice in a table and in words, and the figures reckoned with."""
    d = clean(document)
    title = f"What to replace: case {d.case}" if d.case else "What to replace"
    lines = [title, "", *paragraph(d.sentence, 0, width=width)]
    lines += section("What would change that", d.hinges, width=width)
    lines += section("To look at first", _missing(d), "!", width)
    lines += [*heading("The choices, the cheapest first", width), *_table(d)]
    for number, choice in enumerate(d.choices, start=1):
        lines += ["", *_choice(d, choice, number, width)]
    lines += section("Note", d.notes, width=width)
    rows = [(p.what, p.value, "" if p.own else "(the rules' usual figure)") for p in d.prices]
    lines += [*heading("Prices used", width), *in_columns(rows)]
    if not all(p.own for p in d.prices):
        lines += paragraph("Your own prices: reasoner settings --write", 2, width=width)
    return page(lines)


def _table(d: DecisionDoc) -> list[str]:
    rows = [["", "", "now", "may follow", "in all", "cures"]]
    for number, choice in enumerate(d.choices, start=1):
        mark = "->" if choice.recommended else " !" if choice.missing else "  "
        figures = [thousands(value) for value in (choice.now, choice.later, choice.expected)]
        rows.append([mark, f"{number} {CHOICE_NAMES[choice.kind]}", *figures, _cures(choice)])
    signs = {row[0].strip() for row in rows}
    told = [text for sign, text in SIGNS.items() if sign in signs] + ([f"money in {d.currency}"] if d.currency else [])
    return [*in_columns(rows, RIGHT), *(f"   {text}" for text in told)]


SIGNS = {"->": "-> recommended", "!": "!  something is to be looked at first, see above"}


def _missing(d: DecisionDoc) -> list[str]:
    """What is missing, each once, with the numbers of the choices that it is missing for."""
    found: dict[str, list[int]] = {}
    for number, choice in enumerate(d.choices, start=1):
        for text in dict.fromkeys(choice.missing):
            found.setdefault(text, []).append(number)
    return [f"before {', '.join(map(str, numbers))}: {text}" for text, numbers in found.items()]


CHOICE_NAMES = {  # in brackets: the word to take it up with
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
    lines = paragraph(f"{choice.title}.", 0, f"{number}", width)
    spent = (
        f"Parts {_money(d, choice.parts)}, labour {time_text(choice.minutes)}" if choice.minutes or choice.parts else ""
    )
    facts = [spent] if spent else []
    if choice.kind == "free":  # what comes after it is done at once, so the car does not come back for it
        facts.append(f"chance that it is not cured by that: {percent(1 - choice.cures)}")
    elif choice.again:
        facts.append(f"chance that the car comes back: {percent(choice.comes_back)} ({'; '.join(choice.again)})")
    if choice.driving >= 1:
        facts.append(f"harm done by driving on makes {_money(d, choice.driving)} of what may follow")
    if not facts:
        return lines
    first = "The first of them: " if choice.kind == "in turn" else ""
    return lines + paragraph(first + ". ".join(f[:1].upper() + f[1:] for f in facts) + ".", 2, width=width)


def _money(d: DecisionDoc, value: float) -> str:
    return f"{thousands(value)} {d.currency}".strip()


# ---- The repair sheet as plain text ----------------------------------------------------------------------------------
# Boxes to tick, blanks to fill in, cautions above each step that can hurt.

BLANK_TO_FILL = "______________"
A_ROW = 4  # boxes
FOREWORD = (
    "The maker's procedure, figures and order come first, and so do local rules; where they ask for a trained person, "
    "get one."
)
BLANKS = " Blanks are for the maker's own figures."


def foreword(sheet: SheetDoc) -> str:
    """What goes before the steps; of blanks only where there are any."""
    return FOREWORD + (BLANKS if any(line.figures for part in sheet.sections for line in part.lines) else "")


def sheet_text(document: SheetDoc, width: int = LINE_WIDTH) -> str:
    """The repair sheet as plain text. width: characters a line."""
    s = clean(document)
    lines = [
        f"Repair sheet{f': case {s.case}' if s.case else ''}",
        *paragraph(f"{s.vehicle}. {s.title}.", 0, width=width),
    ]
    lines += ["", *paragraph(foreword(s), 0, width=width)]
    lines += heading("Take care", width) if s.cautions else []
    for caution in s.cautions:
        lines += paragraph(caution_ahead(s, caution), 2, f"{caution.number}!", width)
    for part in s.sections:
        lines += _section(part, width)
    lines += section("Seen afterwards", s.proof, width=width)
    lines += ["", f"{s.done} of {s.boxes} boxes ticked"]
    return page(lines)


def _section(part: SectionDoc, width: int) -> list[str]:
    lines = heading(part.title, width)
    lines += section("To have at hand", part.at_hand, width=width) + section("Single use", part.single_use, width=width)
    lines += value_lines(part, width) if part.values else []
    lines += heading("Steps", width)
    for line in part.lines:
        lines += ["", *step_lines(line, width)]
    return lines + section("What the ECU has learned", part.learned, width=width)


def value_lines(part: SectionDoc, width: int = LINE_WIDTH) -> list[str]:
    """The values typed in, and what looks wrong with them."""
    lines = [*heading("Calibration values, by cylinder number", width), *_values(part)]
    return lines + section("Look again", part.slips, "!", width)


def step_lines(line: LineDoc, width: int = LINE_WIDTH) -> list[str]:
    """The cautions, then the step, then its boxes and blanks."""
    found = [text for caution in line.cautions for text in paragraph(caution_above(line, caution), 2, "!", width)]
    once = len(line.boxes) == 1 and not line.boxes[0].place
    sign = f"{_box(line.boxes[0].done)} {line.number}." if once else f"    {line.number}."
    found += paragraph(line.text, 0, sign, width)
    if not once:
        boxes = [f"{_box(box.done)} {box.place}" for box in line.boxes]
        found += [" " * (len(sign) + 1) + "   ".join(boxes[i : i + A_ROW]) for i in range(0, len(boxes), A_ROW)]
    return found + [f"{' ' * len(sign)} {figure.what}: {figure.value or BLANK_TO_FILL}" for figure in line.figures]


def caution_ahead(s: SheetDoc, caution: CautionDoc) -> str:
    """Before the work begins: what it is about, where the whole stands above a step; else the whole."""
    steps = [line.number for part in s.sections for line in part.lines if caution.number in line.full]
    return f"{about(caution)} (in full: step {steps[0]})" if steps else caution.say


def caution_above(line: LineDoc, caution: CautionDoc) -> str:
    """In full above the first step that needs it; later its first sentence."""
    if caution.number in line.full:
        return caution.say
    first, dot, _ = caution.say.partition(". ")
    return f"{first}{dot.strip()}"


def about(caution: CautionDoc) -> str:
    """The beginning of a caution, up to what is to be done about it."""
    return re.split(r"[:;.](?=\s)", caution.say, maxsplit=1)[0].rstrip(".")


def _box(done: bool) -> str:
    return "[x]" if done else "[ ]"


def _values(part: SectionDoc) -> list[str]:
    rows = [["cylinder", "first time", "second time", "stored before"]]
    rows += [[str(v.cylinder), *(value or BLANK_TO_FILL for value in (v.first, v.second, v.old))] for v in part.values]
    return in_columns(rows)


# ---- The plan of proof and where it stands, as plain text ------------------------------------------------------------

TELLS = 0.9  # an upper bound above says nothing
NOT_YET = ": not looked at yet"
TICK_SIGNS = {"seen": "[x]", "not right": "[!]", "missing": "[ ]", "no tool": "[-]"}


def standing_text(document: ProofDoc, width: int = LINE_WIDTH) -> str:
    """How far the work and its proof are, in a few lines."""
    p = clean(document)
    lines = paragraph(f"If the case were closed now: {p.state}.", 0, width=width)
    for plan in (p.provocation, *p.also):
        if plan and not plan.showed:
            lines += paragraph(f"{_so_far(plan)} {worth_text(plan)}".strip(), 0, width=width)
    return page(lines + section("Still missing", _still_missing(p), width=width) + _unlike(p, width))


def _unlike(p: ProofDoc, width: int) -> list[str]:
    """What was answered in two ways, and what to do about it; nothing where nothing was."""
    lines = section("Answered in two ways since the work", p.unlike, "!", width)
    mend = "Was one a slip, tell the check again in its place (diagnose, t). If not, look again before it is closed."
    return lines + paragraph(mend, 2, width=width) if lines else []


def _still_missing(p: ProofDoc) -> list[str]:
    """What is missing; all that was not looked at yet in one line."""
    unseen = [text.removesuffix(NOT_YET) for text in p.missing if text.endswith(NOT_YET)]
    rest = [text for text in p.missing if not text.endswith(NOT_YET)]
    return [*rest, *([f"not looked at yet: {'; '.join(unseen)}"] if unseen else [])]


def _so_far(p: ProvocationDoc) -> str:
    many = f"{p.clean}; {p.needed} {'is' if p.needed == 1 else 'are'} enough" if p.needed else str(p.clean)
    chance = "" if p.once else f" The chance that it is still there is {percent(p.still)}."
    return f"{p.title.capitalize()} without a sign of it: {many}.{chance}"


def proof_text(document: ProofDoc, width: int = LINE_WIDTH, to_type: Sequence[str] = ()) -> str:
    """What has to be seen before a repair counts as proven, as plain text. width: characters a line. to_type: lines on
    what to type now, which come before the sources: those are rarely read."""
    p = clean(document)
    lines = [f"Proof{f': case {p.case}' if p.case else ''}", *paragraph(f"{p.title}.", 0, width=width)]
    lines += paragraph(f"If the case were closed now: {p.state}.", 0, width=width)
    lines += section("Still missing", _still_missing(p), width=width) + _unlike(p, width)
    for plan in (p.provocation, *p.also):
        lines += _provocation(plan, width) if plan else []
    if p.provocation and p.provocation.showed:
        return page([*lines, "", *to_type])  # what else would have to be seen comes after the next repair
    lines += [*heading("To be seen", width)]
    for item in p.seen:
        lines += _seen(item, width)
    lines += _counts(p, width)
    lines += section("Until then, do not do this", [f"{title}. {say}" for title, say in p.never], "!", width)
    lines += ["", *to_type] if to_type else []
    lines += section("Sources", p.sources, width=width)
    return page(lines)


def not_counted(tries: int) -> str:
    """That so many clean tries are kept and prove nothing."""
    many, made = ("1 clean try is", "it was") if tries == 1 else (f"{tries} clean tries are", "they were")
    return f"{many} kept and not counted: nobody said that {made} made so."


def _provocation(p: ProvocationDoc, width: int) -> list[str]:
    lines = heading(f"Bring it about on purpose: {p.title}", width)
    lines += bullet_lines(p.cautions, "!", width=width) + paragraph(p.how, 2, width=width)
    lines += paragraph(
        f"Before the repair it showed in about {percent(p.shows)} of such tries, by the rules and by what was seen on "
        f"this car. Each takes {effort_text(p.minutes, p.waiting)}.",
        2,
        width=width,
    )
    lines += bullet_lines((f"Only so does a try count: {text}" for text in p.only), "!", width=width)
    if p.otherwise:
        lines += paragraph(not_counted(p.otherwise), 2, width=width)
    if p.showed:
        lines += _tried(p, width)
        return lines + paragraph("It has shown again since the work: it is not cured.", 2, "!", width)
    if p.needed is None:
        lines += paragraph(
            f"Not even {p.most} tries without a sign of it prove it gone, and nobody makes more. What can be said is "
            "how small the chance has become.",
            2,
            "!",
            width,
        )
    elif p.once:
        lines += _tried(p, width)
        text = (
            "It was said to happen here too. One try without a sign of it is wanted, as there may be another fault; "
            f"{p.clean} so far."
        )
        return lines + paragraph(text, 2, width=width)
    else:
        many = (
            "One try without a sign of it is enough"
            if p.needed == 1
            else f"{p.needed} in a row without a sign of it are enough"
        )
        lines += paragraph(f"{many}; {p.clean} so far.", 2, width=width)
    lines += _tried(p, width)
    lines += paragraph(worth_text(p), 2, width=width) if worth_text(p) else []
    if p.course:
        lines += paragraph(
            f"Reckoned from {percent(p.course[0])} still there, however sure the verdict was: the proof must stand "
            "without it.",
            2,
            width=width,
        )
    lines += ["", *in_columns(_course(p), frozenset((0, 1))), ""]
    if p.bound is not None and p.bound < TELLS:
        text = f"No sign in {p.clean}: it shows in at most {percent(p.bound)} of such tries (19 times in 20)."
        lines += paragraph(text, 2, width=width)
    return lines


def _tried(p: ProvocationDoc, width: int) -> list[str]:
    return paragraph(f"Tried: {tried_text(p)}.", 2, width=width) if p.tried else []


def tried_text(p: ProvocationDoc) -> str:
    """On which days it was tried, and how: `2026-03-28 2 clean; 2026-03-29 1 clean, 1 not counted`."""
    days: dict[str, list[str]] = {}
    for each in p.tried:
        how = "with a sign of it" if not each.clean else "clean" if each.made_so or not p.only else "not counted"
        days.setdefault(each.on or "day not known", []).append(how)
    return "; ".join(
        f"{day} {', '.join(f'{hows.count(how)} {how}' for how in dict.fromkeys(hows))}" for day, hows in days.items()
    )


def worth_text(p: ProvocationDoc) -> str:
    """What the clean tries so far were worth, in words; nothing where there are none, or it is not reckoned."""
    if not p.clean or p.once or p.showed or len(p.course) <= p.clean:
        return ""
    before, after = p.course[0], p.course[p.clean]
    quiet = after / (1 - after) * (1 - before) / before
    times = before / after
    less = f"{times:.0f}" if times >= 10 else f"{times:.1f}".removesuffix(".0")
    many = f"{p.clean} such tries" if p.clean > 1 else "one such try"
    text = f"Worth: a car that still has the fault is quiet through {many} in {percent(quiet)} of cases"
    text += f", so it is {less} times less likely to be still there than before."
    last = f" The last of them took the chance from {percent(p.course[p.clean - 1])} to {percent(after)}."
    return text + (last if p.clean > 1 else "")


def _course(p: ProvocationDoc) -> list[list[str]]:
    rows = [["tries", "still there", ""]]
    for number, chance in enumerate(p.course):
        note = " <- so far" if number == p.clean else " enough" if number == p.needed else ""
        rows.append([str(number), percent(chance), note])
    return rows


def _seen(item: SeenDoc, width: int) -> list[str]:
    note = {"not right": " It is not as it should be.", "no tool": " No tool for it at hand."}.get(item.state, "")
    said = f"{item.title}. {item.say}" if item.say else f"{item.title}, likewise."
    return paragraph(f"{said}{_by(item.source) if item.say else ''}{note}", 2, TICK_SIGNS[item.state], width)


def _by(source: str) -> str:
    return f" [{source}]" if source else ""


def _counts(p: ProofDoc, width: int) -> list[str]:
    lines = []
    for title, together in (("In one and the same drive", True), ("Counted", False)):
        found = [count for count in p.counts if count.together == together]
        if found:
            lines += heading(title, width)
            lines += [text for count in found for text in _count(count, width)]
    if p.cleared is None:
        lines += [
            "",
            *paragraph(
                "Say whether codes were cleared after the work: what has to be seen depends on it.", 2, width=width
            ),
        ]
    if p.cleared:
        lines += ["", *paragraph(f"Codes cleared: {p.cleared_when or 'day not known'}.", 2, width=width)]
    if p.empty_since_clearing:
        lines += paragraph(EMPTY_LIST, 2, "!", width)
    return lines


def _count(count: CountDoc, width: int) -> list[str]:
    sign = "[ ]" if count.missing else "[x]"
    have = f"{count.have:g} of {count.least:g} {count.unit}"
    return paragraph(f"{count.title}: {have} ({count.name}). {count.say}{_by(count.source)}", 2, sign, width)
