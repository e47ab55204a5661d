"""The repair sheet as plain text: boxes to tick, blanks to fill in, cautions above each step that can hurt."""

from __future__ import annotations

import re

from reasoner.repair.sheet import CautionDoc, LineDoc, SectionDoc, SheetDoc
from reasoner.report.lines import WIDTH, columns, head, page, para, section
from reasoner.session.plain import clean

BLANK = "______________"
A_ROW = 4  # boxes
FOREWORD = (
    "The maker's procedure, figures and order come first, and so do local rules; where they ask for a trained person, "
    "get one. Blanks are for the maker's own figures."
)


def sheet_text(document: SheetDoc, width: int = WIDTH) -> str:
    s = clean(document)
    lines = [f"Repair sheet{f': case {s.case}' if s.case else ''}", *para(f"{s.vehicle}. {s.title}.", 0, width=width)]
    lines += ["", *para(FOREWORD, 0, width=width), *head("Take care", width)]
    for caution in s.cautions:
        lines += para(caution_ahead(s, caution), 2, f"{caution.number}!", width)
    for part in s.sections:
        lines += _section(part, width)
    lines += section("Seen afterwards", s.proof, "[ ]", width)
    lines += ["", f"{s.done} of {s.boxes} boxes ticked"]
    return page(lines)


def _section(part: SectionDoc, width: int) -> list[str]:
    lines = head(part.title, width)
    lines += section("To have at hand", part.at_hand, width=width) + section("Single use", part.single_use, width=width)
    lines += values_text(part, width) if part.values else []
    lines += head("Steps", width)
    for line in part.lines:
        lines += ["", *step_text(line, width)]
    return lines + section("What the ECU has learned", part.learned, width=width)


def values_text(part: SectionDoc, width: int = WIDTH) -> list[str]:
    """The values typed in, and what looks wrong with them."""
    lines = [*head("Calibration values, by cylinder number", width), *_values(part)]
    return lines + section("Look again", part.slips, "!", width)


def step_text(line: LineDoc, width: int = WIDTH) -> list[str]:
    """The cautions, then the step, then its boxes and blanks."""
    found = [text for caution in line.cautions for text in para(caution_above(line, caution), 2, "!", width)]
    once = len(line.boxes) == 1 and not line.boxes[0].place
    sign = f"{_box(line.boxes[0].done)} {line.number}." if once else f"    {line.number}."
    found += para(line.text, 0, sign, width)
    if not once:
        boxes = [f"{_box(box.done)} {box.place}" for box in line.boxes]
        found += [" " * (len(sign) + 1) + "   ".join(boxes[i : i + A_ROW]) for i in range(0, len(boxes), A_ROW)]
    return found + [f"{' ' * len(sign)} {figure.what}: {figure.value or BLANK}" for figure in line.figures]


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
    rows += [[str(v.cylinder), *(value or BLANK for value in (v.first, v.second, v.old))] for v in part.values]
    return columns(rows)
