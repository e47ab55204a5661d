"""Rulebooks for tests, built as plain dataclasses: a line an entry, everything not named left empty."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from reasoner.mistake import Place
from reasoner.rulebook.model import (
    At,
    Caution,
    Check,
    Condition,
    Family,
    Fault,
    Filter,
    Frequency,
    MoreLikely,
    Origin,
    Outcome,
    Reach,
    Rulebook,
    Sees,
    Settings,
    Statement,
)

PLACE = Place("test.yaml", 1)
FLOOR = 0.005
Named = Mapping[str, float]


def origin(weight: float = 20.0) -> Origin:
    return Origin("judgement", weight, PLACE)


def frequencies(named: Named, line: int = 1) -> dict[str, Frequency]:
    return {name: Frequency(f"{p:.0%}", p, Place("test.yaml", line)) for name, p in named.items()}


def says(here: Named, elsewhere: Named | None = None) -> Statement:
    return Statement(frequencies(here), None if elsewhere is None else frequencies(elsewhere), origin())


_line = iter(range(10, 10**9))  # every entry is written on a line of its own


def fault(
    name: str,
    at: str = "engine",
    share: float | Mapping[str, float] = 1.0,
    acts_as: Sequence[str] = (),
    shows: Named | None = None,
    repair: str = "",
    pairs: float | None = None,
    only: Filter | None = None,
    more_likely: Sequence[tuple[Filter, float]] = (),
    anything_else: bool = False,
) -> Fault:
    by_injection = share if isinstance(share, Mapping) else dict.fromkeys(("port", "direct", "dual"), float(share))
    line = next(_line)
    return Fault(
        name=name,
        title=name,
        means="",
        at=At(at),
        share=by_injection,
        more_likely=tuple(MoreLikely(when, times, PLACE) for when, times in more_likely),
        only=only or Filter(),
        pairs=None if pairs is None else frequencies({"": pairs})[""],
        shows=frequencies(shows or {}, line),
        acts_as=tuple(acts_as),
        repair=repair or f"replace-{name}",
        confirmed_by=(),
        driving_on="",
        anything_else=anything_else,
        origin=Origin("judgement", 20.0, Place("test.yaml", line)),
    )


def family(name: str, shows: Named | None = None, part_of: Sequence[str] = ()) -> Family:
    line = next(_line)
    return Family(name, name, "", tuple(part_of), frequencies(shows or {}, line), origin())


def check(
    name: str,
    given: Mapping[str, Statement] | None = None,
    otherwise: Named | None = None,
    at: str = "engine",
    outcomes: Sequence[str] = ("normal", "odd"),
    sees: str = "now",
    conditions: Sequence[str] = (),
    only: Filter | None = None,
    stands_for: Sequence[str] = (),
    after: Sequence[str] = (),
    cautions: Sequence[str] = (),
    needs: Sequence[str] = (),
    provokes: bool = False,
    leaves: str = "",
) -> Check:
    return Check(
        name=name,
        title=name,
        kind="look",
        ask="",
        how="",
        at=At(at),
        sees=Sees(sees),
        conditions=tuple(conditions),
        only=only or Filter(),
        outcomes=tuple(Outcome(o, o, PLACE) for o in outcomes),
        otherwise=says(otherwise or {}),
        given=given or {},
        minutes=5.0,
        wait=0.0,
        money=0.0,
        needs=tuple(needs),
        cautions=tuple(cautions),
        stands_for=tuple(stands_for),
        after=tuple(after),
        provokes=provokes,
        leaves=leaves,
        codes={},
        measure=None,
        words=(),
        origin=origin(),
    )


def condition(
    name: str,
    minutes: float = 10.0,
    wait: float = 0.0,
    came_from: Mapping[str, tuple[float, float]] | None = None,
    after: Sequence[str] = (),
    cautions: Sequence[str] = (),
) -> Condition:
    ways = {n: Reach(*way) for n, way in (came_from or {}).items()}
    return Condition(
        name, name, "", "", Reach(minutes, wait), ways, True, (), tuple(cautions), tuple(after), (), origin()
    )


def book(
    faults: Sequence[Fault],
    checks: Sequence[Check] = (),
    families: Sequence[Family] = (),
    conditions: Sequence[Condition] = (),
    cautions: Sequence[Caution] = (),
) -> Rulebook:
    settings = Settings(
        report_right={"sure": 0.98},
        weights={"published": 40, "practice": 20, "judgement": 8},
        unlikeliest=FLOOR,
        dominates=0.9,
        lead=4.0,
        least_gain=0.02,
        waiting_counts=0.15,
        hazard_minutes=15.0,
        asking_minutes=1.0,
        hour_costs=60.0,
        shows_unless_said=frequencies({"": 0.1}, 2)[""],
        origin=origin(),
    )
    named = conditions or [condition("idle")]
    return Rulebook(
        conditions={c.name: c for c in named},
        families={f.name: f for f in families},
        faults={f.name: f for f in faults},
        checks={c.name: c for c in checks},
        repairs={},
        cautions={c.name: c for c in cautions},
        tools={},
        sources={},
        codes={},
        settings=settings,
        files=(),
        stamp="",
    )
