"""A person's mapping of columns, in YAML: proposed from a file, edited once, read with every mistake in its place.

columns:
  "N engine": {quantity: engine speed, unit: rpm}
  "STFT left": {quantity: short-term trim, bank: 1, unit: "%"}
every: 0.5        # only where no column is the time: seconds from row to row
"""

from __future__ import annotations

import json
import textwrap

from reasoner.measure import units
from reasoner.measure.reading import as_typed
from reasoner.rulebook.located import parse_bytes
from reasoner.rulebook.problem import Notebook, Problem, choices_of, near
from reasoner.scanlog import reading
from reasoner.scanlog.columns import BY_NAME, DATE, TIME, ColumnUse, PlacedQuantity, unit_fits
from reasoner.scanlog.reading import Columns, NoLog, lines_of
from reasoner.yaml_tree import Map, Node, Text

NOT_USED = "not used"


def read_mapping(content: bytes, file: str) -> tuple[Columns | None, tuple[Problem, ...]]:
    """The mapping of a YAML file's bytes. None where anything is wrong with it: every mistake is given."""
    notes = Notebook()
    tree = parse_bytes(content, file, notes)
    if tree is None:
        return None, notes.problems
    uses: dict[str, ColumnUse] = {}
    every: float | None = None
    for key, value in tree.pairs:
        if key.value == "columns" and isinstance(value, Map):
            for header, one in value.pairs:
                use = _column(header, one, notes)
                if use is not None:
                    uses[reading.plain_header(header.value)] = use
        elif key.value == "every":
            every = _seconds(value, notes)
        else:
            notes.note(
                "unknown-key", key, f'a mapping has no "{as_typed(key.value)}" like this', "known: columns, every"
            )
    if not uses and not notes.problems:
        notes.note(
            "empty-file", tree, "no column is mapped", 'columns:\n  "header": {quantity: engine speed, unit: rpm}'
        )
    return (None if notes.problems else Columns(uses, every)), notes.problems


def _column(header: Text, node: Node, notes: Notebook) -> ColumnUse | None:
    shown = as_typed(header.value)
    if isinstance(node, Text) and node.value == NOT_USED:
        return ColumnUse(shown, None, note="not used, says the mapping")
    if not isinstance(node, Map):
        notes.note(
            "bad-shape", node, "a column is a group of keys", f"{{quantity: engine speed, unit: rpm}} or {NOT_USED}"
        )
        return None
    said: dict[str, Text] = {}
    for key, value in node.pairs:
        if key.value not in ("quantity", "bank", "cylinder", "unit") or not isinstance(value, Text):
            notes.note(
                "unknown-key",
                key,
                f'a column has no "{as_typed(key.value)}" like this',
                "quantity, bank, cylinder, unit",
            )
            return None
        said[key.value] = value
    if "quantity" not in said:
        notes.note("missing-key", header, 'a column needs "quantity"', "quantity: engine speed")
        return None
    quantity = BY_NAME.get(said["quantity"].value)
    if quantity is None:
        meant = near(said["quantity"].value, BY_NAME)
        mend = f'did you mean "{meant}"?' if meant else "one of: " + choices_of(BY_NAME, most=50)
        notes.note("unknown-name", said["quantity"], f'"{as_typed(said["quantity"].value)}" is no quantity', mend)
        return None
    place = 0
    if quantity.at != "engine":
        given = said.get(quantity.at)
        text = given.value if given is not None else "1"
        if not text.isascii() or not text.isdigit() or not 1 <= int(text[:3]) <= (2 if quantity.at == "bank" else 16):
            notes.note("bad-number", given or header, f'"{as_typed(text)}" is no {quantity.at}', f"{quantity.at}: 1")
            return None
        place = int(text)
    name, unit_from = quantity.unit, "assumed"
    if "unit" in said:
        unit = units.find_unit(said["unit"].value)
        if unit is None or not (unit_fits(unit, quantity) or (quantity.unit == "%" and unit.dimension == "number")):
            notes.note(
                "bad-unit", said["unit"], f"no unit of {quantity.name}", f"such as {quantity.unit or 'none at all'}"
            )
            return None
        name, unit_from = unit.name, "mapping"
    return ColumnUse(shown, PlacedQuantity(quantity.name, place), name, unit_from)


def _seconds(node: Node, notes: Notebook) -> float | None:
    text = node.value if isinstance(node, Text) else ""
    try:
        value = float(text.removesuffix("s"))
    except ValueError:
        value = 0.0
    if not 0.001 <= value <= 60:
        notes.note("bad-number", node, "no time from row to row", "seconds, such as 0.5")
        return None
    return value


def propose(content: bytes, name: str = "the log") -> str | NoLog:
    """A mapping for a file, as YAML text to be edited: what was recognised, what was not, and why."""
    text = lines_of(content)
    if isinstance(text, str):
        return NoLog(text, "a text file with one row a sample and a header above")
    plan = reading.find_layout(text.lines)
    if plan is None:
        plan = _widest(text.lines)
    if plan is None or not any(c.isalpha() for c in "".join(plan.header)):  # numbers name no column
        return NoLog("no row of column names was found", "a line of names above the rows, with ; or , or tabs between")
    lines = [
        f"# Columns of {as_typed(name)}. Change what is wrong, then: reasoner measure log --columns THIS.yaml LOG.csv",
        *textwrap.wrap(
            "Quantities: " + "; ".join(BY_NAME),
            100,
            initial_indent="# ",
            subsequent_indent="#   ",
            break_on_hyphens=False,
        ),
        "columns:",
    ]
    met: set[str] = set()
    for header, use in zip(plan.header, plan.uses, strict=True):
        if not header or reading.plain_header(header) in met:
            continue
        met.add(reading.plain_header(header))
        lines.append(f"  {json.dumps(_printable(header), ensure_ascii=False)}: {_proposed(use)}")
    if plan.where(PlacedQuantity(TIME)) is None:
        lines.append("every: 1.0   # no column is the time: seconds from row to row; put in what is true")
    return "\n".join(lines) + "\n"


def _printable(header: str) -> str:
    return "".join(c if c.isprintable() else " " for c in header)


def _proposed(use: ColumnUse) -> str:
    if use.key is None:
        return f"{NOT_USED}   # {use.note}" if use.note else NOT_USED
    parts = [f"quantity: {json.dumps(use.key.quantity) if ',' in use.key.quantity else use.key.quantity}"]
    if use.key.place:
        parts.append(f"{BY_NAME[use.key.quantity].at}: {use.key.place}")
    if use.unit and use.key.quantity != DATE:
        parts.append(f"unit: {json.dumps(use.unit, ensure_ascii=False)}")
    assumed = "   # no unit in the header: is this right?" if use.unit_from == "assumed" and use.unit else ""
    return "{" + ", ".join(parts) + "}" + assumed


def _widest(lines: list[str]) -> reading.Layout | None:
    """Where no header is known: the first line of the many that are cut into equally many cells."""
    best: tuple[int, int, str] | None = None
    for number, line in enumerate(lines[: reading.HEADER_WITHIN]):
        for separator in reading.SEPARATORS:
            if (
                len(line) <= reading.LONGEST_LINE
                and (cells := line.count(separator))
                and (best is None or cells > best[0])
            ):
                best = (cells, number, separator)
    return reading.layout_at(lines, best[1], best[2]) if best else None
