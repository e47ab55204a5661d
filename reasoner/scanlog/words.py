"""What a log says, in sentences. Numbers come from the document; no part of a car is named that was not measured."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from reasoner.measure import finding
from reasoner.measure.fuel import PETROL, millilitres_a_minute
from reasoner.measure.uncertain import Estimate
from reasoner.scanlog.amounts import Fits, SizedFamily
from reasoner.scanlog.columns import AIRFLOW, BEHIND, COOLANT, INTAKE, LOAD, LONG, LOOP, PURGE, ROAD, SPEED
from reasoner.scanlog.document import BankFacts, BankSpell
from reasoner.scanlog.findings import (
    CROSSWISE,
    Behind,
    Filling,
    LambdaGap,
    Misfires,
    Opposite,
    Others,
    PurgeLink,
    RailGap,
    Warming,
)
from reasoner.scanlog.moments import Air
from reasoner.scanlog.shapes import COLD, INJECTION, MISREAD, MIXED, NONE, OIL, PURGED, SENSED, SHARE, TIME
from reasoner.scanlog.shapes import LOAD as LOADED

SAID_TOGETHER = (
    "Short-term and long-term trim are multiplied, (1 + short)(1 + long) - 1, where states and fits are concerned, as "
    "controllers apply them; readings proposed as answers are their sum, as when typed in. SAE J1979 gives no rule."
)
RAIL_AWAY = 5.0  # % off its target, or swinging about it: a step of the target is made up for in a second; judgement
STANDS_OUT = 3.0  # times the others' misfires, and more than so many, from which a cylinder is named; judgement
AT_STOP = 10.0  # s at a stop that are worth a line; presentation
FIRM_WEIGHT = 0.8  # weight of a shape that is spoken of without the others; presentation
ELSEWHERE = 3  # stretches in other conditions, without which it is not said that it showed in one only; presentation
FAMILIES = {  # how a person is told of each: what it looks like, and how it goes
    TIME: ("fuel that comes in steadily, whatever the engine takes", "most at idle, fading as airflow rises"),
    SHARE: ("the same share at every airflow", "flat over airflow"),
    INJECTION: ("too much with each injection", "fading as each stroke takes more air"),
    LOADED: ("an error that grows with airflow", "little at idle, most at high airflow"),
    MIXED: ("fuel that comes in steadily, with a wrong share besides", "fading, but not to nothing"),
    PURGED: ("fuel that comes with the purge", "only while the purge valve is open"),
    OIL: ("fuel that comes as the engine warms up and fades over the drive", "as it does when it boils out of the oil"),
    COLD: ("too much fuel while the engine is cold", "gone when it is warm"),
    MISREAD: ("too much fuel whenever the coolant reads what it cannot be", "the mixture follows the false reading"),
    SENSED: ("an upstream sensor that reads rich falsely", "the sensor behind the catalyst says otherwise"),
    NONE: ("no fault", "as a sound engine's trims go"),
}
UNDER_BOOST = "an error that comes with boost", "nothing where there is none"
LEANER = {
    SENSED: ("an upstream sensor that reads lean falsely", "the sensor behind the catalyst says otherwise"),
    TIME: ("air that comes in unmeasured", "most at idle, fading as airflow rises"),
    INJECTION: ("too little with each injection", "fading as each stroke takes more air"),
    MIXED: ("air that comes in unmeasured, with a wrong share besides", "fading, but not to nothing"),
    PURGED: ("air that comes with the purge", "only while the purge valve is open"),
    COLD: ("too little fuel while the engine is cold", "gone when it is warm"),
}


def duration_text(seconds: float) -> str:
    """`48 s`, `13 min`, `1 h 05 min`."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    whole = round(seconds / 60)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def with_error(estimate: Estimate, unit: str) -> str:
    """`0.048 +- 0.008 g/s`, as everywhere."""
    return f"{finding.plus_minus(estimate)} {unit}".strip()


def bank_says(bank: BankFacts) -> list[str]:
    """One bank's states, sizes and shape."""
    name = f"Bank {bank.number}"
    fits = bank.fits
    if fits is None:
        return [f"{name}: {bank.why}."]
    said = _when(name, bank, fits)
    said += _stop(name, bank)
    if bank.creeping and not bank.switching:
        said.append(f"{name}: what changed came and went over minutes, not at once: {_spans(bank.creeping)}.")
    return said + _shape(name, bank, fits)


def _when(name: str, bank: BankFacts, fits: Fits) -> list[str]:
    """When it shows, and what the trims read then and otherwise."""
    shows, rests = fits.showing, fits.quiet
    if bank.switching and shows is not None and rests is not None:
        total = sum(s.end - s.start for s in bank.spells)
        count = f"{len(bank.spells)} times, {duration_text(total)} in all" if len(bank.spells) > 1 else "once"
        said = f"{name} runs {bank.kind} now and then: {count} ({_spans(bank.spells)})."
        read = [
            f"{where} {with_error(on, '%')} then, {with_error(off, '%')} otherwise"
            for where, on, off in (
                ("at idle", shows.at_idle, rests.at_idle),
                ("at high airflow", shows.high, rests.high),
            )
            if on is not None and off is not None
        ]
        return [f"{said} Its trim: {'; '.join(read)}." if read else said, *_only(name, bank)]
    line = shows or rests
    if line is None:
        return [f"{name}: {bank.why}."]
    read = [
        f"{with_error(e, '%')} {where}" for where, e in (("at idle", line.at_idle), ("at high airflow", line.high)) if e
    ]
    return [f"{name}: {bank.why}; trim {', '.join(read)}." if read else f"{name}: {bank.why}."]


def _only(name: str, bank: BankFacts) -> list[str]:
    """The one condition in which it showed, where it was looked for in others too."""
    shown = [o for o in bank.occurrences if o.shown]
    others = sum(o.stretches for o in bank.occurrences if not o.shown)
    if len(shown) != 1 or others < ELSEWHERE:
        return []
    one = shown[0]
    return [
        f"{name}: seen in one condition only, {one.phase} ({one.shown} of {one.stretches}; elsewhere 0 of {others})."
    ]


def _spans(spells: Sequence[BankSpell]) -> str:
    shown = [f"{clock(s.start)} to {clock(s.end)}" for s in spells[:4]]
    return ", ".join(shown) + (f" and {len(spells) - 4} more" if len(spells) > 4 else "")


def clock(seconds: float) -> str:
    """`12:05` of the log, `1:05:01`."""
    whole = max(0, round(seconds))
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


def _stop(name: str, bank: BankFacts) -> list[str]:
    if bank.at_stop < AT_STOP:
        return []
    return [
        f"{name}: for {bank.at_stop:.0f} s the short-term trim stood at its stop: the mixture may have been "
        "further off than it can show."
    ]


def family_words(shape: SizedFamily) -> tuple[str, str]:
    """What a family looks like, and how it goes; a lean one in its own words."""
    if shape.under_boost:
        return UNDER_BOOST
    lean = shape.at_most.value > 0
    return LEANER.get(shape.name, FAMILIES[shape.name]) if lean else FAMILIES[shape.name]


def amount(shape: SizedFamily) -> str:
    """`0.048 +- 0.008 g/s (4.0 +- 0.6 mL/min)`, `x 1.17 +- 0.03`; "" where it cannot be said."""
    if shape.size is None:
        return f"{with_error(shape.at_most, '%')} of trim where it is most" if shape.name != NONE else ""
    if shape.name == SHARE:
        over = Estimate(100 * (shape.size.value - 1), 100 * shape.size.error)
        return f"{with_error(over, '%')} too {'much' if over.value > 0 else 'little'} fuel for the air measured"
    if shape.name == SENSED:
        return f"by {with_error(Estimate(abs(shape.size.value), shape.size.error), 'of lambda')}"
    if shape.unit == "g/s" and shape.size.value > 0:
        per_minute = Estimate(*(millilitres_a_minute(v, PETROL.density) for v in (shape.size.value, shape.size.error)))
        return f"{with_error(shape.size, 'g/s')} of fuel ({with_error(per_minute, 'mL/min')})"
    if shape.unit == "g/s":
        air = Estimate(-shape.size.value * PETROL.air_ratio, shape.size.error * PETROL.air_ratio)
        return f"{with_error(air, 'g/s')} of air"
    return f"{with_error(shape.size, shape.unit)}{' of trim' if shape.unit == '%' else ''}"


def _shape(name: str, bank: BankFacts, fits: Fits) -> list[str]:
    """Which family, how much, how sure; what else it could be."""
    if not fits.shapes:
        seen = bank.switching or (fits.level is not None and abs(fits.level.value) > 8)
        return [f"{name}: without airflow it cannot be told what kind of error it is."] if seen else []
    best = fits.best
    if best is None:
        narrow = fits.showing is not None and fits.showing.high is None and bank.switching
        return [f"{name}: what kind of error it is cannot be told: airflow hardly changed while it showed."] * narrow
    what, how = family_words(best)
    size = amount(best)
    sure = f"{100 * min(best.weight, 0.99):.0f} %"
    said = f"{name}: {what} ({how}){f': {size}' if size else ''}."
    other = next((s for s in fits.shapes[1:] if s.weight > 1 - FIRM_WEIGHT), None)
    if best.weight >= FIRM_WEIGHT and other is None:
        return [f"{said} How sure of this kind: {sure}."]
    rest = FAMILIES[other.name][0] if other is not None else "something else"
    return [f"{said} Not firm: {sure}; it may be {rest}."]


LEAN_BEHIND, RICH_BEHIND = 0.2, 0.8  # V; common practice
RIGHT_BEHIND = 0.4  # V, from which a catalyst is not short of fuel; common practice, no source


def _behind_says(behind: Sequence[Behind], doubted: Mapping[int, float]) -> Iterator[str]:
    for b in behind:
        volts = b.showing or b.otherwise
        if volts is None:
            continue
        other = f", {with_error(b.otherwise, 'V')} otherwise" if b.showing and b.otherwise else ""
        then = "while it shows" if b.showing else "in closed loop"
        read = f"Bank {b.bank}, sensor behind the catalyst: {with_error(volts, 'V')} {then}{other}"
        doubt = doubted.get(b.bank, 0.0)
        if doubt > 0.5:
            yield f"{read}: it moved with the trims, away from right, so the upstream sensor is doubted."
        elif volts.value < LEAN_BEHIND:
            yield f"{read}: lean behind. If fuel is taken away meanwhile, the upstream sensor reads rich falsely."
        elif volts.value > RICH_BEHIND:
            yield f"{read}: rich behind. If fuel is added meanwhile, the upstream sensor reads lean falsely."
        elif b.showing and doubt < 1 - FIRM_WEIGHT and volts.value >= RIGHT_BEHIND:
            yield f"{read}: what the trims put right is right behind too, so the upstream sensor is believed."
        elif b.showing:
            yield f"{read}."


def missing_says(missing: Sequence[str], air: Air | None) -> list[str]:
    """What was not recorded, and what it would have told."""
    said = []
    if AIRFLOW in missing:
        if air is None:
            said.append(
                "airflow, or manifold pressure or load with engine speed: no kind of error can be told from another"
            )
        elif air.absolute:
            said.append(f"airflow: worked out {air.how}, so that amounts are known less well")
        else:
            said.append(f"airflow: worked out {air.how}; kinds of error can be told, amounts in g/s not")
    said += [f"{name}: {why}" for name, why in MISSED.items() if name in missing]
    return said


MISSED = {
    LONG: "what was learned before is in no figure, so that rich and lean may be shifted",
    LOOP: "closed loop had to be guessed from the trims",
    PURGE: "what it did to the trims cannot be told from anything else",
    COOLANT: "a cold engine cannot be told from a fault",
    BEHIND: "a rich engine cannot be told from an upstream sensor that reads rich",
    SPEED: "runs of the engine and idling are not known",
    ROAD: "idle and cruise are told less well",
    INTAKE: "cold starts are told less well",
    LOAD: "full load is told less well",
}


def other_says(
    other: Others, regulated: float | None, doubted: Mapping[int, float] | None = None, told: bool = False
) -> list[str]:
    """The rest, where there is something to say. regulated: degC the coolant settles at, None = not known. doubted: by
    bank, how likely its upstream sensor reads wrong. told: when it shows was told."""
    return [
        *_behind_says(other.behind, doubted or {}),
        *_purge_says(other.purge),
        *_coolant_says(other.warming, regulated),
        *_lambda_says(other.lambdas),
        *(_rail_says(other.rail) if other.rail is not None else ()),
        *_filling_says(other.filling),
        *_misfires_say(other.misfires, told),
        *_opposite_says(other.opposite),
    ]


def _purge_says(links: Sequence[PurgeLink]) -> Iterator[str]:
    for p in links:
        if abs(p.difference.value) > max(2 * p.difference.error, 3):
            moved = with_error(p.difference, "%")
            yield f"Bank {p.bank}: with the purge valve open the trim moves by {moved} ({p.moves} moves looked at)."


def _coolant_says(warming: Sequence[Warming], regulated: float | None) -> Iterator[str]:
    for w in warming:
        if w.minutes is not None and w.start is not None:
            yield f"Run {w.run}: from {w.start:.0f} °C to 70 °C in {w.minutes:.0f} min."
    for w in warming:
        if w.soak_gap is not None and abs(w.soak_gap) > 5:
            gap = f"{w.soak_gap:+.0f} K"
            yield f"Run {w.run}, cold: the coolant reads {gap} against the intake air; after a night they agree."
    if regulated is not None and regulated < 75:
        yield f"The coolant settles at {regulated:.0f} °C only."


def _lambda_says(gaps: Sequence[LambdaGap]) -> Iterator[str]:
    for g in gaps:
        if abs(g.difference.value) > max(0.02, 2 * g.difference.error):
            away = with_error(g.difference, "")
            yield f"Bank {g.bank}: measured lambda is {away} away from what is commanded, in closed loop."


def _rail_says(rail: RailGap) -> Iterator[str]:
    sides = [e for e in (rail.mean, rail.showing) if e is not None]
    away = max((max(abs(e.value), e.error) for e in sides), default=0.0)
    if rail.mean is not None and rail.furthest is not None and away > RAIL_AWAY and abs(rail.furthest) > 2 * RAIL_AWAY:
        off, otherwise = with_error(rail.showing or rail.mean, "%"), with_error(rail.mean, "%")
        when = f" while it shows, {otherwise} otherwise" if rail.showing is not None else ""
        yield f"Rail pressure is {off} off what is commanded{when}, {rail.furthest:+.0f} % at the worst."
    for fall in rail.falls:
        if fall.halved:
            yield (
                f"Rail pressure halved within {_span(fall.minutes)} of the stop of run {fall.run} "
                f"({fall.before:.2g} to {fall.after:.2g} MPa): it leaks somewhere, not yet said where."
            )
        else:
            yield (
                f"{_span(fall.minutes).capitalize()} after the stop of run {fall.run} the rail still had "
                f"{fall.after:.2g} of {fall.before:.2g} MPa."
            )


def _filling_says(fillings: Sequence[Filling]) -> Iterator[str]:
    for f in fillings:
        if f.efficiency is not None and f.efficiency.value - 2 * f.efficiency.error > 1:
            yield (
                f"Measured air is {with_error(f.efficiency, '')} of what the cylinders hold ({f.phase}): more than "
                "they can take at this manifold pressure."
            )


def _misfires_say(misfires: Sequence[Misfires], told: bool) -> Iterator[str]:
    """Cylinders that stand out, one by one; the rest in one line."""
    total, rest = sum(m.count for m in misfires), 0.0
    for m in misfires:
        others = (total - m.count) / max(1, len(misfires) - 1)
        if m.count > STANDS_OUT * max(1.0, others):
            then = f", {m.showing:.0f} of them while it showed" if told else ""
            yield f"Cylinder {m.cylinder}: {m.count:.0f} misfires{then}."
        else:
            rest += m.count
    if rest:
        where = "the other cylinders, none of which stands" if rest < total else "the cylinders, none of which stands"
        yield f"Misfires: {rest:.0f} over {where} out."


def _opposite_says(opposite: Opposite | None) -> Iterator[str]:
    if opposite is not None and opposite.trims is not None and opposite.share >= CROSSWISE:
        a, b = opposite.banks
        yield (
            f"Banks {a} and {b} go opposite ways for {100 * opposite.share:.0f} % of the time "
            f"({opposite.trims[0]:+.0f} and {opposite.trims[1]:+.0f} %): as upstream sensors do that are connected "
            "crosswise."
        )


def _span(minutes: float) -> str:
    return f"{60 * minutes:.0f} s" if minutes < 2 else f"{minutes:.0f} min"
