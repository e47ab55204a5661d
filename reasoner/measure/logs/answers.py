"""From what a log says to answers that a case can take: a quantity, where, in which spell, how well each outcome fits.

No check is named here: whoever joins these to checks goes by quantity, condition and place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from reasoner.measure.logs.cells import Array
from reasoner.measure.logs.conditions import Conditions, Phase
from reasoner.measure.logs.document import Proposed
from reasoner.measure.logs.fit import Fits
from reasoner.measure.logs.grid import Flags, Grid
from reasoner.measure.logs.others import IDLING, Filling, LambdaGap, Misfires, Opposite, PurgeLink, RailGap, Warming
from reasoner.measure.logs.quantities import MANIFOLD
from reasoner.measure.logs.stretches import SHOWING, CaseSpell
from reasoner.measure.logs.usable import Air, Bank
from reasoner.measure.logs.words import plus_minus
from reasoner.measure.soften import between
from reasoner.measure.uncertain import Estimate

SHORTEST = 10.0  # s of moments that count, for a reading
READ = 0.4  # % of trim: half a step of its scaling (SAE J1979)
RICH = -10.0  # % of trim, beyond which a mixture is rich; common practice, no source
RICH_SPREAD = 3.0  # % of trim, standard deviation of a reading; judgement
ENGINE, BANK, CYLINDER = "engine", "bank", "cylinder"
STEADY = (*IDLING, Phase.CRUISE)  # where what belongs to no one spell is said to have been seen
NORMAL = "within 10 % everywhere"


@dataclass(frozen=True)
class Seen:
    """What answers are made from."""

    grid: Grid
    conditions: Conditions
    banks: Sequence[Bank]
    thinned: Mapping[int, float]
    spells: Sequence[CaseSpell]
    names: Mapping[Phase, str]
    air: Air | None
    litres: float | None


def trims(seen: Seen) -> list[Proposed]:
    """Total, short-term and long-term trim of each bank in each spell, short and long added."""
    found = []
    for spell in seen.spells:
        for bank in seen.banks:
            here = spell.cells & bank.good
            for quantity, values in (
                ("total fuel trim", 100 * bank.summed),
                ("short-term trim", bank.short),
                ("long-term trim", bank.long),
            ):
                estimate = _mean(values[here], seen.grid.step, seen.thinned.get(bank.number, 10.0))
                if estimate is not None:
                    seconds = float(here.sum()) * seen.grid.step
                    found.append(_number(seen, quantity, "%", (BANK, bank.number), estimate, spell, seconds))
    return found


def after_starts(seen: Seen) -> list[Proposed]:
    """Seconds in closed loop with the trim beyond -10 %, after a hot restart and after refuelling."""
    found = []
    for spell in seen.spells:
        if spell.phase not in (Phase.HOT_RESTART, Phase.REFUELLED):
            continue
        whole = [s for s in seen.spells if s.run == spell.run and s.phase == spell.phase]
        if spell is not max(whole, key=lambda s: s.state == SHOWING):
            continue  # one answer for each start, in the spell that shows, if one does
        cells = np.logical_or.reduce([s.cells for s in whole])
        for bank in seen.banks:
            looked = cells & bank.closed & np.isfinite(bank.summed)
            if looked.sum() * seen.grid.step < 30:
                continue
            rich = float((100 * bank.summed[looked] < RICH).sum()) * seen.grid.step
            estimate = Estimate(rich, max(5.0, 0.1 * rich))
            quantity = "seconds rich after the start"
            seconds = float(looked.sum()) * seen.grid.step
            found.append(_number(seen, quantity, "s", (BANK, bank.number), estimate, spell, seconds))
    return found


def shapes(seen: Seen, fits: Mapping[int, Fits]) -> list[Proposed]:
    """How each bank's trim goes with airflow, in the spell in which it is richest."""
    found = []
    for bank in seen.banks:
        fit = fits.get(bank.number)
        line = (fit.showing or fit.quiet) if fit is not None else None
        best = _richest(seen, bank)
        if fit is None or line is None or best is None or not line.told_apart:
            continue
        error = math.hypot(RICH_SPREAD, line.at_idle.error)
        normal = between(RICH, math.inf, line.at_idle.value, error)
        weights = {NORMAL: normal}
        for shape in fit.shapes:
            weights[shape.name] = weights.get(shape.name, 0.0) + (1 - normal) * shape.weight
        if not fit.shapes:
            weights[NORMAL] = 1.0
        said = f"trim against airflow, {line.flow[0]:.1f} to {line.flow[1]:.1f} g/s"
        found.append(_weighed(seen, "trim against airflow", (BANK, bank.number), weights, best, line.seconds, said))
    return found


def rest(
    seen: Seen,
    purge: Sequence[PurgeLink],
    lambdas: Sequence[LambdaGap],
    rail: RailGap | None,
    filling: Sequence[Filling],
    misfires: Sequence[Misfires],
    warming: Sequence[Warming],
    opposite: Opposite | None,
) -> list[Proposed]:
    """Everything that is not a trim."""
    found = []
    longest = _in_phase(seen, STEADY) or max(seen.spells, key=lambda s: s.seconds, default=None)
    if longest is None:
        return []
    for link in purge:
        estimate = link.difference
        found.append(_number(seen, "trim with purge less without", "%", (BANK, link.bank), estimate, longest, 0.0))
    for gap in lambdas:
        quantity = "measured less commanded lambda"
        found.append(_number(seen, quantity, "", (BANK, gap.bank), gap.difference, longest, gap.seconds))
    if rail is not None and rail.mean is not None:
        found.append(_number(seen, "rail pressure off command", "%", (ENGINE, 0), rail.mean, longest, longest.seconds))
    if rail is not None and rail.fall is not None:
        estimate = Estimate(rail.fall, max(0.1, 0.1 * rail.fall))
        quantity = "time until the rail pressure has halved"
        found.append(_number(seen, quantity, "min", (ENGINE, 0), estimate, longest, 60 * rail.fall))
    for fill in filling:
        spell = _in_phase(seen, (fill.phase,)) or longest
        if fill.efficiency is not None:
            percent = Estimate(100 * fill.efficiency.value, 100 * fill.efficiency.error)
            found.append(_number(seen, "volumetric efficiency", "%", (ENGINE, 0), percent, spell, fill.seconds))
    found += _idle(seen)
    for cylinder in misfires:
        estimate = Estimate(cylinder.count, math.sqrt(max(1.0, cylinder.count)))
        found.append(_number(seen, "misfires", "", (CYLINDER, cylinder.cylinder), estimate, longest, longest.seconds))
    for warm in warming:
        spell = next((s for s in seen.spells if s.run == warm.run), longest)
        if warm.soak_gap is not None:
            quantity, estimate = "coolant less intake air, cold", Estimate(warm.soak_gap, 2.0)
            found.append(_number(seen, quantity, "K", (ENGINE, 0), estimate, spell, 10.0))
    if opposite is not None:
        weights = {"opposite ways": opposite.share, "not so": 1 - opposite.share}
        said = f"banks go opposite ways for {100 * opposite.share:.0f} % of the time"
        found.append(_weighed(seen, "banks against each other", (ENGINE, 0), weights, longest, longest.seconds, said))
    return found


def _idle(seen: Seen) -> list[Proposed]:
    """Airflow for each litre and manifold pressure, warm and idling."""
    spell = _in_phase(seen, IDLING)
    if spell is None:
        return []
    found = []
    if seen.air is not None and seen.air.how == "measured" and seen.litres:
        flow = _mean(seen.air.flow[spell.cells], seen.grid.step, 10.0)
        if flow is not None:
            estimate = Estimate(flow.value / seen.litres, max(flow.error, 0.03 * flow.value) / seen.litres)
            found.append(_number(seen, "airflow a litre", "g/s", (ENGINE, 0), estimate, spell, spell.seconds))
    if seen.grid.get(MANIFOLD) is not None:
        pressure = _mean(seen.grid.of(MANIFOLD)[spell.cells], seen.grid.step, 10.0)
        if pressure is not None:
            estimate = Estimate(pressure.value, max(1.0, pressure.error))
            found.append(_number(seen, "manifold pressure", "kPa", (ENGINE, 0), estimate, spell, spell.seconds))
    return found


def _in_phase(seen: Seen, phases: Sequence[Phase]) -> CaseSpell | None:
    return max((s for s in seen.spells if s.phase in phases), key=lambda s: s.seconds, default=None)


def _richest(seen: Seen, bank: Bank) -> CaseSpell | None:
    """The spell with a condition in which this bank's trim is lowest; one that shows before one that does not."""
    best: tuple[bool, float, CaseSpell] | None = None
    for spell in seen.spells:
        here: Flags = spell.cells & bank.good
        if here.sum() * seen.grid.step < SHORTEST or not seen.names.get(spell.phase):
            continue
        rank = (spell.state == SHOWING, -float(bank.summed[here].mean()))
        if best is None or rank > best[:2]:
            best = (*rank, spell)
    return best[2] if best else None


def _mean(values: Array, step: float, thinned: float) -> Estimate | None:
    values = values[np.isfinite(values)]
    if len(values) * step < SHORTEST:
        return None
    looks = max(1.0, len(values) / thinned)
    return Estimate(float(values.mean()), math.hypot(READ, float(values.std()) / math.sqrt(looks)))


def _number(
    seen: Seen, quantity: str, unit: str, at: tuple[str, int], estimate: Estimate, spell: CaseSpell, seconds: float
) -> Proposed:
    where = "" if at[0] == ENGINE else f", {at[0]} {at[1]}"
    said = f"{quantity}{where}: {plus_minus(estimate, unit)}"
    condition = seen.names.get(spell.phase, "")
    return Proposed(
        quantity, unit, *at, estimate.value, estimate.error, (), spell.number, spell.phase, condition, seconds, said
    )


def _weighed(
    seen: Seen,
    quantity: str,
    at: tuple[str, int],
    weights: Mapping[str, float],
    spell: CaseSpell,
    seconds: float,
    said: str,
) -> Proposed:
    most = max(weights.values())
    relative = tuple((name, max(1e-6, w / most)) for name, w in sorted(weights.items(), key=lambda item: -item[1]))
    condition = seen.names.get(spell.phase, "")
    return Proposed(quantity, "", *at, None, None, relative, spell.number, spell.phase, condition, seconds, said)
