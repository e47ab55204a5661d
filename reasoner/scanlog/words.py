"""What a log says, in sentences. Numbers come from the document; no part of a car is named that was not measured."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from reasoner.measure.finding import nineteen_of_twenty
from reasoner.measure.uncertain import Estimate
from reasoner.scanlog.amounts import MIXED, Fits, Line, Shape
from reasoner.scanlog.document import BankFacts
from reasoner.scanlog.findings import (
    CROSSWISE,
    Filling,
    LambdaGap,
    Misfires,
    Opposite,
    Others,
    PurgeLink,
    RailGap,
    Warming,
)

TOGETHER = (
    "Short-term and long-term trim are multiplied, (1 + short)(1 + long) - 1, where states and fits are concerned, as "
    "controllers apply them; readings proposed as answers are their sum, as when typed in. SAE J1979 gives no rule."
)
AT_STOP = 10.0  # s at a stop that are worth a line; presentation
FIRM = 0.8  # weight of a shape that is spoken of without the others; presentation
SHAPES = {
    "by time": ("fuel that comes by the second", "whatever the engine takes, so that it fades as airflow rises"),
    "by share": ("a wrong scale", "the same share too much at every airflow"),
    "by injection": ("too much with each injection", "so that it fades as each stroke takes more air"),
    MIXED: ("fuel that comes by the second with a wrong scale besides", "so that it fades, but not to nothing"),
}


def minutes(seconds: float) -> str:
    """`48 s`, `13 min`, `1 h 05 min`."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    whole = round(seconds / 60)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"


def plus_minus(estimate: Estimate, unit: str) -> str:
    """`0.048 +- 0.008 g/s`: the value and two standard errors, as everything that is said of a log."""
    return f"{nineteen_of_twenty(estimate)} {unit}".strip()


def bank_says(bank: BankFacts) -> list[str]:
    """One bank's states, sizes and shape."""
    name = f"Bank {bank.number}"
    if bank.fits is None:
        return [f"{name}: {bank.why}."]
    if not bank.switching:
        return _steady(name, bank)
    total = sum(s.end - s.start for s in bank.spells)
    count = f"{len(bank.spells)} spells" if len(bank.spells) > 1 else "one spell"
    said = [f"{name} goes to and fro: {bank.kind} in {count}, {minutes(total)} together."]
    fits = bank.fits
    if fits.extra is not None and fits.extra_leak is not None and bank.kind == "rich":
        said.append(
            f"{name} while it shows: {plus_minus(fits.extra, 'g/s')} ({plus_minus(fits.extra_leak, 'mL/min')}) more "
            "fuel by the second than while quiet."
        )
    if fits.showing is not None and fits.quiet is not None:
        said.append(
            f"{name}, trim at idle airflow: {_level(fits.showing)} showing, {_level(fits.quiet)} quiet; scale "
            f"{plus_minus(fits.showing.share, '')} and {plus_minus(fits.quiet.share, '')} of what it should be."
        )
    return said + _stop(name, bank) + (_shape(name, fits.shapes) if bank.kind == "rich" else [])


def _steady(name: str, bank: BankFacts) -> list[str]:
    fits = bank.fits
    assert fits is not None
    line = fits.showing or fits.quiet
    if line is None:
        return [f"{name}: {bank.why}."]
    said = [f"{name}: {bank.why}; trim at idle airflow {_level(line)}."]
    if line.told_apart and line.by_time is not None and line.leak is not None:
        said.append(
            f"{name}: fuel by the second {plus_minus(line.by_time, 'g/s')} ({plus_minus(line.leak, 'mL/min')}), scale "
            f"{plus_minus(line.share, '')} of what it should be."
        )
    elif line.by_time is not None:
        said.append(f"{name}: seen at one airflow only, so fuel by the second and a wrong scale cannot be told apart.")
    said += _stop(name, bank) + _slow(name, fits)
    if bank.creeping:
        said.append(
            f"{name}: what changed came and went over minutes, not at once, as warm oil, a warm-up or a canister would."
        )
    return said + _shape(name, fits.shapes)


def _stop(name: str, bank: BankFacts) -> list[str]:
    if bank.at_stop < AT_STOP:
        return []
    return [
        f"{name}: for {bank.at_stop:.0f} s the short-term trim stood at its stop: the mixture may have been "
        "further off than it can show."
    ]


def _slow(name: str, fits: Fits) -> list[str]:
    if fits.slow is None:
        return []
    return [
        f"{name}: fuel that comes as the engine warms up and fades over the drive, {plus_minus(fits.slow, 'g/s')} at "
        "its most: as fuel does that evaporates out of the oil."
    ]


def _level(line: Line) -> str:
    return plus_minus(line.at_idle, "%")


def _shape(name: str, shapes: Sequence[Shape]) -> list[str]:
    if not shapes:
        return []
    best = shapes[0]
    what, how = SHAPES[best.name]
    chance = f"{100 * min(best.weight, 0.99):.0f} %"
    if best.weight >= FIRM:
        return [f"{name}, shape of the error: {what}, {how} ({chance} against the other shapes)."]
    other = SHAPES[shapes[1].name][0]
    return [f"{name}, shape of the error: {what} ({chance}), or {other}; more spread of airflow would tell."]


def other_says(other: Others, purge_known: bool, regulated: float | None) -> list[str]:
    """The rest, where there is something to say. regulated: degC the coolant settles at, None = not known."""
    return [
        *_purge_says(other.purge, purge_known),
        *_coolant_says(other.warming, regulated),
        *_lambda_says(other.lambdas),
        *(_rail_says(other.rail) if other.rail is not None else ()),
        *_filling_says(other.filling),
        *_misfires_say(other.misfires),
        *_opposite_says(other.opposite),
    ]


def _purge_says(links: Sequence[PurgeLink], known: bool) -> Iterator[str]:
    for p in links:
        clear = abs(p.difference.value) > 2 * p.difference.error and abs(p.difference.value) > 3
        moved = f"moves by {plus_minus(p.difference, '%')}" if clear else "stays as it is"
        yield f"Bank {p.bank}: with the purge valve open the trim {moved} ({p.moves} moves looked at)."
    if not known:
        yield "Purge was not recorded: what it did to the trims cannot be told from anything else."


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
            away = plus_minus(g.difference, "")
            yield f"Bank {g.bank}: measured lambda is {away} away from what is commanded, in closed loop."


def _rail_says(rail: RailGap) -> Iterator[str]:
    if rail.mean is not None and rail.furthest is not None and abs(rail.furthest) > 10:
        off = plus_minus(rail.mean, "%")
        yield f"Rail pressure is {off} off what is commanded, {rail.furthest:+.0f} % at the worst."
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
                f"Measured air is {plus_minus(f.efficiency, '')} of what the cylinders hold ({f.phase}): more than "
                "they can take at this manifold pressure."
            )


def _misfires_say(misfires: Sequence[Misfires]) -> Iterator[str]:
    for m in misfires:
        if m.count:
            yield f"Cylinder {m.cylinder}: {m.count:.0f} misfires, {m.showing:.0f} of them while it showed."


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
