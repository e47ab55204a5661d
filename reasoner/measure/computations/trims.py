"""Trims over airflow, bank by bank: which shape of error, how big, how sure. The algebra is in `measure/trims.py`."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial

from reasoner.measure.asks import Ask, Inputs, Setting
from reasoner.measure.computations.base import (
    DISPLACEMENT,
    ETHANOL_SHARE,
    Computation,
    Result,
    fuel_of,
    numbered_places,
)
from reasoner.measure.finding import Figure, Finding, Kinds, plus_minus
from reasoner.measure.frozen import NORMAL_TRIM
from reasoner.measure.fuel import Fuel, grams_a_second
from reasoner.measure.trims import SPREAD, TrimFit, TrimReading, both, fit_trims, fuel_needed, shapes
from reasoner.measure.uncertain import Estimate
from reasoner.mistake import Mistake
from reasoner.rulebook.model import At

REGIONS = {"idle": "idle", "raised": "2500 rpm without load", "cruise": "a steady cruise", "load": "load"}
USUAL_FILLING = 80.0  # %, where airflow is worked out from pressure and it is not said; Heywood 1988 ch. 6, from memory
EXCHANGED = 9.0  # by how much chi squared has to improve before banks are said to be exchanged: three standard errors
TRIM_READINGS = ("short-term trim, bank {}", "long-term trim, bank {}")
AIR_READINGS = ("airflow", "engine speed", "manifold pressure, absolute", "intake air temperature")

SHAPE_WORDS = {
    "by time": "It fades as the airflow grows: extra fuel at a steady rate, however much air the engine takes.",
    "by injection": "It goes with the number of injections: each one brings too much, the same each time.",
    "by share": "It is the same share everywhere: air is counted wrong, or the pressure or the injectors are off.",
    "with load": "It grows with the load: what is counted or added goes wrong only there.",
}


def _has_point(name: str, given: Inputs) -> bool:
    return name in given.points


def _no_meter(given: Inputs) -> bool:
    return any(point.flow is None for point in given.points.values())


ASKS = (
    *(
        ask
        for region, title in REGIONS.items()
        for ask in (
            Ask(f"{region} air", f"Airflow and engine speed at {title}", point=True, live=AIR_READINGS),
            Ask(
                f"{region} trim",
                f"Total trim at {title}",
                "%",
                -100,
                100,
                at=At.BANK,
                pairs=True,
                live=TRIM_READINGS,
                wanted=partial(_has_point, f"{region} air"),
            ),
        )
    ),
    replace(DISPLACEMENT, wanted=_no_meter),
    Ask("filling", "Volumetric efficiency, where there is no air meter (else 80 %)", "%", 20, 130, wanted=_no_meter),
    ETHANOL_SHARE,
)


@dataclass(frozen=True)
class _At:
    """One region: total airflow in g/s, what share of it may be off, mg needed for each injection, trims by bank."""

    region: str
    flow: float
    off: float
    injected: float | None
    trims: Mapping[int, float]


def work_out_shapes(given: Inputs, setting: Setting) -> Result:
    """The shape of error of every bank, and how big it is."""
    fuel = fuel_of(given)
    found = _regions(given, setting, fuel)
    if isinstance(found, Mistake):
        return found
    banks = [b for b in setting.places(At.BANK) if sum(b in at.trims for at in found) >= 2]
    if not banks:
        return Mistake("", "one point does not show how the trim changes", "airflow and trim at two points or more")
    worked = {bank: _Bank.of(bank, found, setting, fuel) for bank in banks}
    off = max(at.off for at in found)
    sure = [
        f"Each trim is taken to be good to {SPREAD:g} % (judgement), airflow to {100 * off:.0f} % of itself.",
        *(line for bank in worked.values() for line in bank.sure(len(banks) > 1)),
    ]
    if any(at.injected is None for at in found):
        sure.append("Without engine speeds, fuel too much each time and a wrong scale cannot be told apart.")
    return Finding(
        {bank: one.figures() for bank, one in worked.items()},
        (
            f"trim = (1 - leak x {fuel.air_ratio:.2f} / airflow - excess / fuel of one injection) / scale - 1",
            "Fitted to the points by least squares; then each way of being rich by itself, and how well it fits.",
            "widest: the trim that is furthest from zero; reached: the most airflow over the least",
        ),
        tuple(line for one in worked.values() for line in one.means(len(banks) > 1)) + _compared(worked),
        tuple(sure),
        _grows(found) + _exchanged(found, setting, fuel) + _crossed(worked),
    )


def _regions(given: Inputs, setting: Setting, fuel: Fuel) -> list[_At] | Mistake:
    found = []
    for region in REGIONS:
        trims, point = given.by_place(f"{region} trim"), given.points.get(f"{region} air")
        if not trims:
            continue
        if point is None:
            return Mistake(
                f"{region} air", "the airflow that goes with this trim is missing", "such as 3.1 g/s 750 rpm"
            )
        air = point.air(given.get("litres"), given.one("filling", USUAL_FILLING) / 100)
        if isinstance(air, str):
            return Mistake(f"{region} air", f"this lacks {air}", "such as 3.1 g/s 750 rpm")
        flow, off = air
        mass = None if point.rpm is None else fuel_needed(flow, point.rpm, setting.cylinders, fuel.air_ratio)
        found.append(_At(region, flow, off, mass, trims))
    if found and any(at.injected is None for at in found):  # the same for all, or the shapes cannot be compared
        found = [_At(at.region, at.flow, at.off, None, at.trims) for at in found]
    return found


@dataclass(frozen=True)
class _Bank:
    number: int
    widest: float
    reached: float  # the most airflow over the least: how far the trims were read
    fitted: TrimFit | None
    off: float
    chances: Mapping[str, float]
    best: tuple[float, int]  # misfit of the best shape, and the points left over
    kept: tuple[str, ...]
    density: float

    @classmethod
    def of(cls, bank: int, found: list[_At], setting: Setting, fuel: Fuel) -> _Bank:
        here = [at for at in found if bank in at.trims]
        readings = _readings(here, bank, setting)
        misfits = misfits_of(readings, SPREAD, fuel.air_ratio)
        least = min(misfits.values())
        left = len(readings) - 1
        widen = max(1.0, least / left)  # where nothing fits, the readings are worse than was thought (Birge's ratio)
        fits = {name: math.exp(-(misfit - least) / widen / 2) for name, misfit in misfits.items()}
        if readings[0].injected is None:
            fits["by injection"] = fits["by share"]
        fitted = fit_trims(readings, SPREAD, fuel.air_ratio, fuel.density)
        trims = [reading.trim for reading in readings]
        return cls(
            bank,
            max(trims, key=abs),
            max(at.flow for at in here) / min(at.flow for at in here),
            fitted if isinstance(fitted, TrimFit) else None,
            max(at.off for at in here),
            {name: fits[name] / sum(fits.values()) for name in SHAPE_WORDS},
            (least, left),
            _kept(here, bank),
            fuel.density,
        )

    def figures(self) -> tuple[Figure | Kinds, ...]:
        found: list[Figure | Kinds] = [Figure("widest", "%", Estimate(self.widest, SPREAD)), self.shape]
        found.append(Figure("reached", "", Estimate(self.reached)))
        if self.fitted:
            found += [
                Figure("leak", "mL/min", self.leak),
                Figure("scale", "%", Estimate(100 * (self.fitted.share.value - 1), 100 * self.fitted.share.error)),
            ]
            if self.fitted.by_injection:
                found.append(Figure("each time", "mg", self.fitted.by_injection))
        return tuple(found)

    @property
    def shape(self) -> Kinds:
        return Kinds("shape", self.chances)

    @property
    def leak(self) -> Estimate:
        """mL/min, with what the airflow may be off."""
        assert self.fitted is not None
        leak = self.fitted.leak
        return Estimate(leak.value, math.hypot(leak.error, leak.value * self.off))

    def means(self, named: bool) -> list[str]:
        who = f"Bank {self.number}: " if named else ""
        if abs(self.widest) <= NORMAL_TRIM:
            return [f"{who}Within {NORMAL_TRIM:g} % everywhere: the mixture is right as it runs now."]
        if self.widest > 0:
            return [f"{who}Fuel is added, not taken away: it was lean, or the sensor says so. This is about rich ones."]
        kind = self.shape.likeliest
        lines = [f"{who}{SHAPE_WORDS[kind]}"]
        if self.chances[kind] < 0.7:
            lines = [f"{who}No one shape stands out ({self.shape})."]
        if self.fitted:
            grams = grams_a_second(self.leak.value, self.density)
            clear = abs(self.leak.value) >= 2 * self.leak.error
            size = f"excess fuel {plus_minus(self.leak)} mL/min ({grams:.3f} g/s)"
            lines.append(f"{who}{size[0].upper()}{size[1:]}{'' if clear else ': not to be told from none'}.")
        return [*lines, *(f"{who}{line}" for line in self.kept)]

    def sure(self, named: bool) -> list[str]:
        if self.widest >= -NORMAL_TRIM:
            return []  # what is not rich has no way of being rich
        who = f"Bank {self.number}: shape" if named else "Shape"
        least, left = self.best
        lines = [f"{who} {self.shape}."]
        if left and least / left > 4:  # two standard errors a point
            lines.append(
                f"{who}: none fits well ({math.sqrt(least / left):.1f} times the spread): steady readings again."
            )
        return lines


def misfits_of(readings: list[TrimReading], spread: float, ratio: float) -> dict[str, float]:
    """Sum of squared residuals over the spread's square of each shape alone. `with load` goes with airflow squared."""
    found = {shape.name: shape.misfit for shape in shapes(readings, spread, ratio)}
    most = max(reading.airflow for reading in readings)
    x = [-((reading.airflow / most) ** 2) for reading in readings]
    y = [reading.trim / spread for reading in readings]
    size = max(0.0, sum(a * b for a, b in zip(x, y, strict=True)) / sum(a * a for a in x))
    found["with load"] = sum((b - size * a) ** 2 for a, b in zip(x, y, strict=True))
    return found


def _readings(here: list[_At], bank: int, setting: Setting) -> list[TrimReading]:
    share = setting.share(bank)
    return [TrimReading(at.flow * share, at.trims[bank], at.injected) for at in here]


def _kept(here: list[_At], bank: int) -> tuple[str, ...]:
    """The separators in words: what is left of the idle's trim at 2500 rpm without load, and under load."""
    trims = {at.region: at.trims[bank] for at in here}
    flows = {at.region: at.flow for at in here}
    start = trims.get("idle", 0.0)
    if start > -NORMAL_TRIM:
        return ()
    lines = []
    for region in ("raised", "load"):
        if region in trims:
            left, fades = trims[region] / start, flows["idle"] / flows[region]
            says = f"At {REGIONS[region]} {100 * max(0.0, left):.0f} % of the idle's trim is left"
            lines.append(f"{says}; a steady flow of extra fuel would leave {100 * fades:.0f} %.")
    return tuple(lines)


def _compared(worked: Mapping[int, _Bank]) -> tuple[str, ...]:
    if len(worked) < 2:
        return ()
    rich = [bank for bank, one in worked.items() if one.widest < -NORMAL_TRIM]
    if len(rich) > 1:
        return ("Both banks are rich: look first at what they share.",)
    if rich and not _crossed(worked):
        return (f"Only {numbered_places(rich, 'bank')} is rich: look at what it has for itself.",)
    return ()


def _grows(found: list[_At]) -> tuple[str, ...]:
    """An idle that takes as much air as a region beyond it."""
    idle = next((at.flow for at in found if at.region == "idle"), None)
    more = [at for at in found if at.region != "idle" and idle is not None and at.flow <= 1.1 * idle]
    return tuple(
        f"Airflow at {REGIONS[at.region]} ({at.flow:.3g} g/s) is no more than at idle ({idle:.3g} g/s): read it again, "
        "or were the two swapped?"
        for at in more
    )


def _crossed(worked: Mapping[int, _Bank]) -> tuple[str, ...]:
    widest = [one.widest for one in worked.values()]
    if len(widest) < 2 or not (min(widest) < -NORMAL_TRIM and max(widest) > NORMAL_TRIM):
        return ()
    return (
        "One bank is rich and the other lean: each sensor may steer the wrong bank. See whether their "
        "connectors are swapped, and whether the banks were written down the right way round.",
    )


def _exchanged(found: list[_At], setting: Setting, fuel: Fuel) -> tuple[str, ...]:
    """A region at which the two banks' trims fit much better the other way round."""
    whole = [at for at in found if {1, 2} <= set(at.trims)]
    if len(setting.banks) != 2 or len(whole) < 3:
        return ()

    def misfit(regions: list[_At]) -> float:
        return sum(
            min(misfits_of(_readings(regions, bank, setting), SPREAD, fuel.air_ratio).values()) for bank in (1, 2)
        )

    as_typed = misfit(whole)
    tried = []
    for at in whole:
        turned = _At(at.region, at.flow, at.off, at.injected, {1: at.trims[2], 2: at.trims[1]})
        tried.append((misfit([turned if other is at else other for other in whole]), at))
    best, at = min(tried, key=lambda pair: pair[0])
    if as_typed - best < EXCHANGED:
        return ()
    mend = f"1={at.trims[2]:g} 2={at.trims[1]:g}"
    return (f"{at.region} trim: the banks look swapped there; if they are, write {mend}.",)


TRIMS_BY_AIRFLOW = Computation(
    "trims by airflow",
    At.BANK,
    "How a trim changes with airflow: extra fuel at a steady rate, extra fuel with each injection, or a wrong scale.",
    ASKS,
    work_out_shapes,
)


def _sum(given: Inputs, setting: Setting) -> Result:
    short, long = given.by_place("short"), given.by_place("long")
    banks = [bank for bank in setting.places(At.BANK) if bank in short and bank in long]
    if not banks:
        return Mistake("", "short-term and long-term trim of the same bank are wanted", "0 where one stands at zero")
    sums = {bank: both(short[bank], long[bank]) for bank in banks}
    products = ", ".join(f"{product:.3g} %" for _, product in sums.values())
    rich = [bank for bank, (total, _) in sums.items() if total < -NORMAL_TRIM]
    lean = [bank for bank, (total, _) in sums.items() if total > NORMAL_TRIM]
    means = [f"{numbered_places(rich, 'bank').capitalize()}: fuel is being taken away."] if rich else []
    means += [f"{numbered_places(lean, 'bank').capitalize()}: fuel is being added."] if lean else []
    return Finding(
        {bank: (Figure("total fuel trim", "%", Estimate(total)),) for bank, (total, _) in sums.items()},
        ("short-term + long-term trim",),
        tuple(means) or (f"Within {NORMAL_TRIM:g} %.",),
        (f"The standard gives no rule how they go together; as a product it would be {products}.",),
    )


TRIM_SUM = Computation(
    "trim sum",
    At.BANK,
    "Short-term and long-term trim together.",
    tuple(
        Ask(
            term,
            f"{term.capitalize()}-term trim",
            "%",
            -100,
            100,
            At.BANK,
            True,
            live=(f"{term}-term trim, bank {{}}",),
        )
        for term in ("short", "long")
    ),
    _sum,
)
