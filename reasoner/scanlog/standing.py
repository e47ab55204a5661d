"""What a log says of the engine while it stands, before a start and after a stop, in spells of their own: sensors after
a cold soak, the rail's hold.

Only what the log dates there: its other moments with the engine off are spells already.
"""

from __future__ import annotations

import math

import numpy as np

from reasoner.measure.asks import Setting
from reasoner.measure.finding import Figure, Finding
from reasoner.measure.workings.air import COLD_SOAK
from reasoner.measure.workings.air import SOAKED as AGREE
from reasoner.measure.workings.hold import RAIL_HOLD
from reasoner.scanlog.conditions import COLD, HOT, Phase, Run
from reasoner.scanlog.document import Proposed
from reasoner.scanlog.others import Others, RailFall, Warming
from reasoner.scanlog.proposing import ENGINE, Seen, figured, longest
from reasoner.scanlog.quantities import COOLANT, INTAKE, OUTSIDE
from reasoner.scanlog.stretches import OPEN, CaseSpell
from reasoner.scanlog.words import plus_minus

LONG_SOAK = 6 * 3600.0  # s off, after which all is as warm as the air; common practice, no source


def standing(seen: Seen, other: Others) -> tuple[tuple[CaseSpell, ...], list[Proposed]]:
    """The spells before a start and after a stop, and the answers in them."""
    spells: list[CaseSpell] = []
    found: list[Proposed] = []

    def apart(run: int, phase: Phase, start: float, seconds: float) -> CaseSpell:
        number = len(seen.spells) + len(spells) + 1
        none = np.zeros(len(seen.grid), dtype=bool)
        spells.append(CaseSpell(number, run, phase, OPEN, math.nan, start, start + seconds, seconds, 1, none))
        return spells[-1]

    for fall in other.rail.falls if other.rail is not None else ():
        run = seen.conditions.runs[fall.run - 1]
        phase = _stopped(run)
        figure = _held(fall)
        if phase is None or figure is None:
            continue
        stop = float(seen.grid.time[run.end - 1])
        held = "halved" if fall.halved else f"{fall.before:.2g} to {fall.after:.2g} MPa"
        said = f"rail pressure after the stop: {held} in {fall.minutes:.2g} min"
        spell = apart(fall.run, phase, stop, 60 * fall.minutes)
        found.append(figured(seen, figure.name, (ENGINE, 0), "rail hold", (figure,), spell, said))
    for warm in other.warming:
        run = seen.conditions.runs[warm.run - 1]
        figures = _soaked(warm, run)
        if figures:
            spell = apart(warm.run, Phase.COLD_SOAKED, float(seen.grid.time[run.start]), 10.0)
            said = "after a cold soak: " + ", ".join(f"{f.name} {plus_minus(f.estimate, f.unit)}" for f in figures)
            found.append(
                figured(seen, "temperatures after a cold soak", (ENGINE, 0), "cold soak", figures, spell, said)
            )
    stood = longest(seen, (Phase.OFF, Phase.HOT_SOAK, Phase.COLD_SOAKED))
    if other.at_rest is not None and stood is not None:
        gap = Figure("manifold", "kPa", other.at_rest)
        said = f"manifold less air pressure at rest: {plus_minus(gap.estimate, gap.unit)}"
        quantity = "manifold less air pressure, at rest"
        found.append(figured(seen, quantity, (ENGINE, 0), "pressures at rest", (gap,), stood, said))
    return tuple(spells), found


def _stopped(run: Run) -> Phase | None:
    """The condition in which a stopped rail is watched: hot, or after a short cold run; None in between."""
    start, end = run.coolant
    if end >= HOT:
        return Phase.HOT_SOAK
    return Phase.COLD_START if run.kind == "cold" and start < COLD and end < COLD else None


def _held(fall: RailFall) -> Figure | None:
    """Time to half the pressure, the pull of cooling being its error; None where these are no pressures of a rail."""
    typed = {"rail before": fall.before, "rail after": fall.after, "minutes": max(0.05, fall.minutes)}
    found = RAIL_HOLD.run({name: f"{value:.5g}" for name, value in typed.items()}, Setting())
    if not isinstance(found, Finding):
        return None
    half = found.figures[0][0]
    return half if isinstance(half, Figure) else None


def _soaked(warm: Warming, run: Run) -> tuple[Figure, ...]:
    """Sensors against each other; silent where a coolant above the air may be warmth that is left of the last drive."""
    read = dict(warm.at_start)
    coolant = read.get(COOLANT)
    air = [v for q, v in read.items() if q != COOLANT]
    if coolant is None or not air or (not run.off >= LONG_SOAK and coolant > min(air) + AGREE):
        return ()
    names = {COOLANT: "coolant", INTAKE: "intake", OUTSIDE: "outside"}
    found = COLD_SOAK.run({names[q]: f"{v:.4g}" for q, v in read.items()}, Setting())
    return tuple(f for f in found.figures[0] if isinstance(f, Figure)) if isinstance(found, Finding) else ()
