"""What a lint is, and what it looks at: the rules, the tables they make for a handful of vehicles, and solved cases."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from inspect import getdoc
from itertools import product
from typing import Any

from reasoner.inference.discrimination import Telling, telling
from reasoner.mistake import Place
from reasoner.network.graph import build_graph, family_line, nearest
from reasoner.network.tables import CheckTable, Tables, compile_tables
from reasoner.network.vehicle import Vehicle, vehicle_from
from reasoner.rulebook.model import Check, Fault, Filter, Rulebook, Statement
from reasoner.rulebook.parts import PROPERTIES, passes


@dataclass(frozen=True)
class LintFinding:
    """Something to be warned of: about which entry, where to look, what it is; `mend` where the lint's own will not do.

    length: characters to mark.
    """

    section: str
    name: str
    place: Place
    length: int
    message: str
    mend: str = ""


@dataclass(frozen=True, eq=False)
class BenchCar:
    """A vehicle and what the rules make of it."""

    vehicle: Vehicle
    graph: Any
    tables: Tables

    @cached_property
    def cause_of(self) -> Mapping[str, int]:
        """A cause of each fault: at the first place it can have."""
        found: dict[str, int] = {}
        for number, cause in enumerate(self.tables.causes):
            first = found.setdefault(cause.fault, number)
            if len(cause.cylinders) == 1 and min(cause.cylinders) < min(self.tables.causes[first].cylinders):
                found[cause.fault] = number
        return found

    @cached_property
    def telling(self) -> Telling:
        """How well any two faults are told apart, in the order of `cause_of`."""
        return telling(self.tables, tuple(self.cause_of.values()))

    def table(self, check: str) -> CheckTable | None:
        """The check's table; None where it does not apply to this vehicle."""
        number = self.tables.check_number.get(check)
        return None if number is None else self.tables.checks[number]

    def speakers(self, fault: str, check: Check) -> list[str]:
        """Who speaks of the check for a fault, the nearest first: it alone is heard."""
        return [name for _, name in family_line(self.graph, fault) if name in check.given]

    def heard(self, check: Check) -> set[str]:
        """Who is heard about the check for some fault: faults and families."""
        speaking = [(kind, name) for name in check.given for kind in ("fault", "family")]
        return {name for _, name in nearest(self.graph, tuple(self.cause_of), speaking).values()}


@dataclass(frozen=True, eq=False)
class Context:
    """cases: the names that stand in each solved case, by its file; None where no cases are at hand."""

    book: Rulebook
    cars: tuple[BenchCar, ...]
    cases: Mapping[str, frozenset[str]] | None = None

    @property
    def faults(self) -> Iterator[Fault]:
        """All but the one that stands for anything else: it has nothing of its own to be wrong."""
        return (fault for fault in self.book.faults.values() if not fault.anything_else)


@dataclass(frozen=True)
class Lint:
    """One check of a rule base. manual: what it minds, with a good and a bad snippet of rules.

    strict: runs only when it is asked for.
    """

    name: str
    title: str
    mend: str
    manual: str
    check: Callable[[Context], Iterable[LintFinding]]
    strict: bool = False


def lint(
    name: str, title: str, mend: str, strict: bool = False
) -> Callable[[Callable[[Context], Iterable[LintFinding]]], Lint]:
    """Makes a lint of a function: what it yields are the problems of this kind, its docstring is the manual."""
    return lambda check: Lint(name, title, mend, f"{getdoc(check) or ''}\n", check, strict)


def statements(check: Check) -> Iterator[tuple[str, Statement]]:
    """(subject, statement) of everything a check says; `otherwise` first."""
    yield "otherwise", check.otherwise
    yield from check.given.items()


def at(section: str, name: str, place: Place, message: str, mend: str = "") -> LintFinding:
    """A finding at the name of an entry."""
    return LintFinding(section, name, place, len(name), message, mend)


def context_of(book: Rulebook, cases: Mapping[str, frozenset[str]] | None = None) -> Context:
    """Everything the lints look at, worked out once."""
    cars = [_car(book, vehicle) for vehicle in vehicles(book)]
    worked = [fault.after_work for fault in book.faults.values()]
    if any((*worked, *(check.after_work for check in book.checks.values()))):
        cars += [_car(book, _vehicle(TYPICAL[number]), tuple(book.repairs)) for number in AFTER_WORK_TRIED]
    return Context(book, tuple(cars), cases)


def _car(book: Rulebook, vehicle: Vehicle, work: tuple[str, ...] = ()) -> BenchCar:
    graph = build_graph(book, vehicle, work)
    return BenchCar(vehicle, graph, compile_tables(book, vehicle, graph))


# ---- vehicles --------------------------------------------------------------------------------------------------------

FEATURES = ("return line", "flex fuel", "gas recirculation")
VEHICLE_FIELDS_TRIED = ("layout", "upstream sensors", "injection", "charging", "metering", *FEATURES, "distance")
TYPICAL = tuple(
    dict(zip(VEHICLE_FIELDS_TRIED, row, strict=True))
    for row in (
        ("inline 4", "1", "port", "natural", "airflow", "yes", "no", "yes", "210000 km"),
        ("inline 4", "1", "port", "natural", "pressure", "no", "yes", "no", "40000 km"),
        ("inline 4", "1", "direct", "charged", "airflow", "no", "no", "no", "210000 km"),
        ("inline 4", "1", "direct", "natural", "pressure", "no", "no", "yes", "120000 km"),
        ("V 6", "2", "dual", "charged", "both", "no", "yes", "yes", "210000 km"),
        ("inline 6", "2", "direct", "charged", "airflow", "no", "no", "no", "120000 km"),
    )
)

AFTER_WORK_TRIED = (0, 2, 4)  # of these: looked at once more with all work done, for what only work brings in


def vehicles(book: Rulebook) -> list[Vehicle]:
    """Typical ones, and one more for every fault and check that may meet on none of these."""
    found = [_vehicle(fields) for fields in TYPICAL]
    faults = {str(only): only for only in map(possible, book.faults.values())}
    checks = {str(check.only): check.only for check in book.checks.values()}
    for fault, check in product(faults.values(), checks.values()):
        both = pass_both(fault, check)
        if both is not None and not any(passes(both, v.properties, v.distance_km, unknown=True) for v in found):
            found.append(_passing(both))
    return found


def possible(fault: Fault) -> Filter:
    """The vehicles that can have a fault: those of its `only`, with an injection for which it has a share."""
    shared = tuple(kind for kind in fault.only.values.get("injection", fault.share) if fault.share[kind] > 0)
    return Filter({**fault.only.values, "injection": shared}, fault.only.distance_over, fault.only.distance_under)


def pass_both(one: Filter, other: Filter) -> Filter | None:
    """Vehicles that pass both; None where there are none."""
    values = dict(one.values)
    for name, allowed in other.values.items():
        values[name] = tuple(value for value in values.get(name, allowed) if value in allowed)
    over = max((f.distance_over for f in (one, other) if f.distance_over is not None), default=None)
    under = min((f.distance_under for f in (one, other) if f.distance_under is not None), default=None)
    if not all(values.values()) or (over is not None and under is not None and over >= under):
        return None
    return Filter(values, over, under)


def _passing(only: Filter) -> Vehicle:
    """A vehicle that passes, otherwise like a typical one."""
    fields = {**TYPICAL[2], **{name: only.values[name][0] for name in PROPERTIES if name in only.values}}
    sensors = fields.pop("sensors", None)
    fields["upstream sensors"] = {"one": "1", "two": "2", None: fields["upstream sensors"]}[sensors]
    over, under = only.distance_over, only.distance_under
    if over is not None:
        fields["distance"] = f"{over + 1 if under is None else (over + under) / 2:.0f} km"
    elif under is not None:
        fields["distance"] = f"{under / 2:.0f} km"
    return _vehicle(fields)


def _vehicle(fields: Mapping[str, str]) -> Vehicle:
    vehicle, mistakes = vehicle_from(fields)
    assert vehicle is not None, mistakes
    return vehicle
