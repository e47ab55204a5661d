"""Cases from the rows of a table, with its columns as a person says they are to be read.

A row is one answer of a case (columns for the check and its outcome), or a whole case (a column for each check). What
does not fit the rules is refused, row by row, with what would mend it; the rest of the case is kept.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from reasoner.casebook.events import Answered, CodeRead, CodesRead, ConditionMet, Event, Noted, Told
from reasoner.casebook.rows import RefusedLine, TableLine
from reasoner.network.vehicle import VEHICLE_KEYS as VEHICLE_KEYS
from reasoner.network.vehicle import Vehicle, vehicle_from
from reasoner.rulebook.model import At, Check
from reasoner.session import acts
from reasoner.session.chapters import Garage, close_case

OF_CASE = ("case", "opened", "complaint", "codes", "state", "fault", "where", "confirmed by")
OF_ANSWER = ("check", "outcome", "place", "condition", "sure", "note")
WHAT = (*OF_CASE, *OF_ANSWER, *(f"vehicle {key}" for key in VEHICLE_KEYS))
COLUMN_WORDS = ("check", "outcome", "condition", "sure", "state", "fault", "where")
CODE_CELL = re.compile(r"[PBCU][0-3][0-9A-F]{3}")
UNSAID = "cured but unproven"  # how a case with a fault and no state is taken to have ended

EXAMPLE_COLUMNS = """\
# How the columns of a table are to be read. Left: what it is; right: the heading of your column.
columns:
  case: Job
  opened: Date              # 2026-03-09
  complaint: Customer says
  codes: Codes              # P0172 P0300
  vehicle layout: Engine    # any key of a vehicle: see `reasoner diagnose --vehicle-example`
  vehicle distance: Mileage
  check: Test               # one row for each answer ...
  outcome: Result           # an outcome, or 3=wet 4=sooty
  condition: Done when
  fault: Cause
  where: Place
  state: Result of repair
answers:                    # ... or one row for each case, and a column for each check
  plugs-after-clearing: Plugs
words:                      # your words, and the rules' words for them
  check: {plug check: plugs-after-clearing}
  outcome: {black: sooty, ok: same}
  condition: {hot: hot-restart}
vehicle:                    # what is the same for all of them
  injection: direct
"""


@dataclass(frozen=True)
class TableColumns:
    """columns: what -> heading. answers: check -> heading. words: kind -> (their word, lower case -> ours)."""

    columns: Mapping[str, str] = field(default_factory=dict)
    answers: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    vehicle: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class NewCase:
    """A case to be begun. lines: the rows it came from."""

    name: str
    opened: str
    vehicle: Mapping[str, str]
    events: tuple[Event, ...]
    lines: tuple[int, ...]


def mapping_of(said: Any, headings: Sequence[str], columns: Mapping[str, str] | None = None) -> TableColumns:
    """How the columns are to be read, from what a mapping file says and from single columns. Raises Refused.

    A heading that is one of our own words stands for itself unless something else was said.
    """
    said = said if isinstance(said, Mapping) else {}
    for key in said:
        if key not in ("columns", "answers", "words", "vehicle"):
            raise acts.Refused(f'"{key}" is no part of a mapping', "columns, answers, words, vehicle")
    parts = {key: _texts(said.get(key, {}), key) for key in ("columns", "answers", "vehicle")}
    all_words = said.get("words", {})
    if not isinstance(all_words, Mapping):
        raise acts.Refused("`words` holds kinds of words", f"one of {', '.join(COLUMN_WORDS)}, and below it your words")
    words = {kind: {k.lower(): v for k, v in _texts(all_words[kind], kind).items()} for kind in all_words}
    for kind in words:
        if kind not in COLUMN_WORDS:
            raise acts.Refused(f'"{kind}" is no kind of word', "one of: " + ", ".join(COLUMN_WORDS))
    wanted = {heading: heading for heading in headings if heading in WHAT} | parts["columns"] | dict(columns or {})
    for what, heading in wanted.items():
        if what not in WHAT:
            raise acts.Refused(f'"{what}" is nothing that a column can be', "one of: " + ", ".join(WHAT))
        if heading not in headings:
            raise acts.Refused(f'no column is called "{heading}"', "there are: " + ", ".join(headings))
    for heading in parts["answers"].values():
        if heading not in headings:
            raise acts.Refused(f'no column is called "{heading}"', "there are: " + ", ".join(headings))
    if "case" not in wanted:
        raise acts.Refused("no column says which case a row belongs to", "--column case=HEADING")
    if ("check" in wanted) != ("outcome" in wanted) or ("check" not in wanted and not parts["answers"]):
        raise acts.Refused("no columns hold answers", "--column check=HEADING --column outcome=HEADING, or `answers:`")
    return TableColumns(wanted, parts["answers"], words, parts["vehicle"])


def _texts(found: Any, key: str) -> dict[str, str]:
    if not isinstance(found, Mapping) or not all(isinstance(value, str) for value in found.values()):
        raise acts.Refused(f"`{key}` holds pairs of words", f"{key}: {{one: other}}")
    return {str(k): str(v) for k, v in found.items()}


def read_cases(
    lines: Iterable[TableLine], mapping: TableColumns, garage: Garage
) -> tuple[tuple[NewCase, ...], tuple[RefusedLine, ...]]:
    """The cases in these rows, in the order they begin, and every row (or part of one) that was refused."""
    by_case: dict[str, list[TableLine]] = {}
    refused: list[RefusedLine] = []
    for line in lines:
        name = line.cells.get(mapping.columns["case"], "")
        if name:
            by_case.setdefault(name, []).append(line)
        else:
            refused.append(RefusedLine(line.number, "this row belongs to no case", "fill in the case in every row"))
    found = []
    for name, own in by_case.items():
        made = _Case(name, own, mapping, garage, refused).made()
        if made is not None:
            found.append(made)
    return tuple(found), tuple(sorted(refused, key=lambda r: r.number))


class _Case:
    """One case in the making; what does not fit goes to `refused`."""

    def __init__(
        self, name: str, lines: Sequence[TableLine], mapping: TableColumns, garage: Garage, refused: list[RefusedLine]
    ) -> None:
        self.name, self.lines, self.mapping, self.garage, self.refused = name, lines, mapping, garage, refused
        self.book = garage.book
        self.events: list[Event] = []

    def made(self) -> NewCase | None:
        vehicle = self._vehicle()
        if vehicle is None:
            for line in self.lines[1:]:
                self.refuse(line, "its case has no vehicle", f"see line {self.lines[0].number}")
            return None
        opened = self._opened()
        self._add(Told(complaint=self._said("complaint")))
        codes = self._codes()
        if codes is not None:
            self._add(CodesRead(codes=codes))
        here: str | None = None
        for line in self.lines:
            here = self._row(line, vehicle, here)
        self._close(vehicle)
        skipped = [r.number for r in self.refused if r.number in {line.number for line in self.lines}]
        if skipped:
            told = ", ".join(map(str, dict.fromkeys(skipped)))
            self._add(Noted(text=f"Imported; of its table, something in these lines was refused: {told}."))
        at = [replace(event, at=opened) for event in self.events]
        return NewCase(self.name, opened, dict(vehicle.fields), tuple(at), tuple(line.number for line in self.lines))

    def refuse(self, line: TableLine, message: str, mend: str = "") -> None:
        self.refused.append(RefusedLine(line.number, message, mend))

    def _add(self, event: Event) -> None:
        self.events.append(replace(event, step=len(self.events) + 1))

    # ---- what holds for the whole case ----

    def _said(self, what: str) -> str:
        """The first that is said in its rows; a row that says otherwise is refused as to that."""
        first = ""
        for line in self.lines:
            value = self._cell(line, what)
            if value and not first:
                first = value
            elif value and value != first:
                self.refuse(line, f'{what} is "{value}" here and "{first}" above', "one case, one answer")
        return first

    def _cell(self, line: TableLine, what: str) -> str:
        heading = self.mapping.columns.get(what)
        value = line.cells.get(heading, "") if heading else ""
        return self.mapping.words.get(what, {}).get(value.lower(), value)

    def _vehicle(self) -> Vehicle | None:
        said = {key: self._said(f"vehicle {key}") for key in VEHICLE_KEYS if f"vehicle {key}" in self.mapping.columns}
        fields = {**self.mapping.vehicle, **{key: value for key, value in said.items() if value}}
        distance = fields.get("distance", "")
        if distance and re.fullmatch(r"[0-9 ',.]+", distance):
            fields["distance"] = distance + " km"
        vehicle, mistakes = vehicle_from(fields)
        for mistake in mistakes if vehicle is None else ():
            self.refuse(self.lines[0], f"the vehicle's {mistake.where}: {mistake.message}", mistake.mend)
        return vehicle

    def _opened(self) -> str:
        said = self._said("opened")
        if not said:
            return ""
        try:
            found = datetime.fromisoformat(said)
        except ValueError:
            self.refuse(self.lines[0], f'"{said[:40]}" is no day', "write it as 2026-03-09")
            return ""
        return found.isoformat(timespec="seconds") + ("" if found.tzinfo else "+00:00")

    def _codes(self) -> tuple[CodeRead, ...] | None:
        if "codes" not in self.mapping.columns:
            return None
        said = re.split(r"[\s,;/+]+", self._said("codes").upper())
        for code in filter(None, said):
            if not CODE_CELL.fullmatch(code):
                self.refuse(self.lines[0], f'"{code[:20]}" is no code', "such as P0172")
        return tuple(CodeRead(code) for code in dict.fromkeys(said) if CODE_CELL.fullmatch(code))

    def _close(self, vehicle: Vehicle) -> None:
        fault, where, state = self._said("fault"), self._said("where"), self._said("state").lower()
        confirmed = self._said("confirmed by")
        if not (fault or state):
            return
        named = _named(fault, {name: f.title for name, f in self.book.faults.items()}) if fault else ""
        try:
            closed = close_case(
                self.garage, vehicle, self.events, state or UNSAID, named or fault, where.lower(), confirmed
            )
        except acts.Refused as refused:
            self.refuse(self.lines[0], refused.message, f"{refused.mend}; or map your word under `words:`")
            return
        self.events += closed

    # ---- row by row ----

    def _row(self, line: TableLine, vehicle: Vehicle, here: str | None) -> str | None:
        condition = self._cell(line, "condition")
        if condition:
            name = _named(condition, {name: c.title for name, c in self.book.conditions.items()})
            if name is None:
                self.refuse(line, f'"{condition[:40]}" is no condition', "one of: " + ", ".join(self.book.conditions))
                return here
            if name != here:
                self._add(ConditionMet(condition=name))
                here = name
        sure = self._cell(line, "sure") or "sure"
        if sure not in self.book.settings.report_right:
            self.refuse(line, f'"{sure[:20]}" is no degree of sureness', "sure, think so or guess")
            return here
        for name, said in self._answers(line):
            self._answer(line, vehicle, name, said, sure)
        note = self._cell(line, "note")
        if note:
            self._add(Noted(text=note))
        return here

    def _answers(self, line: TableLine) -> Iterator[tuple[str, str]]:
        check, outcome = self._cell(line, "check"), self._cell(line, "outcome")
        if check and outcome:
            yield check, outcome
        elif check or outcome:
            self.refuse(
                line, "a check without its outcome" if check else "an outcome without its check", "fill in both"
            )
        for name, heading in self.mapping.answers.items():
            value = line.cells.get(heading, "")
            if value:
                yield name, self.mapping.words.get("outcome", {}).get(value.lower(), value)

    def _answer(self, line: TableLine, vehicle: Vehicle, said_check: str, said: str, sure: str) -> None:
        name = _named(said_check, {name: c.title for name, c in self.book.checks.items()})
        if name is None:
            from difflib import get_close_matches

            near = get_close_matches(said_check.lower(), self.book.checks, 2)
            mend = f"did you mean {' or '.join(near)}?" if near else "See `reasoner rules list checks`."
            self.refuse(
                line, f'no check is called "{said_check[:40]}"', f"{mend} Or map your word under `words: check:`"
            )
            return
        check = self.book.checks[name]
        if name not in self.garage.tables(vehicle).check_number:
            self.refuse(line, f"{name} cannot apply to this vehicle", "see its layout, injection and metering")
            return
        values = self._values(line, check, vehicle, said)
        if values:
            self._add(Answered(check=name, values={int(place): said for place, said in values.items()}, sure=sure))

    def _values(self, line: TableLine, check: Check, vehicle: Vehicle, said: str) -> dict[str, str]:
        """Outcomes by place: one outcome, or `3=wet 4=sooty` with the usual one at the rest."""
        places = _places(check, vehicle)
        named = re.findall(r"([0-9]+) ?[=:] ?([^=:;,]+?)(?=[;, ]+[0-9]+ ?[=:]|$|[;,])", said)
        column = self._cell(line, "place")
        if column and not named:
            numbers = re.findall("[0-9]+", column)
            named = [(number, said) for number in numbers]
        if not named:
            outcome = self._outcome(line, check, said)
            return dict.fromkeys(places, outcome) if outcome else {}
        values = dict.fromkeys(places, check.outcomes[0].name)
        for place, word in named:
            if place not in places:
                self.refuse(line, f"{check.name} has no {check.at} {place}", "one of: " + ", ".join(places))
                return {}
            outcome = self._outcome(line, check, word.strip())
            if not outcome:
                return {}
            values[place] = outcome
        return values

    def _outcome(self, line: TableLine, check: Check, said: str) -> str:
        said = self.mapping.words.get("outcome", {}).get(said.lower(), said)
        found = _named(said, {o.name: o.text for o in check.outcomes})
        if found is None:
            there = ", ".join(o.name for o in check.outcomes)
            self.refuse(line, f'"{said[:40]}" is no outcome of {check.name}', f"one of: {there}; or map it: `words:`")
        return found or ""


def _places(check: Check, vehicle: Vehicle) -> list[str]:
    count = {At.ENGINE: 0, At.BANK: len(vehicle.banks), At.CYLINDER: vehicle.cylinders}[check.at]
    return [str(n) for n in range(1, count + 1)] or ["0"]


def _named(said: str, names: Mapping[str, str]) -> str | None:
    """A name by itself, or by its title, whatever the case of its letters."""
    if said in names:
        return said
    low = said.lower().strip()
    slug = re.sub(r"[ _]+", "-", low)
    if slug in names:
        return slug
    return next((name for name, title in names.items() if title.lower() == low), None)
