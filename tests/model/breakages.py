"""In what ways the cars are broken: how far, how it comes and goes, how common, and what the rules call it.

Shares (how many of a hundred rich complaints at such engines) are judgement, made without those of the rules. `called`:
names of the rules for it, the nearest first; where the rules have none of them, it is something that they do not name.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from random import Random

from tests.model.car import PROFILES, Acts, Broken, Car, Profile, own_car

Drawn = tuple[dict[str, float], Acts]
Fits = Callable[[Profile], bool]


@dataclass(frozen=True)
class Breakage:
    """at: engine, bank or cylinder. pairs: how often a second cylinder has it too. work: what was done before it came
    (seven times in ten), empty where nothing was."""

    name: str
    called: tuple[str, ...]
    at: str
    share: float
    fits: Fits
    draw: Callable[[Random], Drawn]
    pairs: float = 0.0
    work: str = ""


def _any(p: Profile) -> bool:
    return True


def _direct(p: Profile) -> bool:
    return p.direct


def _port(p: Profile) -> bool:
    return not p.direct


def _metered(p: Profile) -> bool:
    return p.meters_air


def _by_pressure(p: Profile) -> bool:
    return not p.meters_air


def _comes(dice: Random, low: float, high: float, **odds: float) -> Acts:
    jumps = bool(odds.pop("jumps", 0))
    return Acts(base=dice.uniform(low, high), jumps=jumps, **odds)


def _list() -> tuple[Breakage, ...]:
    found: list[Breakage] = []

    def add(
        name: str,
        called: str,
        at: str,
        share: float,
        fits: Fits,
        draw: Callable[[Random], Drawn],
        pairs: float = 0.0,
        work: str = "",
    ) -> None:
        found.append(Breakage(name, tuple(called.split()), at, share, fits, draw, pairs, work))

    # -- air and its sensors
    add(
        "meter-disturbed",
        "airflow-meter-high",
        "engine",
        4,
        _metered,
        lambda d: ({"meter_gain": d.uniform(0.22, 0.4)}, Acts()),
        work="air",
    )
    add(
        "meter-dirty",
        "airflow-meter-fouled airflow-meter-high",
        "engine",
        7,
        _metered,
        lambda d: ({"meter_fouled": d.uniform(0.2, 0.4)}, Acts()),
    )
    add(
        "meter-plug-loose",
        "airflow-meter-intermittent",
        "engine",
        3,
        _metered,
        lambda d: (
            {"meter_gain": d.uniform(0.25, 0.6)},
            _comes(d, 0.15, 0.4, hot=2, shaken=2, damp=2, jumps=1),
        ),
    )
    add(
        "manifold-sensor-drifted",
        "manifold-pressure-high",
        "engine",
        6,
        _by_pressure,
        lambda d: ({"manifold_kpa": d.uniform(5, 11)}, _comes(d, 0.5, 0.9, hot=2)),
    )
    add(
        "phaser-sticks",
        "valve-timing",
        "bank",
        2,
        lambda p: not p.meters_air or len(p.banks) == 2,
        lambda d: ({"cam_off": d.uniform(0.22, 0.38)}, _comes(d, 0.3, 0.7, hot=2, cold=0.6)),
    )
    add(
        "air-sensor-plug-green",
        "intake-temperature-low",
        "engine",
        2,
        _by_pressure,
        lambda d: ({"intake_ohms": d.uniform(15000, 80000)}, _comes(d, 0.4, 0.9, damp=2)),
    )
    add(
        "coolant-sensor-plug-green",
        "coolant-temperature-low",
        "engine",
        5,
        _any,
        lambda d: ({"coolant_ohms": d.uniform(2500, 20000)}, _comes(d, 0.4, 0.9, hot=1.5, damp=1.5, shaken=1.5)),
    )
    add(
        "coolant-sensor-plug-loose",
        "coolant-sensor-intermittent coolant-temperature-low",
        "engine",
        2,
        _any,
        lambda d: ({"coolant_ohms": d.uniform(100000, 400000)}, _comes(d, 0.1, 0.3, damp=1.5, shaken=3, jumps=1)),
        work="cooling",
    )
    add(
        "boost-hose-leaks",
        "charge-air-leak",
        "engine",
        5,
        lambda p: p.charged and p.meters_air,
        lambda d: ({"boost_leak": d.uniform(80, 200)}, Acts()),
    )
    add(
        "throttle-track-worn",
        "throttle-flutter",
        "engine",
        1,
        _any,
        lambda d: ({"throttle_jumps": d.uniform(0.22, 0.4)}, _comes(d, 0.15, 0.45, shaken=2, jumps=1)),
    )
    add(
        "egr-sticks-open",
        "recirculation-open",
        "engine",
        5,
        lambda p: p.recirculates and not p.meters_air,
        lambda d: ({"egr_share": d.uniform(0.14, 0.3)}, _comes(d, 0.3, 0.75, hot=1.5)),
    )
    # -- exhaust sensors
    add(
        "front-sensor-reads-rich",
        "upstream-sensor-rich",
        "bank",
        5,
        _any,
        lambda d: ({"sensor_bias": d.uniform(0.22, 0.4)}, _comes(d, 0.5, 0.95, cold=0.7)),
    )
    add(
        "front-sensor-reads-lean",
        "upstream-sensor-lean",
        "bank",
        3,
        _any,
        lambda d: ({"sensor_bias": -d.uniform(0.14, 0.28)}, _comes(d, 0.5, 0.95)),
    )
    add(
        "front-sensor-loom-wet",
        "upstream-sensor-wiring",
        "bank",
        2,
        _any,
        lambda d: ({"sensor_bias": d.uniform(0.2, 0.4)}, _comes(d, 0.15, 0.4, damp=4, shaken=1.5, jumps=1)),
    )
    add(
        "front-sensor-loom-leaks-to-earth",
        "upstream-sensor-wiring-lean",
        "bank",
        1,
        _any,
        lambda d: ({"sensor_bias": -d.uniform(0.14, 0.28)}, _comes(d, 0.3, 0.6, damp=4, shaken=1.5, jumps=1)),
    )
    add(
        "front-sensors-exchanged",
        "sensors-crossed",
        "bank",  # the one from which fuel is taken: either may begin
        2,
        lambda p: len(p.banks) == 2,
        lambda d: ({"crossed": 1.0}, Acts()),
        work="exhaust",
    )
    # -- injectors
    add(
        "seat-dribbles",
        "injector-leaks",
        "cylinder",
        14,
        _direct,
        lambda d: ({"leak": d.uniform(2400, 6500)}, _comes(d, 0.25, 0.8, hot=2.5, soaked=2)),
        pairs=0.2,
    )
    add(
        "tip-dribbles-hot",
        "injector-leaks-after-soak",
        "cylinder",
        10,
        _direct,
        lambda d: ({"soak_leak": d.uniform(2500, 8000)}, _comes(d, 0.5, 0.9)),
        pairs=0.15,
    )
    add(
        "port-seat-dribbles",
        "port-injector-leaks",
        "cylinder",
        11,
        _port,
        lambda d: ({"leak": d.uniform(1300, 3800)}, _comes(d, 0.25, 0.8, hot=2)),
        pairs=0.15,
    )
    add(
        "all-tips-worn",
        "injectors-worn",
        "engine",
        6,
        _direct,
        lambda d: ({"worn": d.uniform(900, 2200)}, _comes(d, 0.5, 0.9, hot=2)),
    )
    add(
        "all-port-seats-worn",
        "port-injectors-worn",
        "engine",
        3,
        _port,
        lambda d: ({"worn": d.uniform(500, 1300)}, _comes(d, 0.5, 0.9, hot=2)),
    )
    add(
        "needle-late",
        "injector-slow-to-close",
        "cylinder",
        4,
        _direct,
        lambda d: ({"late_ms": d.uniform(0.5, 1.0)}, _comes(d, 0.3, 0.8, hot=1.5, cold=1.3)),
    )
    add(
        "port-needle-late",
        "port-injector-slow-to-close",
        "cylinder",
        3,
        _port,
        lambda d: ({"late_ms": d.uniform(1.8, 3.2)}, _comes(d, 0.3, 0.8, hot=1.5)),
    )
    add(
        "driver-holds-open",
        "injector-driver",
        "cylinder",
        2,
        _any,
        lambda d: (
            {"held_ms": d.uniform(1.5, 3.0)},
            _comes(d, 0.15, 0.45, hot=2, shaken=2, damp=1.5, jumps=1),
        ),
    )
    add(
        "other-injector-fitted",
        "injector-wrong-part",
        "cylinder",
        1.5,
        _any,
        lambda d: ({"flow": d.uniform(0.6, 1.0)}, Acts()),
        work="injectors",
    )
    # -- pressure
    add(
        "pressure-valve-sticks",
        "rail-pressure-uncontrolled",
        "engine",
        4,
        _direct,
        lambda d: ({"rail_over": d.uniform(2.2, 3.4)}, _comes(d, 0.3, 0.7, hot=1.5)),
    )
    add(
        "rail-sensor-drifted",
        "rail-sensor-low",
        "engine",
        3,
        _direct,
        lambda d: ({"rail_reads_low": d.uniform(0.3, 0.5)}, _comes(d, 0.5, 0.95, hot=1.5)),
    )
    add(
        "regulator-sticks",
        "regulator-high",
        "engine",
        5,
        lambda p: p.returns,
        lambda d: (
            {"low_over": d.uniform(0.45, 0.9), "pinched_return": float(d.random() < 0.35)},
            _comes(d, 0.4, 0.9),
        ),
    )
    add(
        "feed-sensor-drifted",
        "low-side-sensor-low",
        "engine",
        2,
        lambda p: not p.direct and not p.returns,
        lambda d: ({"low_reads_low": d.uniform(0.32, 0.5)}, _comes(d, 0.5, 0.95)),
    )
    add(
        "diaphragm-holed",
        "regulator-diaphragm",
        "engine",
        5,
        lambda p: p.returns,
        lambda d: ({"diaphragm": d.uniform(0.045, 0.1)}, _comes(d, 0.5, 0.95, hot=1.5)),
    )
    add(
        "tank-regulator-sticks",
        "tank-regulator-sticks",
        "engine",
        3,
        lambda p: not p.direct and not p.returns,
        lambda d: ({"low_over": d.uniform(0.45, 0.9)}, _comes(d, 0.4, 0.9)),
    )
    # -- fuel that comes another way
    add(
        "pump-seal-weeps",
        "pump-leaks-into-oil",
        "engine",
        5,
        _direct,
        lambda d: ({"pump_seal": d.uniform(120, 320)}, Acts()),
    )
    add(
        "oil-full-of-short-trips",
        "oil-diluted",
        "engine",
        7,
        _direct,
        lambda d: ({"short_trips": d.uniform(0.7, 1.0)}, Acts()),
    )
    add(
        "purge-valve-sticks",
        "purge-valve-leaks",
        "engine",
        12,
        _any,
        lambda d: (
            {"purge_leak": d.uniform(1.0, 3.0), "canister": d.choice((0.0, d.uniform(0.2, 0.5)))},
            _comes(d, 0.35, 0.9, hot=1.5),
        ),
    )
    add(
        "canister-wet",
        "canister-loaded",
        "engine",
        7,
        _any,
        lambda d: ({"canister": d.uniform(0.7, 1.0)}, Acts()),
    )
    add(
        "vent-shut",
        "vent-blocked",
        "engine",
        3,
        _any,
        lambda d: ({"vent_blocked": d.uniform(0.75, 1.0)}, _comes(d, 0.5, 0.95, damp=2)),
    )
    add(
        "ethanol-believed",
        "ethanol-value-wrong",
        "engine",
        8,
        lambda p: p.flexible,
        lambda d: ({"ethanol_over": d.uniform(0.45, 0.75)}, Acts()),
    )
    add(
        "damper-holed",
        "damper-leaks",
        "engine",
        2,
        lambda p: p.returns,
        lambda d: ({"damper": d.uniform(0.045, 0.1)}, _comes(d, 0.5, 0.95)),
    )
    add(
        "vaporiser-lets-by",
        "gas-conversion",
        "engine",
        1,
        _port,
        lambda d: ({"gas_leak": d.uniform(0.05, 0.11)}, _comes(d, 0.4, 0.8)),
    )
    add(
        "purge-hose-misled",
        "hose-routed-wrong",
        "engine",
        2,
        _any,
        lambda d: ({"hose_by": d.uniform(1.5, 4.0)}, Acts()),
        work="fuel feed",
    )
    add(
        "oil-drawn-in-by-breather",
        "oil-drawn-in",
        "engine",
        2,
        _any,
        lambda d: ({"oil_drawn": d.uniform(0.06, 0.12), "oil_over": d.uniform(0.5, 1.5)}, _comes(d, 0.4, 0.9, hot=2)),
    )
    add(
        "filled-to-the-brim-once",
        "happened-once",
        "engine",
        4,
        _any,
        lambda d: ({"overfilled": d.uniform(0.8, 1.1)}, Acts(once=True)),
    )
    # -- the rest
    add(
        "larger-injectors-fitted",
        "tuned-or-other-parts",
        "engine",
        2,
        _any,
        lambda d: ({"flow_all": d.uniform(0.25, 0.45)}, Acts()),
        work="tuned",
    )
    add(
        "copy-of-an-air-meter",
        "sensor-wrong-part",
        "engine",
        2,
        _metered,
        lambda d: ({"meter_gain": d.uniform(0.22, 0.4), "wrong_part": 1.0}, Acts()),
        work="air",
    )
    add(
        "copy-of-a-manifold-sensor",
        "sensor-wrong-part",
        "engine",
        2,
        _by_pressure,
        lambda d: ({"manifold_kpa": d.uniform(5, 11), "wrong_part": 1.0}, Acts()),
        work="air",
    )
    add(
        "shared-earth-poor",
        "sensor-supply-shared",
        "engine",
        2,
        _any,
        lambda d: ({"earth_shift": d.uniform(0.25, 0.5)}, _comes(d, 0.15, 0.4, damp=3, shaken=2, jumps=1)),
    )
    add(
        "unit-runs-long",
        "control-unit",
        "engine",
        1,
        _any,
        lambda d: ({"unit_gain": d.uniform(0.25, 0.45)}, _comes(d, 0.2, 0.6, hot=2)),
    )
    add(
        "injector-without-contact",
        "injector-gives-too-little",
        "cylinder",
        2,
        _any,
        lambda d: ({"flow": -d.uniform(0.5, 0.95)}, _comes(d, 0.3, 0.7, shaken=1.5, hot=1.5, jumps=1)),
    )
    add(
        "tip-seal-blows",
        "injector-seal-leaks",
        "cylinder",
        2,
        _direct,
        lambda d: ({"compression": d.uniform(0.4, 0.6), "seal": 1.0}, _comes(d, 0.6, 0.95)),
        work="injectors",
    )
    add(
        "ring-flat",
        "injector-ring-draws-air",
        "cylinder",
        2,
        _port,
        lambda d: ({"ring_air": d.uniform(1.5, 3.5)}, _comes(d, 0.6, 0.95)),
        work="injectors",
    )
    add(
        "plug-misses",
        "ignition-misfire",
        "cylinder",
        6,
        _any,
        lambda d: ({"ignition": d.uniform(0.12, 0.5)}, _comes(d, 0.3, 0.7, damp=2, hot=1.5)),
    )
    add(
        "valve-burnt",
        "low-compression",
        "cylinder",
        2,
        _any,
        lambda d: ({"compression": d.uniform(0.42, 0.7)}, _comes(d, 0.6, 0.95, cold=1.3)),
    )
    add(
        "supply-corroded",
        "supply-voltage-low",
        "engine",
        1,
        _port,
        lambda d: ({"volts": d.uniform(3.0, 5.0)}, _comes(d, 0.3, 0.7, hot=1.5, damp=2)),
    )
    add(
        "air-sensor-plug-loose",
        "intake-sensor-intermittent intake-temperature-low",
        "engine",
        1,
        _by_pressure,
        lambda d: ({"intake_ohms": d.uniform(60000, 400000)}, _comes(d, 0.1, 0.35, damp=1.5, shaken=2.5, jumps=1)),
        work="air",
    )
    return tuple(found)


BY_TIME = (
    "leak",
    "hose_by",
    "oil_drawn",
    "ring_air",
    "soak_leak",
    "worn",
    "diaphragm",
    "damper",
    "gas_leak",
    "pump_seal",
    "purge_leak",
)
BREAKAGES = _list()
BY_NAME = {b.name: b for b in BREAKAGES}

# Faults of the rules that no virtual car has, and why.
CANNOT: Mapping[str, str] = {
    "thermostat-open": "a cooler engine is given more fuel because it needs more: the trim stays near zero",
    "intake-restricted": "what is metered behind the restriction, by mass or by pressure, is right: nothing gets rich",
    "exhaust-restricted": "back pressure costs air at full load; where air is reckoned from pressure the trim moves by"
    " a few per cent, and where it is metered not at all: no rich code",
    "recirculating-valve-vents": "rich for a second after each lift: no trim and no code follows within this model's"
    " steady states",
    "barometer-wrong": "a higher value makes the controller expect more residual gas and give less fuel, not more",
    "pump-control-high": "on a direct engine the low side does not set the rail pressure; on port engines see"
    " tank-regulator-sticks",
    "fuel-contaminated": "heavy fuel that does not vaporise leaves the mixture lean; trims go up",
    "injector-value-wrong": "values correct an injector by 10 to 15 %: one of four moves its bank's trim by 4 %,"
    " which is no rich code; it can bring the code for uneven cylinders alone",
    "learned-values-stale": "the short trim cancels what the long one adds within seconds: the total, which a rich code"
    " is about, stays near zero",
    "exhaust-leak-upstream": "stores a lean code: trims go up, and what is too much burns with the false air"
    " in the catalyst. Tailpipe and rear sensor are near lambda 1: no rich code, no smell, no soot",
    "secondary-air-leaks": "as exhaust-leak-upstream, and the pumped air is mixed in well: lambda 1 behind it",
    "lean-comes-and-goes": "as learned-values-stale: while the long trim is too much the short one takes it away, and"
    " the total stays near zero; what is stored is a lean code",
    "rear-sensor-biases-trim": "the rear loop moves the front one's aim by 3 % at most: lambda 0.97, no code",
    "mended-before": "all of these come in with what they have",
    "blow-by": "gas alone does not enrich; with fuel in the oil it is the same as oil-full-of-short-trips",
}


def fitting(profile: Profile) -> list[Breakage]:
    return [b for b in BREAKAGES if b.fits(profile)]


def drawn(breakage: Breakage, profile: Profile, seed: str, name: str = "") -> Car:
    """A car of a kind with a breakage, its degree and place by chance."""
    dice = Random(f"{seed}/{breakage.name}/{profile.name}")
    amounts, acts = breakage.draw(dice)
    place, more = 0, ()
    if breakage.at == "cylinder":
        place = dice.randint(1, profile.cylinders)
        if dice.random() < breakage.pairs:
            more = (dice.choice([c for c in range(1, profile.cylinders + 1) if c != place]),)
    elif breakage.at == "bank":
        place = dice.randint(1, len(profile.banks))
    size = (profile.litres / 2) ** 0.7  # what dribbles into a larger engine has to be more before anybody notices
    amounts = {name: amount * (size if name in BY_TIME else 1.0) for name, amount in amounts.items()}
    if profile.direct and "held_ms" in amounts:
        amounts["held_ms"] /= 3.5  # a direct injector is open a third as long at idle
    work = breakage.work if dice.random() < 0.7 else ""
    broken = Broken(place=place, more=more, **amounts)  # type: ignore[arg-type]
    return own_car(name or breakage.name, profile, breakage.name, broken, acts, f"{seed}/{breakage.name}", work)


def any_car(seed: int, number: int, attempt: int = 0) -> Car:
    """Car `number` of a seed: profiles alike often, breakages by their share."""
    dice = Random(f"model/{seed}/{number}/{attempt}")
    profile = dice.choice(PROFILES)
    possible = fitting(profile)
    breakage = dice.choices(possible, [b.share for b in possible])[0]
    return drawn(breakage, profile, f"model/{seed}/{number}/{attempt}", f"car {number}")
