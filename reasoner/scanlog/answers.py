"""From what a log says to answers that a case can take: a quantity, where, in which spell, with its error.

The condition is that of the rules for the spell's phase; "" where they have none. No check is named here: whoever joins
these to checks goes by quantity, condition and place."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from reasoner.measure.asks import Setting
from reasoner.measure.computations.air import COLD_SOAK, PRESSURE, WEATHER
from reasoner.measure.computations.air import OUTSIDE as OUTSIDE_AIR
from reasoner.measure.computations.air import SENSORS_AGREE_SOAKED as AGREE
from reasoner.measure.computations.cylinders import misfire_figures
from reasoner.measure.computations.hold import RAIL_HOLD
from reasoner.measure.computations.watched import OWN_QUIET, READ_WARM, SLOW, noted_time
from reasoner.measure.finding import Figure, Finding
from reasoner.measure.fuel import filling
from reasoner.measure.uncertain import ERRORS_SHOWN, Estimate, between
from reasoner.scanlog import rolling
from reasoner.scanlog.amounts import HALF_TRIM_STEP, Fits, SizedFamily
from reasoner.scanlog.columns import (
    AIRFLOW,
    BAROMETER,
    COOLANT,
    INTAKE,
    MANIFOLD,
    OUTSIDE,
    PEDAL,
    PURGE,
    RAIL,
    SPEED,
    THROTTLE,
)
from reasoner.scanlog.conditions import COLD, HOT, Conditions, Phase, Run
from reasoner.scanlog.document import Proposed
from reasoner.scanlog.findings import (
    IDLING_PHASES,
    Opposite,
    Others,
    PurgeLink,
    RailFall,
    Warming,
    behind,
    lambda_off,
    mean_of,
    mean_of_looks,
    misfires_grown,
    rail_off,
)
from reasoner.scanlog.moments import Air, Bank
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.plausibility import Doubt
from reasoner.scanlog.resampling import Flags, Grid
from reasoner.scanlog.shapes import COLD as WHILE_COLD
from reasoner.scanlog.shapes import LOAD as LOADED_ERROR
from reasoner.scanlog.shapes import MISREAD, MIXED, NONE, OIL, PRIORS, PURGED, SENSED, SHARE, TIME
from reasoner.scanlog.spells import OPEN, QUIET, SHOWING, CaseSpell
from reasoner.scanlog.words import with_error

# ---- what answers are made from, and how one is put ------------------------------------------------------------------


ENGINE, BANK, CYLINDER = "engine", "bank", "cylinder"

NumberedPlace = tuple[str, int]  # the kind of place, and its number


@dataclass(frozen=True)
class LogSeen:
    """What answers are made from."""

    grid: Grid
    conditions: Conditions
    banks: Sequence[Bank]
    thinned: Mapping[int, float]
    spells: Sequence[CaseSpell]
    names: Mapping[Phase, str]
    air: Air | None
    litres: float | None
    doubts: Sequence[Doubt] = ()


def longest(seen: LogSeen, phases: Sequence[Phase]) -> CaseSpell | None:
    """The longest spell in one of these phases."""
    return max((s for s in seen.spells if s.phase in phases), key=lambda s: s.seconds, default=None)


def logged_number(
    seen: LogSeen, quantity: str, unit: str, at: NumberedPlace, estimate: Estimate, spell: CaseSpell, seconds: float
) -> Proposed:
    """A reading. seconds: of the moments that it was read from."""
    where = "" if at[0] == ENGINE else f", {at[0]} {at[1]}"
    return Proposed(
        quantity=quantity,
        unit=unit,
        at=at[0],
        place=at[1],
        value=estimate.value,
        error=estimate.error,
        spell=spell.number,
        phase=spell.phase,
        condition=seen.names.get(spell.phase, ""),
        seconds=seconds,
        says=f"{quantity}{where}: {with_error(estimate, unit)}",
    )


def figured(
    seen: LogSeen, quantity: str, at: NumberedPlace, by: str, figures: Sequence[Figure], spell: CaseSpell, said: str
) -> Proposed:
    """What a computation of the rules finds; its first figure is the value."""
    first = figures[0]
    value = first.value if math.isfinite(first.value) else None
    low, high = first.bounds
    return Proposed(
        quantity=quantity,
        unit=first.unit,
        at=at[0],
        place=at[1],
        value=value,
        error=(high - low) / (2 * ERRORS_SHOWN) if value is not None and math.isfinite(high - low) else None,
        spell=spell.number,
        phase=spell.phase,
        condition=seen.names.get(spell.phase, ""),
        seconds=spell.seconds,
        says=said,
        by=by,
        figures=tuple(figures),
    )


def weighed(
    seen: LogSeen,
    quantity: str,
    at: NumberedPlace,
    weights: Mapping[str, float],
    spell: CaseSpell,
    seconds: float,
    said: str,
) -> Proposed:
    """Outcomes in words, with how well each fits."""
    most = max(weights.values())
    return Proposed(
        quantity=quantity,
        at=at[0],
        place=at[1],
        weights=tuple((n, max(1e-6, w / most)) for n, w in sorted(weights.items(), key=lambda item: -item[1])),
        spell=spell.number,
        phase=spell.phase,
        condition=seen.names.get(spell.phase, ""),
        seconds=seconds,
        says=said,
    )


# ---- while the engine stands, before a start and after a stop: sensors after a cold soak, the rail's hold ------------


LONG_SOAK = 6 * 3600.0  # s off, after which all is as warm as the air; common practice, no source


def standing_engine(seen: LogSeen, other: Others) -> tuple[tuple[CaseSpell, ...], list[Proposed]]:
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
            said = "after a cold soak: " + ", ".join(f"{f.name} {with_error(f.estimate, f.unit)}" for f in figures)
            found.append(
                figured(seen, "temperatures after a cold soak", (ENGINE, 0), "cold soak", figures, spell, said)
            )
    stood = longest(seen, (Phase.OFF, Phase.HOT_SOAK, Phase.COLD_SOAKED))
    if other.at_rest is not None and stood is not None:
        gap = Figure("manifold", "kPa", other.at_rest)
        said = f"manifold less air pressure at rest: {with_error(gap.estimate, gap.unit)}"
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


# ---- while the engine runs -------------------------------------------------------------------------------------------


SHORTEST_READING = 10.0  # s of moments that count, for a reading; judgement
RICH, LEAN = -10.0, 10.0  # % of trim, beyond which a mixture is rich, or lean; common practice, no source
A_MINUTE = 60.0  # s
RICH_SPREAD = 3.0  # % of trim, standard deviation of a reading; judgement
STORED = 60.0  # s of steady closed loop, before a catalyst's store of oxygen says nothing more; judgement
VOLTS_READ = 0.02  # V, standard error; judgement
LAMBDA_READ = 0.005  # standard error of a wide-band sensor near lambda 1; judgement
RAIL_READ = 1.0  # % of rail pressure, both sensors' steps together; judgement
WARMED = 1.0  # min, standard error of a warm-up's time: how it was driven; judgement
CANNOT_BE = "cannot be"  # the figure of the rules for such a reading
CANNOT_READ = 2.0  # % of a run, standard error of how long a reading was false; judgement
EARLY, OIL_WARM = 300.0, 600.0  # s after a cold start: warming up is seen before, the oil is warm from; judgement
COURSE_READ = 1.5  # % of trim, that an idle's may change over a drive by itself; judgement
OPEN_WIDE, WIDE_OPEN = 80.0, 3.0  # % of throttle or accelerator, and s of it that count; judgement
DRIVEN = 0.5  # share of a warm-up in which the car moved, from which its time says something; judgement
SINCE_START = (Phase.COLD_START, Phase.WARM_UP, Phase.HOT_RESTART, Phase.REFUELLED)
SURELY_WARM = 80.0  # degC of coolant, from which a thermostat regulates; common practice, no source
MOVED = 4.0  # % of trim that a state is richer, from which a condition shows it; judgement
SHUT, SETTLES = 1.0, 8.0  # % of purge below which the valve is shut, and s after which the trim shows it; judgement
ZERO_SEEN = (*IDLING_PHASES, Phase.HOT_RESTART, Phase.REFUELLED)
STEADY_PHASES = (*IDLING_PHASES, Phase.CRUISE)  # where what belongs to no one spell is said to have been seen
NORMAL_EVERYWHERE = "within 10 % everywhere"
# What trims over airflow look like, where that has another name. Vapour out of the oil comes at a steady rate; whether
# a leak has a wrong share beside it is seen by what is left at high airflow (`Fits.beside`).
AS_TRIMS = {NONE: NORMAL_EVERYWHERE, SENSED: SHARE, OIL: TIME, MIXED: TIME}


def answers(seen: LogSeen, fits: Mapping[int, Fits], other: Others) -> list[Proposed]:
    """Everything that is seen while the engine runs, each in the spell it was seen in. fits: by bank."""
    return [
        *_trims(seen, fits),
        *_after_starts(seen),
        *_shapes(seen, fits),
        *_as_it_warms(seen, fits),
        *(_purge_fitted(seen, fits) or _purged(seen, other.purge) or _rich_at_zero(seen, fits)),
        *_lambdas(seen),
        *_behind(seen),
        *_rail(seen),
        *_misfiring(seen),
        *_idle(seen),
        *_temperatures(seen),
        *_against_quiet(seen, fits),
        *_opposite(seen, other.opposite),
        *_wide_open(seen),
        *(_misread(seen, fits) or _warm_ups(seen, other.warming)),
    ]


def _trims(seen: LogSeen, fits: Mapping[int, Fits]) -> list[Proposed]:
    """Total, short-term and long-term trim of each bank in each spell, short and long added.

    Not of a bank whose trims go with the purge or with a false coolant reading: these have answers of their own, and a
    mean over moments with and without them is neither the one nor the other.

    What is dated by a start (warm-up, hot restart ...) holds idling and driving alike: there the idle counts, which is
    what a trim is asked for in these conditions.
    """
    found = []
    best = {number: fit.best.name for number, fit in fits.items() if fit.best is not None}
    for spell in seen.spells:
        for bank in seen.banks:
            if best.get(bank.number) in (PURGED, MISREAD):
                continue
            here = spell.cells & bank.good
            if spell.phase in SINCE_START:
                here &= seen.conditions.idles
            for quantity, values in (
                ("total fuel trim", 100 * bank.summed),
                ("short-term trim", bank.short),
                ("long-term trim", bank.long),
            ):
                estimate = _mean(values[here], seen.grid.step, seen.thinned.get(bank.number, 10.0))
                if estimate is not None:
                    seconds = float(here.sum()) * seen.grid.step
                    found.append(logged_number(seen, quantity, "%", (BANK, bank.number), estimate, spell, seconds))
    return found


def _after_starts(seen: LogSeen) -> list[Proposed]:
    """Seconds in closed loop with the trim beyond -10 %, after a hot restart and after refuelling.

    Silent where the minutes after the start were not seen, or ended before it was known whether it stays rich.
    """
    found = []
    for spell in seen.spells:
        if spell.phase not in (Phase.HOT_RESTART, Phase.REFUELLED):
            continue
        whole = [s for s in seen.spells if s.run == spell.run and s.phase == spell.phase]
        if spell is not max(whole, key=lambda s: (s.state == SHOWING and s.seconds >= A_MINUTE, s.seconds)):
            continue  # one answer for each start: in the spell that shows, if it lasts as long as what is asked for
        cells = np.logical_or.reduce([s.cells for s in whole])
        for bank in seen.banks:
            looked = np.flatnonzero(cells & bank.closed & np.isfinite(bank.summed))
            trims = 100 * bank.summed[looked]
            beyond = trims < RICH
            rich, seconds = float(beyond.sum()) * seen.grid.step, len(looked) * seen.grid.step
            lean = float((trims > LEAN).sum()) * seen.grid.step
            last = beyond[-max(1, round(5.0 / seen.grid.step)) :]
            ended = seconds >= 3 * A_MINUTE or not last.all()
            if rich > A_MINUTE or (seconds >= A_MINUTE and ended):
                figures = Figure("seconds rich", "s", noted_time(rich)), Figure("seconds lean", "s", noted_time(lean))
                said = f"rich after the start, bank {bank.number}: {with_error(figures[0].estimate, 's')}"
                quantity, place = "seconds rich after the start", (BANK, bank.number)
                found.append(figured(seen, quantity, place, "rich after a start", figures, spell, said))
    return found


def _shapes(seen: LogSeen, fits: Mapping[int, Fits]) -> list[Proposed]:
    """How each bank's trim goes with airflow, in the spell in which it is richest: what the text says, no less."""
    found = []
    for bank in seen.banks:
        fit = fits.get(bank.number)
        line = (fit.showing or fit.quiet) if fit is not None else None
        best = _richest(seen, bank)
        level = fit.level if fit is not None else None
        if fit is None or line is None or level is None or best is None or not (fit.told_apart and fit.shapes):
            continue
        if fit.best is not None and fit.best.name == LOADED_ERROR:  # it is seen where airflow is high, not at an idle
            best = longest(seen, (Phase.LOADED,)) or longest(seen, (Phase.CRUISE,)) or best
        normal = between(RICH, math.inf, level.value, math.hypot(RICH_SPREAD, level.error))
        if fit.best is not None:
            normal = 0.0  # its fit has weighed it against what a sound engine's trims do
        weights = {NORMAL_EVERYWHERE: normal}
        for shape in fit.shapes:
            name = AS_TRIMS.get(shape.name, shape.name)
            weights[name] = weights.get(name, 0.0) + (1 - normal) * shape.weight
        likeliest = max(weights, key=lambda name: weights[name])
        chance = f"{100 * min(0.99, weights[likeliest] / sum(weights.values())):.0f} %"
        said = f"trim against airflow, bank {bank.number}, {line.flow[0]:.1f} to {line.flow[1]:.1f} g/s: "
        said += f"{likeliest} ({chance})"
        told = weights if fit.best is None else _told_by_trims(weights)
        found.append(weighed(seen, "trim against airflow", (BANK, bank.number), told, best, line.seconds, said))
    return found


def _told_by_trims(weights: Mapping[str, float]) -> dict[str, float]:
    """What the trims alone say of each, without what was thought of it beforehand: the case has its own causes for
    that, and would count it twice."""
    before: dict[str, float] = {}
    for name, prior in PRIORS.items():
        name = AS_TRIMS.get(name, name)
        before[name] = before.get(name, 0.0) + prior
    return {name: weight / before[name] for name, weight in weights.items()}


def _as_it_warms(seen: LogSeen, fits: Mapping[int, Fits]) -> list[Proposed]:
    """What the idle's trim does as the engine warms after a cold start, by every explanation for what it weighs: fuel
    out of the oil comes, what a cold engine is given goes, all else stays.

    Silent where the log does not reach from the warm-up to where the oil is warm, and of what comes and goes by itself.
    """
    spell = longest(seen, (Phase.WARM_UP,))
    run = seen.conditions.runs[spell.run - 1] if spell is not None else None
    if spell is None or run is None or run.kind != "cold":
        return []
    since = seen.conditions.since_cold[run.start : run.end]
    each = []
    for bank in seen.banks:
        fit, looked = fits.get(bank.number), since[bank.good[run.start : run.end]]
        if fit is None or not len(looked) or looked.min() > EARLY or looked.max() < OIL_WARM:
            continue
        if fit.best is not None and (fit.best.of_state or fit.best.name in (MISREAD, PURGED)):
            return []
        if OIL in {s.name for s in fit.shapes}:
            each.append(_warmed(fit.shapes))
    if not each:
        return []
    mean = float(np.mean([e.value for e in each]))  # vapour, and what a cold engine is given, reach every bank alike
    error = math.hypot(COURSE_READ, max(e.error for e in each))
    figure = Figure("comes with warmth", "%", Estimate(mean, error))
    said = f"idle trim when warm less just after the cold start: {with_error(figure.estimate, '%')}"
    return [figured(seen, "trim as it warms", (ENGINE, 0), "trims as it warms", (figure,), spell, said)]


def _warmed(shapes: Sequence[SizedFamily]) -> Estimate:
    """What comes with warmth (% of trim), over all explanations by their weights."""
    moves = {OIL: 1.0, WHILE_COLD: -1.0}
    each = [(s.weight, moves[s.name] * s.at_most.value, s.at_most.error) for s in shapes if s.name in moves]
    mean = sum(w * v for w, v, _ in each)
    squares = sum(w * (e * e + v * v) for w, v, e in each)
    return Estimate(mean, math.sqrt(max(0.0, squares - mean * mean)))


def _wide_open(seen: LogSeen) -> list[Proposed]:
    """Airflow with the throttle wide open against the swept volume filled with the air outside.

    Only where throttle or accelerator say that it is open: the air itself must not choose what it is judged by.
    """
    grid = seen.grid
    flow, rpm, throttle = grid.get(AIRFLOW), grid.get(SPEED), _opening(grid)
    spells = [s for s in seen.spells if s.phase is Phase.LOADED]
    if flow is None or rpm is None or throttle is None or not seen.litres:
        return []
    outside, celsius = grid.of(BAROMETER), grid.of(INTAKE)
    pressure = Estimate(OUTSIDE_AIR, WEATHER)
    if np.isfinite(outside).any():
        pressure = Estimate(float(np.nanmedian(outside)), PRESSURE)
    found = []
    for spell in spells:
        with np.errstate(invalid="ignore"):
            here = spell.cells & (throttle >= OPEN_WIDE) & (rpm > 1500) & np.isfinite(flow)
        if here.sum() * grid.step < WIDE_OPEN:
            continue
        warm = float(np.nanmedian(celsius[here])) if np.isfinite(celsius[here]).any() else 25.0
        middle = float(np.median(flow[here] / rpm[here]))  # g a turn and minute: what stays the same
        one = filling(Estimate(2000 * middle, 60 * middle), seen.litres, 2000.0, pressure, Estimate(warm, 5.0))
        estimate = Estimate(100 * one.value, 100 * one.error)
        seconds = float(here.sum()) * grid.step
        found.append(logged_number(seen, "volumetric efficiency", "%", (ENGINE, 0), estimate, spell, seconds))
    return found


def _opening(grid: Grid) -> Array | None:
    """How far the throttle is open, or else the accelerator, %."""
    return next((v for v in (grid.get(THROTTLE), grid.get(PEDAL)) if v is not None), None)


def _purge_fitted(seen: LogSeen, fits: Mapping[int, Fits]) -> list[Proposed]:
    """What purge makes of the trims where that is the likeliest explanation of them: of the whole log, in the longest
    spell in which it is asked for."""
    best = [f.best for f in fits.values() if f.best is not None and f.best.name == PURGED]
    spell = longest(seen, STEADY_PHASES)
    if not best or spell is None:
        return []
    estimate = Estimate(float(np.mean([b.at_most.value for b in best])), max(b.at_most.error for b in best))
    figure = Figure("trim moves", "%", estimate)
    said = f"trim with purge less without: {with_error(estimate, '%')}"
    return [figured(seen, "trim with purge less without", (ENGINE, 0), "purge on and off", (figure,), spell, said)]


def _purged(seen: LogSeen, purge: Sequence[PurgeLink]) -> list[Proposed]:
    """The trim with purge less without, by the moves of the valve in each spell; one valve serves all banks."""
    found = []
    for spell in seen.spells:
        per_bank = []
        for link in purge:
            cells = np.clip(np.searchsorted(seen.grid.time, [t for t, _ in link.looks]), 0, len(seen.grid) - 1)
            looks = [look for (_, look), at in zip(link.looks, cells.tolist(), strict=True) if spell.cells[at]]
            per_bank += [mean_of_looks(looks)] if looks else []
        if per_bank:
            value = float(np.mean([e.value for e in per_bank]))
            estimate = Estimate(value, max(e.error for e in per_bank))  # the same moves: not independent
            figure = Figure("trim moves", "%", estimate)
            said = f"trim with purge less without: {with_error(estimate, '%')}"
            quantity = "trim with purge less without"
            found.append(figured(seen, quantity, (ENGINE, 0), "purge on and off", (figure,), spell, said))
    return found


def _rich_at_zero(seen: LogSeen, fits: Mapping[int, Fits]) -> list[Proposed]:
    """That the purge was shut while a bank idled rich, where the valve never moved at steady airflow.

    The trim itself is left open: it has answers of its own, and would count twice.
    """
    purge = seen.grid.get(PURGE)
    if purge is None:
        return []
    with np.errstate(invalid="ignore"):
        is_shut = rolling.since(~(purge < SHUT), seen.grid.time) >= SETTLES
    found = []
    for bank in seen.banks:
        fit = fits.get(bank.number)
        best = fit.best if fit is not None else None
        if best is None or best.name == PURGED or best.at_most.value >= 0:
            continue
        spells = [s for s in seen.spells if s.phase in ZERO_SEEN and (s.state == SHOWING) >= best.of_state]
        for spell in sorted(spells, key=lambda s: -s.seconds)[:1]:
            here = spell.cells & bank.good & is_shut & seen.conditions.idles
            trim = _mean(100 * bank.summed[here], seen.grid.step, seen.thinned.get(bank.number, 10.0))
            if trim is not None and trim.value < best.at_most.value / 2:
                figure = Figure("purge", "%", Estimate(0.0, SHUT / 4))
                said = f"purge shut while rich, bank {bank.number}: trim {with_error(trim, '%')}"
                place = (BANK, bank.number)
                found.append(figured(seen, "purge while rich", place, "read at the banks", (figure,), spell, said))
    return found


def _lambdas(seen: LogSeen) -> list[Proposed]:
    found = []
    for bank in seen.banks:
        gap = lambda_off(seen.grid, bank.number)
        if gap is None:
            continue
        for spell in seen.spells:
            estimate = mean_of(gap[spell.cells & bank.good], seen.grid.step)
            if estimate is not None:
                estimate = Estimate(estimate.value, max(LAMBDA_READ, estimate.error))
                figure = Figure("lambda off target", "lambda", estimate)
                quantity, place = "measured less commanded lambda", (BANK, bank.number)
                said = f"{quantity}, bank {bank.number}: {with_error(estimate, '')}"
                found.append(figured(seen, quantity, place, "lambda against target", (figure,), spell, said))
    return found


def _behind(seen: LogSeen) -> list[Proposed]:
    """Voltage behind the catalyst, in each spell that is long enough for the catalyst's stored oxygen to be used up."""
    found = []
    for bank in seen.banks:
        volts = behind(seen.grid, bank)
        for spell in seen.spells if volts is not None else ():
            assert volts is not None
            here = spell.cells & bank.good & np.isfinite(volts)
            seconds = float(here.sum()) * seen.grid.step
            if seconds >= STORED:
                middle = mean_of(volts[here], seen.grid.step)
                assert middle is not None
                estimate = Estimate(float(np.median(volts[here])), max(VOLTS_READ, middle.error))
                place = (BANK, bank.number)
                found.append(logged_number(seen, "voltage behind the catalyst", "V", place, estimate, spell, seconds))
    return found


def _rail(seen: LogSeen) -> list[Proposed]:
    off = rail_off(seen.grid, seen.conditions)
    if off is None:
        return []
    found = []
    for spell in seen.spells:
        values = off[spell.cells & np.isfinite(off)]
        if len(values) * seen.grid.step >= SHORTEST_READING:
            middle = float(np.median(values))
            figure = Figure("off target", "%", Estimate(middle, max(RAIL_READ, float(np.std(values)))))
            said = f"rail pressure off its target: {with_error(figure.estimate, figure.unit)}"
            quantity = "rail pressure off command"
            found.append(figured(seen, quantity, (ENGINE, 0), "rail against target", (figure,), spell, said))
    return found


def _misfiring(seen: LogSeen) -> list[Proposed]:
    """Misfires of each cylinder against the others, as they came in in each spell."""
    grown = misfires_grown(seen.grid)
    if len(grown) < 2:
        return []
    found = []
    for spell in seen.spells:
        counts = {c: values[spell.cells] for c, values in grown.items()}
        if any(not np.isfinite(v).any() for v in counts.values()):
            continue
        for cylinder, figures in misfire_figures({c: float(np.nansum(v)) for c, v in counts.items()}).items():
            said = f"misfires, cylinder {cylinder}: {np.nansum(counts[cylinder]):.0f}"
            place = (CYLINDER, cylinder)
            found.append(figured(seen, "misfires", place, "misfire counts", figures, spell, said))
    return found


def _opposite(seen: LogSeen, crosswise: Opposite | None) -> list[Proposed]:
    """The share of the time that two banks went opposite ways, of all that was looked at."""
    spell = longest(seen, STEADY_PHASES)
    if crosswise is None or spell is None or crosswise.seconds < 2 * A_MINUTE:
        return []
    looks = crosswise.seconds / A_MINUTE  # neighbouring moments tell the same
    error = math.sqrt(max(crosswise.share * (1 - crosswise.share), 0.25 / looks) / looks)
    estimate = Estimate(100 * crosswise.share, 100 * error)
    quantity = "time with the banks opposite"
    figure, said = Figure("time opposite", "%", estimate), f"{quantity}: {with_error(estimate, '%')}"
    one = figured(seen, quantity, (ENGINE, 0), "banks against each other", (figure,), spell, said)
    return [replace(one, whole=True)]


def _warm_ups(seen: LogSeen, warming: Sequence[Warming]) -> list[Proposed]:
    """Minutes from a cold start to 70 degC, where the car was driven; at least so many where it never got there."""
    found = []
    for warm in warming:
        spells = [s for s in seen.spells if s.run == warm.run and s.phase is Phase.WARM_UP]
        if not spells or warm.moved is None or warm.moved < DRIVEN:
            continue
        minutes = warm.lasted if warm.minutes is None else warm.minutes
        if warm.minutes is None and (minutes < SLOW or warm.end is None or warm.start is None or warm.start > 45):
            continue  # a short trip says nothing
        figures = (
            Figure("minutes to 70 °C", "min", Estimate(minutes, WARMED)),
            Figure(CANNOT_BE, "%", Estimate(0.0, CANNOT_READ)),
        )
        spell = max(spells, key=lambda s: s.seconds)
        said = f"from cold to 70 °C: {'' if warm.minutes is not None else 'not within '}{minutes:.0f} min"
        found.append(figured(seen, "warming up", (ENGINE, 0), "warming up", figures, spell, said))
    return found


def _misread(seen: LogSeen, fits: Mapping[int, Fits]) -> list[Proposed]:
    """How much of a warm-up the coolant read what it cannot be, where the mixture followed that: then it is no defect
    of the file alone."""
    if not any(fit.best is not None and fit.best.name == MISREAD for fit in fits.values()):
        return []
    spell = longest(seen, (Phase.WARM_UP,)) or longest(seen, (Phase.COLD_START,))
    run = seen.conditions.runs[spell.run - 1] if spell is not None and spell.run else None
    if spell is None or run is None:
        return []
    time = seen.grid.time[run.start : run.end]
    off = [(time >= d.start) & (time <= d.end) for d in seen.doubts if d.key.quantity == COOLANT]
    share = 100 * float(np.logical_or.reduce(off).mean()) if off else 0.0
    figure = Figure(CANNOT_BE, "%", Estimate(share, CANNOT_READ))
    said = f"coolant reads what it cannot be: {share:.0f} % of the run, and the mixture follows"
    return [figured(seen, "coolant that cannot be", (ENGINE, 0), "warming up", (figure,), spell, said)] if share else []


def _idle(seen: LogSeen) -> list[Proposed]:
    """Airflow for each litre and manifold pressure, warm and idling."""
    spell = longest(seen, IDLING_PHASES)
    if spell is None:
        return []
    found = []
    if seen.air is not None and seen.air.how == "measured" and seen.litres:
        flow = _mean(seen.air.flow[spell.cells], seen.grid.step, 10.0)
        if flow is not None:
            estimate = Estimate(flow.value / seen.litres, max(flow.error, 0.03 * flow.value) / seen.litres)
            found.append(logged_number(seen, "airflow a litre", "g/s", (ENGINE, 0), estimate, spell, spell.seconds))
    if seen.grid.get(MANIFOLD) is not None:
        pressure = _mean(seen.grid.of(MANIFOLD)[spell.cells], seen.grid.step, 10.0)
        if pressure is not None:
            estimate = Estimate(pressure.value, max(1.0, pressure.error))
            found.append(logged_number(seen, "manifold pressure", "kPa", (ENGINE, 0), estimate, spell, spell.seconds))
    return found


def _temperatures(seen: LogSeen) -> list[Proposed]:
    """Coolant, and intake air over the air outside, of a warm engine that idles; silent where the coolant was doubted,
    which is either a defect of the file or has an answer of its own."""
    coolant, intake, outside = (seen.grid.get(q) for q in (COOLANT, INTAKE, OUTSIDE))
    if coolant is None or any(d.key.quantity == COOLANT for d in seen.doubts):
        return []
    found = []
    with np.errstate(invalid="ignore"):
        warm = (coolant >= SURELY_WARM) | (seen.conditions.on >= OIL_WARM)  # a short trip ends while it still warms up
    for spell in seen.spells:
        here = spell.cells & np.isfinite(coolant) & warm
        if spell.phase not in IDLING_PHASES or here.sum() * seen.grid.step < SHORTEST_READING:
            continue
        typed = {"coolant": float(np.median(coolant[here]))}
        if intake is not None and outside is not None and np.isfinite(intake[here] - outside[here]).any():
            typed["intake"], typed["outside"] = (float(np.nanmedian(v[here])) for v in (intake, outside))
        read = READ_WARM.run({name: f"{value:.1f}" for name, value in typed.items()}, Setting())
        if isinstance(read, Finding):
            figures = tuple(f for f in read.figures[0] if isinstance(f, Figure))
            said = "warm and idling: " + ", ".join(f"{f.name} {with_error(f.estimate, f.unit)}" for f in figures)
            quantity = "temperatures when warm"
            found.append(figured(seen, quantity, (ENGINE, 0), quantity, figures, spell, said))
    return found


def _against_quiet(seen: LogSeen, fits: Mapping[int, Fits]) -> list[Proposed]:
    """What stands elsewhere at an idle, or else a cruise, while it shows than in the same condition while it does not.

    Air and pressures are compared at idle only: on the road they are what is asked for.
    """
    moving = [f.best for f in fits.values() if f.best is not None and f.best.of_state]
    for phase in (*IDLING_PHASES, Phase.CRUISE) if moving else ():
        of_phase = [s for s in seen.spells if s.phase is phase]
        shows = [s for s in of_phase if s.state == SHOWING]
        sides = [[s.cells for s in of_phase if s.state == state] for state in (SHOWING, QUIET)]
        if not all(sides):
            continue
        here, quiet = (np.logical_or.reduce(cells) for cells in sides)
        typed = _typed_both(seen, here, quiet, at_idle=phase is not Phase.CRUISE)
        if typed.get("trim now", 0.0) - typed.get("trim quiet", 0.0) > -MOVED:
            continue  # this condition hardly shows it, or it is a lean one
        read = OWN_QUIET.run({name: f"{value:.5g}" for name, value in typed.items()}, Setting())
        if isinstance(read, Finding):
            figures = tuple(f for f in read.figures[0] if isinstance(f, Figure))
            said = "while it shows: " + ", ".join(f"{f.name} {with_error(f.estimate, f.unit)}" for f in figures)
            spell = max(shows, key=lambda s: s.seconds)
            return [figured(seen, "against its own quiet", (ENGINE, 0), OWN_QUIET.name, figures, spell, said)]
    return []


def _typed_both(seen: LogSeen, here: Flags, quiet: Flags, at_idle: bool) -> dict[str, float]:
    """Medians of each reading in both states, by the names that the computation asks for."""
    grid = seen.grid
    doubted = {d.key.quantity for d in seen.doubts}
    airs = [q for q in (AIRFLOW, MANIFOLD) if grid.get(q) is not None and q not in doubted]
    rows = {"coolant": grid.get(COOLANT) if COOLANT not in doubted else None}
    if at_idle:
        rows |= {"air": grid.of(airs[0]) if airs else None, "pressure": grid.get(RAIL)}
    trims = []
    for bank in seen.banks:
        both = [_middle(100 * bank.summed, side & bank.good, grid.step) for side in (here, quiet)]
        trims += [(a, b) for a, b in [both] if a is not None and b is not None]
    if not trims:
        return {}
    now, before = max(trims, key=lambda t: abs(t[0] - t[1]))
    typed = {"trim now": now, "trim quiet": before}
    for name, values in rows.items():
        if values is None:
            continue
        a, b = (_middle(values, side, grid.step) for side in (here, quiet))
        if a is not None and b is not None and b > 0:
            typed |= {f"{name} now": a, f"{name} quiet": b}
    return typed


def _middle(values: Array, here: Flags, step: float) -> float | None:
    there = values[here & np.isfinite(values)]
    return float(np.median(there)) if len(there) * step >= SHORTEST_READING else None


def _mean(values: Array, step: float, thinned: float) -> Estimate | None:
    values = values[np.isfinite(values)]
    if len(values) * step < SHORTEST_READING:
        return None
    looks = max(1.0, len(values) / thinned)
    return Estimate(float(values.mean()), math.hypot(HALF_TRIM_STEP, float(values.std()) / math.sqrt(looks)))


def _richest(seen: LogSeen, bank: Bank) -> CaseSpell | None:
    """The longest spell of the condition in which this bank's trim is lowest; one that shows before one that does not,
    and one of a warm engine before one while it warms up: what shows in both is no matter of warming up."""
    best: tuple[bool, bool, float, CaseSpell] | None = None
    for spell in seen.spells:
        here: Flags = spell.cells & bank.good
        if here.sum() * seen.grid.step < SHORTEST_READING or not seen.names.get(spell.phase):
            continue
        warm = spell.phase not in (Phase.COLD_START, Phase.WARM_UP)
        rank = (spell.state == SHOWING, warm, -float(bank.summed[here].mean()))
        if best is None or rank > best[:3]:
            best = (*rank, spell)
    if best is None:
        return None
    # all that is said of one condition and state is said of its longest spell, so that it is seen to be of one moment
    alike = [s for s in seen.spells if (s.phase, s.state) == (best[3].phase, best[3].state)]
    usable = [s for s in alike if (s.cells & bank.good).sum() * seen.grid.step >= SHORTEST_READING]
    return max(usable, key=lambda s: s.seconds)
