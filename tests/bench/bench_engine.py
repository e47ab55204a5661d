"""Times and memory of the engine on the shipped rules, against an exact library on the same tables in the same run.

    python -m tests.bench.bench_engine [inline 4] [V 8] ...

Medians; one thread is assumed (set OMP_NUM_THREADS=1). Both sides get the same answers and must agree.
"""

from __future__ import annotations

import resource
import sys
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from statistics import median
from time import perf_counter

import numpy as np

from reasoner.inference.belief import believe
from reasoner.inference.choose import gains, rank
from reasoner.inference.credible_range import draw
from reasoner.inference.evidence import Evidence, Spell, counted, reported_weights
from reasoner.inference.exchangeable import cells
from reasoner.inference.gain import single_place_gains
from reasoner.inference.plan import Costs, options
from reasoner.network.tables import Tables, compile_tables
from reasoner.rulebook.read import read_rules
from reasoner.session.concluding import next_document
from reasoner.session.workup import Workup, begin
from tests.repair.cars import answered
from tests.support import a_vehicle, plainly, situation

RULES = Path(__file__).parents[2] / "rules"


def timed(what: Callable[[], object], times: int) -> float:
    """Median seconds of one call."""
    found = []
    for _ in range(times):
        start = perf_counter()
        what()
        found.append(perf_counter() - start)
    return median(found)


def shown(name: str, seconds: float, note: str = "") -> None:
    print(f"  {name:<58}{seconds * 1e3:>10.3f} ms  {note}")


def answers(tables: Tables, count: int) -> tuple[Spell, ...]:
    """`count` answers in five spells, first and second outcomes in turn, no provoking checks."""
    spells = []
    fitting = [n for n, c in enumerate(tables.checks) if not c.provokes and not c.stands_for]
    for s in range(5):
        condition = (2 * s) % len(tables.conditions)
        own = [n for n in fitting if not tables.checks[n].conditions or condition in tables.checks[n].conditions]
        given = []
        for i, n in enumerate(own[s :: len(own) // (count // 5) or 1][: count // 5]):
            m = len(tables.checks[n].outcomes)
            given.append(Evidence(n, tuple(reported_weights(i % 2, m, 0.98) for _ in tables.checks[n].places)))
        spells.append(Spell(condition, tuple(given)))
    return counted(tables, spells)


def bench(layout: str, injection: str = "direct") -> None:
    book = read_rules([RULES])
    vehicle = a_vehicle(layout, injection=injection)
    print(f"{layout}, {injection} injection")
    tracemalloc.start()
    tables = compile_tables(book, vehicle)
    size = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    print(
        f"  {len(tables.causes)} causes, {len(tables.classes)} repairs at a place, {len(tables.checks)} checks, "
        f"{len(tables.conditions)} conditions; tables {size / 1e6:.1f} MB"
    )
    spells = answers(tables, 20)
    before, last = (*spells[:-1], Spell(spells[-1].condition, spells[-1].answers[:-1])), spells[-1].answers[-1]

    def scratch(spells: tuple[Spell, ...]) -> object:
        tables.kept.shelf("believed").clear()
        return believe(tables, spells)

    def one_more() -> object:
        return scratch((*before[:-1], Spell(before[-1].condition, (*before[-1].answers, last))))

    now, costs = situation(tables, spells), Costs()
    single = np.flatnonzero([len(c.places) == 1 for c in tables.checks])
    moment = np.zeros(len(single), dtype=np.intp)
    several = [n for n, c in enumerate(tables.checks) if len(c.places) > 1]

    def gain_of_all() -> float:
        total = float(single_place_gains(tables, single, moment, now.showing[None], now.quiet[None]).sum())
        for n in several:
            found = cells(tables, tables.checks[n])
            total += found.class_bits(found.weights(tables, now.showing[None], now.quiet[None]))[0]
        return total

    shown("rules and vehicle to tables", timed(lambda: compile_tables(book, vehicle), 5))
    shown("belief from scratch, 20 answers in 5 spells", timed(lambda: scratch(spells), 50))
    shown("belief, one more answer in the last spell", timed(one_more, 50))
    shown("range of the belief", timed(lambda: draw(tables, spells), 5))
    fresh = replace(tables)  # nothing worked out beforehand
    shown("next question, the first of a case", timed(lambda: rank(fresh, now, costs), 1))
    shown("gain of every check in the present spell", timed(gain_of_all, 20), f"{len(tables.checks)} checks")
    choices = options(tables, now, costs)
    ways = f"{len(choices)} ways: conditions, repeats, places"
    shown("gain of every way to do every check", timed(lambda: gains(tables, now, choices), 5), ways)
    shown("next question at the start", timed(lambda: rank(tables, situation(tables), costs), 7))
    shown("next question after 20 answers", timed(lambda: rank(tables, now, costs), 7))
    library(plainly(tables), spells)


SIGNS = (
    ("live-temperatures", "coolant-low", "warm-idle"),
    ("coolant-against-thermometer", "reads-low", "warm-idle"),
    ("warm-up-curve", "reads-wrong", "warm-up"),
    ("purge-valve-holds-vacuum", "leaks", "engine-off"),
    ("purge-pinched", "recovers", "warm-idle"),
)


def two_faults(layout: str) -> None:
    """The next question where two faults at once are not reckoned with, where they are not asked for by what was seen,
    and where they are weighed."""
    shipped = read_rules([RULES])
    never = replace(shipped, settings=replace(shipped.settings, two_faults=0.0))
    for note, book, signs in (
        ("not reckoned with", never, SIGNS[:3]),
        ("one fault's signs", shipped, SIGNS[:3]),
        ("not reckoned with", never, SIGNS),
        ("two faults' signs", shipped, SIGNS),
    ):
        workup = begin(book, a_vehicle(layout, injection="direct", distance="150000 km"))
        for check, seen, condition in signs:
            workup = answered(workup, check, seen, condition)
        next_document(workup)  # what is worked out once for a kind of car

        def question(workup: Workup = workup) -> object:
            for kept in ("believed", "paired"):
                workup.ruled.kept.shelf(kept).clear()
            return next_document(replace(workup))

        pairs = f"{len(workup.tables.pairs)} pairs, {note}"
        shown(f"next question after {len(signs)} answers", timed(question, 5), pairs)


def library(tables: Tables, spells: tuple[Spell, ...]) -> None:
    """The same belief and gains by pyAgrum, where it is installed."""
    try:
        import pyagrum as agrum
    except ImportError:
        print("  pyAgrum is not installed: nothing to compare with")
        return
    net, evidence = agrum.BayesNet(), {}
    causes = len(tables.prior)
    net.add(agrum.LabelizedVariable("cause", "", causes))
    net.cpt("cause").fillWith(tables.prior.tolist())
    for s, spell in enumerate(spells):
        net.add(agrum.LabelizedVariable(f"state{s}", "", 2))
        net.addArc("cause", f"state{s}")
        shows = tables.shows.mean(axis=1) if spell.condition is None else tables.shows[:, spell.condition]
        net.cpt(f"state{s}").fillWith(np.column_stack([1.0 - shows, shows]).ravel().tolist())
        for answer in spell.answers:
            for place, weights in enumerate(answer.weights):
                if weights is None:
                    continue
                name = f"answer{len(evidence)}"
                add(agrum, net, tables, name, f"state{s}", answer.check, place)
                evidence[name] = list(weights)

    def once() -> np.ndarray:
        engine = agrum.LazyPropagation(net)
        engine.setEvidence(evidence)
        engine.addTarget("cause")
        engine.makeInference()
        return np.array(engine.posterior("cause").tolist())

    assert np.abs(once() - believe(tables, spells).probability).max() < 1e-6, "the two must agree"
    shown("pyAgrum: belief from scratch, the same answers", timed(once, 5))

    engine = agrum.LazyPropagation(net)
    engine.setEvidence(evidence)
    engine.addTarget("cause")
    engine.makeInference()

    def again() -> object:
        engine.chgEvidence(name, evidence[name][::-1])
        engine.makeInference()
        return engine.posterior("cause")

    shown("pyAgrum: belief, one answer changed", timed(again, 5))
    single = [n for n, c in enumerate(tables.checks) if len(c.places) == 1][:10]
    for n in single:
        add(agrum, net, tables, f"next{n}", f"state{len(spells) - 1}", n, 0)
    sized = agrum.LazyPropagation(net)
    sized.setEvidence(evidence)

    def per_outcome() -> None:
        for n in single:
            for outcome in range(len(tables.checks[n].outcomes)):
                sized.setEvidence({**evidence, f"next{n}": outcome})
                sized.makeInference()
                sized.posterior("cause")

    took = timed(per_outcome, 1) / len(single) * len(tables.checks)
    shown("pyAgrum: gain of every check, one inference an outcome", took, f"from {len(single)} checks with one place")


def add(agrum, net, tables: Tables, name: str, state: str, number: int, place: int) -> None:  # type: ignore[no-untyped-def]
    """One check at one place as a variable below the cause and a state."""
    check = tables.checks[number]
    showing = check.rows[check.index[:, place]]
    quiet = showing if check.steady else np.broadcast_to(check.rows[0], showing.shape)
    net.add(agrum.LabelizedVariable(name, "", len(check.outcomes)))
    net.addArc("cause", name)
    net.addArc(state, name)
    for s, rows in ((0, quiet), (1, showing)):
        for c in range(len(tables.prior)):
            net.cpt(name)[{"cause": c, state: s}] = rows[c].tolist()


def main() -> None:
    for layout in sys.argv[1:] or ("inline 4", "V 8"):
        bench(layout, "dual" if layout == "V 8" else "direct")
        two_faults(layout)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory of this whole run, library included: {peak:.0f} MB")


if __name__ == "__main__":
    main()
