"""Weeks of use before the car comes to the shop: trips, soaks, weather, filling up; what the controller stored of it
and what the owner noticed.

Every trip is a row of short steady stretches. What acts in a stretch is drawn once for each part of a trip (cold, warm,
long idle, after a hot restart), by streams named after day and trip, so that the same seed tells the same story.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from random import Random

from tests.model import engine
from tests.model.car import Broken, Car
from tests.model.codes import monitored
from tests.model.engine import CRUISE, IDLE, LOAD, OIL_LITRES, OVERRUN, TOWN, Memory, Now, Point, State

DAYS = 35
LEARNS = 6.0  # minutes of closed loop in which a long trim takes over two thirds of what is wanted, judgement
RICH = 0.10  # total trim, or 1 - lambda at half of it, at which a stretch counts as rich
SMELLS, SMOKES, ROUGH = 0.90, 0.84, 0.05  # lambda and share of missed cycles at which people notice


Tag = tuple[str, str]  # (cold, warming, hot restart or warm; idle, cruise or pulling)


@dataclass(frozen=True)
class Stretch:
    """A steady stretch of a trip. part: cold, hot restart, long idle or warm, within which one draw holds."""

    point: Point
    minutes: float
    part: str


@dataclass
class Frame:
    """What was frozen with the first code of the mixture."""

    coolant: float
    load: float
    rpm: float
    speed: float
    since_start: float
    hot_start: bool
    trim: float
    refuelled: bool
    point: str
    state: State


@dataclass
class Past:
    """What is there when the car arrives. minutes, rich, noticed: exposure, rich minutes and how often somebody smelt,
    saw or felt something, by how warm the engine was and what the car was doing, as in `tags`."""

    memory: dict[tuple[int, str], float] = field(default_factory=dict)
    codes: dict[str, str] = field(default_factory=dict)  # code -> stored or pending
    frame: Frame | None = None
    canister: float = 0.25
    oil_fuel: float = 15.0
    tip_soot: dict[int, float] = field(default_factory=dict)  # plug by cylinder, in minutes of sooting not burnt off
    tip_wet: dict[int, float] = field(default_factory=dict)
    tail_soot: float = 0.0
    counts: dict[int, float] = field(default_factory=dict)  # misfires, mean of ten drives
    minutes: Counter[Tag] = field(default_factory=Counter)
    rich: Counter[Tag] = field(default_factory=Counter)
    noticed: Counter[Tag] = field(default_factory=Counter)
    circumstance: Counter[str] = field(
        default_factory=Counter
    )  # how often it was noticed in the damp, after a hard run
    damp_days: int = 0
    days: int = 0
    seen: Counter[str] = field(default_factory=Counter)  # smell, rough, smoke, hard start, rough start
    ended: Counter[str] = field(default_factory=Counter)
    starts: int = 0
    hot_starts: int = 0
    fills: int = 0
    rich_after_fill: float = 0.0
    minutes_after_fill: float = 0.0
    rich_after_long: float = 0.0
    minutes_after_long: float = 0.0
    first_click: bool = True
    pattern: str = "mixed"
    oil_rise: float = 0.0  # per cent of fuel in the oil at its most
    arrived: int = 0
    comes: bool = False
    jumps: int = 0
    damp: bool = False


def trips(car: Car, pattern: str, day: int) -> Iterator[tuple[float, float, bool]]:
    """(minutes stood before, minutes driven, hurried) of a day. The first stands a night."""
    dice = car.dice("day", day)
    if pattern == "short":
        for n in range(dice.choice((2, 3, 3, 4))):
            yield (600.0 if n == 0 else dice.choice((90.0, 180.0, 240.0))), dice.uniform(5, 9), False
        if day % 9 == 8:
            yield 120.0, dice.uniform(20, 40), False
        return
    length = dice.uniform(25, 45) if pattern == "commuter" else dice.uniform(12, 25)
    yield 600.0, length, dice.random() < 0.4
    if dice.random() < 0.55:
        yield dice.uniform(12, 35), dice.uniform(8, 18), False  # an errand: restarted hot
    yield 480.0, length, dice.random() < 0.4
    if dice.random() < 0.3:
        yield dice.uniform(12, 35), dice.uniform(8, 18), False
    if pattern == "commuter" and day % 6 == 5:
        yield 180.0, dice.uniform(70, 110), True


def stretches(dice: Random, soaked: float, minutes: float, hurried: bool) -> list[Stretch]:
    """A trip: the start, warming up, town or road, traffic lights, a pull now and then, a long idle sometimes."""
    hot, cold = 8 <= soaked <= 60, soaked > 200
    first = "cold" if cold else "hot restart" if hot else "warm"
    found = [Stretch(IDLE, 1.0, first)]
    done = 1.0
    if hot:
        found += [Stretch(IDLE, 1.0, first), Stretch(TOWN, 2.0, first)]
        done = 4.0
    elif cold:
        found += [Stretch(TOWN, 3.0, first), Stretch(IDLE, 1.0, first), Stretch(TOWN, 3.0, first)]
        done = 8.0
    while done < minutes:
        part = "cold" if cold and done < 9 else "warm"
        if minutes > 30 and 10 < done < minutes - 8:
            found.append(Stretch(CRUISE, 8.0, part))
            done += 8
            if hurried:
                found += [Stretch(LOAD, 0.5, part), Stretch(OVERRUN, 0.3, part)]
            continue
        found += [Stretch(TOWN, 2.5, part), Stretch(IDLE, 1.2, part)]
        if hurried and dice.random() < 0.5:
            found.append(Stretch(LOAD, 0.3, part))
        done += 3.7
        if dice.random() < 0.06:
            found += [Stretch(IDLE, 2.0, "warm"), Stretch(IDLE, 8.0, "long idle")]
            done += 10
    return found


def circumstances(part: str, point: Point, damp: bool) -> tuple[str, ...]:
    """What of it matters to a part that comes and goes."""
    found = []
    if part == "cold":
        found.append("cold")
    if part in ("long idle", "hot restart"):
        found.append("hot")
    if part == "hot restart":
        found.append("soaked")
    if damp:
        found.append("damp")
    if point.speed:
        found.append("shaken")
    if point is IDLE:
        found.append("idle")
    return tuple(found)


def acting(car: Car, where: tuple[object, ...], circumstance: tuple[str, ...]) -> float:
    """To what part the breakage acts: 0, or 0.75 to 1 of its degree. What happens once happens on two early days."""
    if car.acts.once:
        return 1.0 if where[0] in (2, 3) else 0.0
    dice = car.dice("acts", *where)
    return dice.uniform(0.75, 1.0) if dice.random() < car.acts.chance(*circumstance) else 0.0


def simulate(car: Car, days: int = DAYS) -> Past:
    """The weeks before the car comes in, and whether it comes at all with a complaint of running rich."""
    dice = car.dice("owner")
    past = Past()
    short = car.broken.short_trips > 0
    past.pattern = "short" if short else dice.choices(("commuter", "mixed", "short"), (4, 4, 2))[0]
    past.first_click = dice.random() < (0.5 if car.broken.canister else 0.8)
    past.oil_fuel = dice.uniform(5, 25)
    tank, to_come, trip_number = dice.uniform(0.3, 1.0), -1, 0
    failed: dict[str, int] = {}
    weather, warm = 0.0, 20.0
    for day in range(days):
        sky = car.dice("sky", day)
        weather = 0.7 * weather + sky.gauss(0, 2.5)
        damp = sky.random() < 0.3
        past.damp = damp
        past.days += 1
        past.damp_days += damp
        for soaked, minutes, hurried in trips(car, past.pattern, day):
            ambient = car.ambient + weather + sky.gauss(0, 1)
            trip_number += 1
            filled = tank < 0.15
            if filled:
                past.fills += 1
                tank = 1.0
                past.canister = min(
                    1.0, past.canister + (0.5 if car.takes_vapour else 0.12) + 0.25 * (not past.first_click)
                )
            tank -= minutes / 550
            warm = _trip(car, past, day, trip_number, ambient, warm, soaked, minutes, hurried, damp, filled, failed)
        past.canister = min(1.0, past.canister + 0.006 * max(0.0, (car.ambient + weather) / 10))
        if to_come < 0 and complains(past):
            to_come = day + dice.randint(1, 7)
        if day == to_come:
            past.comes, past.arrived = True, day
            break
    return past


def complains(past: Past) -> bool:
    """The lamp is on for a rich code or with signs of richness, or somebody has smelt or seen it often enough."""
    lit = [code for code, state in past.codes.items() if state == "stored"]
    signs = past.seen["smell"] + past.seen["smoke"]
    return any(code in RICH_CODES for code in lit) or (bool(lit) and signs >= 3) or signs >= 20


LEAN_CODES = {"P0171", "P0174", "P2177", "P2179", "P2187", "P2189", "P2191", "P2193"}
RICH_CODES = {"P0172", "P0175", "P2178", "P2180", "P2188", "P2190", "P2192", "P2194"}


def _trip(
    car: Car,
    past: Past,
    day: int,
    number: int,
    ambient: float,
    warm: float,
    soaked: float,
    minutes: float,
    hurried: bool,
    damp: bool,
    filled: bool,
    failed: dict[str, int],
) -> float:
    """Drives a trip; what it leaves is written into past. Returns the coolant's temperature at its end."""
    coolant = ambient + (warm - ambient) * math.exp(-soaked / 150)
    oil = ambient + (warm - ambient) * math.exp(-soaked / 180)
    hot = 8 <= soaked <= 60 and coolant > 60
    plan = stretches(car.dice("trip", number), soaked, minutes, hurried)
    drove, cranks = 0.0, 0.0
    failing: set[str] = set()
    rich_before = False
    stood = replace(Now(engine.OFF), soaked=min(soaked, 30.0), hot_soaked=hot, ambient=ambient)
    drawn = {part: acting(car, (day, number, part), circumstances(part, TOWN, damp)) for part in {s.part for s in plan}}
    if hot:
        past.hot_starts += 1
        spilt = engine.drained(car, car.broken.scaled(drawn[plan[0].part]), stood)
        if spilt > 0.08 and car.dice("starts", number).random() < 0.7:
            cranks = 1.0
            past.seen["hard start"] += 1
            past.seen["rough start"] += 1
    past.starts += 1
    missed: Counter[int] = Counter()
    turned = 0.0
    pulled = False
    for stretch in plan:
        pulled = pulled or stretch.point is LOAD
        if stretch.point is OVERRUN:  # fuel is cut: nothing burns, nothing is learned
            drove += stretch.minutes
            continue
        part, act = stretch.part, drawn[stretch.part]
        if car.acts.base < 1 and stretch.point is IDLE and car.acts.idle > 1:
            act = acting(car, (day, number, part, "idle"), circumstances(part, IDLE, damp))
        broken = car.broken.scaled(act)
        now = Now(
            stretch.point,
            ambient=ambient,
            coolant=coolant,
            oil=oil,
            bay=ambient + (45 if part in ("long idle", "hot restart") else 28),
            minutes=drove + 0.5 * stretch.minutes,
            settled=stretch.minutes,
            soaked=soaked,
            canister=past.canister,
            oil_fuel=past.oil_fuel,
            refuelled=filled and drove < 15,
            hot_soaked=hot and drove < 6,
        )
        state = engine.run(car, broken, now, Memory(past.memory))
        _learn(past, state, stretch.minutes)
        coolant, oil = _warmed(coolant, oil, ambient, stretch)
        _wear(past, state, stretch.minutes)
        for cylinder, share in enumerate(state.misses, start=1):
            missed[cylinder] += share * stretch.point.rpm / 2 * stretch.minutes  # type: ignore[assignment]
        turned += stretch.point.rpm * stretch.minutes
        rich = _rich(state)
        _perceive(car, past, state, stretch, number, drove, rich, rich_before, filled, pulled)
        rich_before = rich
        for code in monitored(car, broken, state, stretch.minutes, drove, hot):
            failing.add(code)
            if code in (*RICH_CODES, *LEAN_CODES) and past.frame is None:
                past.frame = _frame(state, drove, hot, filled)
        past.oil_fuel = _diluted(car, broken, past.oil_fuel, now, state, stretch.minutes)
        past.oil_rise = max(past.oil_rise, past.oil_fuel)
        past.canister = _purged(past.canister, broken, state, stretch.minutes, ambient)
        drove += stretch.minutes
    if cranks and hot:
        past.noticed["hot restart", "idle"] += 1
    for cylinder in range(1, car.profile.cylinders + 1):
        past.counts[cylinder] = 0.9 * past.counts.get(cylinder, 0.0) + 0.1 * missed[cylinder]
    failing |= _misfire_codes(car, missed, turned, spilt=cranks, hot=hot)
    for code in failing:
        past.codes[code] = (
            "stored" if code in failed and number - failed[code] < 30 else past.codes.get(code, "pending")
        )
        failed[code] = number
    for code in [c for c, state_ in past.codes.items() if state_ == "pending" and number - failed[c] > 6]:
        del past.codes[code]
    if minutes > 60:
        past.minutes_after_long, past.rich_after_long = 1e-6, 0.0
    if rich_before:
        past.ended["next drive"] += 1
    return coolant


def _rich(state: State) -> bool:
    return state.running and (min(state.trim) < -RICH or min(state.lam) < 1 - RICH / 2 or max(state.misses) > ROUGH)


def _learn(past: Past, state: State, minutes: float) -> None:
    if state.open_loop or state.now.coolant < 50:
        return
    part = 1 - math.exp(-minutes / LEARNS)
    for bank, total in enumerate(state.trim, start=1):
        key = (bank, state.now.point.cell)
        old = past.memory.get(key, 0.0)
        past.memory[key] = max(-0.25, min(0.25, old + part * (total - old)))


def _wear(past: Past, state: State, minutes: float) -> None:
    """Soot grows on a plug whose charge is rich at little load, and burns off when the tip is hot. What did not burn
    wets it, so far as there is fuel in it: half of it hardly condenses."""
    hot = state.now.point in (CRUISE, LOAD)
    for cylinder, phi in enumerate(state.phi, start=1):
        soot, wet = past.tip_soot.get(cylinder, 0.0), past.tip_wet.get(cylinder, 0.0)
        cold = state.now.coolant < 60
        grows = minutes * max(0.0, phi - (1.10 if not cold else 1.18)) * 8 if not hot else 0.0
        missing = state.misses[cylinder - 1]
        past.tip_soot[cylinder] = max(0.0, (soot + grows) * math.exp(-minutes / (12 if hot else 150)))
        past.tip_wet[cylinder] = (wet + 6 * minutes * max(0.0, missing * min(phi, 1.0) ** 2 - 0.02)) * math.exp(
            -minutes / (3 if hot else 15)
        )
    grows = minutes * max(0.0, max(state.phi) / (1 + max(state.false_air)) - 1.12)
    past.tail_soot = (past.tail_soot + grows) * math.exp(-minutes / (60 if hot else 900))


def _perceive(
    car: Car,
    past: Past,
    state: State,
    stretch: Stretch,
    number: int,
    drove: float,
    rich: bool,
    rich_before: bool,
    filled: bool,
    hard: bool,
) -> None:
    warmth = {"cold": "cold" if drove < 3 else "warming", "hot restart": "hot restart"}.get(stretch.part, "warm")
    tag = (warmth, "idle" if stretch.point is IDLE else "pulling" if stretch.point is LOAD else "cruise")
    past.minutes[tag] += stretch.minutes  # type: ignore[assignment]
    if filled and drove < 15:
        past.minutes_after_fill += stretch.minutes
    past.minutes_after_long += stretch.minutes
    if rich:
        past.rich[tag] += stretch.minutes  # type: ignore[assignment]
        past.rich_after_long += stretch.minutes
        if filled and drove < 15:
            past.rich_after_fill += stretch.minutes
    elif rich_before:
        past.ended["step" if car.acts.jumps else "minutes"] += 1
    dice = car.dice("notices", number, round(drove, 1), stretch.point.name)
    meant = stretch.point is LOAD and car.enriches  # full-load fuel is not smelt: nobody walks behind
    lam, missing = 1.0 if meant else min(state.behind), max(state.misses)
    raw = missing > 0.1 or lam < SMELLS or (state.vapour > 0.06 and dice.random() < 0.1)
    found = []
    if raw and dice.random() < 0.25:
        found.append("smell")
    if lam < SMOKES and dice.random() < 0.3:
        found.append("smoke")
    uneven = max(state.phi) - min(state.phi) > 0.5 and state.now.point is IDLE
    if (missing > ROUGH or uneven) and dice.random() < 0.5:
        found.append("rough")
    for what in found:
        past.seen[what] += 1
    if found:
        past.noticed[tag] += 1
        past.circumstance["damp"] += past.damp
        past.circumstance["hard"] += hard


def _frame(state: State, drove: float, hot: bool, filled: bool) -> Frame:
    full = 62.0 * state.air / max(state.air, 1e-9) if state.now.point is LOAD else 0.0
    load = {"idle": 22.0, "raised": 20.0, "cruise": 38.0, "town": 30.0, "load": 88.0, "overrun": 12.0}
    return Frame(
        coolant=state.coolant_read,
        load=load[state.now.point.name] if not full else 88.0,
        rpm=state.now.point.rpm,
        speed=state.now.point.speed,
        since_start=drove,
        hot_start=hot,
        trim=min(state.trim),
        refuelled=filled,
        point=state.now.point.name,
        state=state,
    )


def _warmed(coolant: float, oil: float, ambient: float, stretch: Stretch) -> tuple[float, float]:
    """Coolant heads for 90 C within ten minutes of driving, oil in twice the time."""
    rate = {"idle": 18.0, "load": 4.0}.get(stretch.point.name, 6.0)
    coolant += (92 - coolant) * (1 - math.exp(-stretch.minutes / rate))
    oil += (95 - oil) * (1 - math.exp(-stretch.minutes / (2.2 * rate)))
    return coolant, oil


def _diluted(car: Car, broken: Broken, fuel: float, now: Now, state: State, minutes: float) -> float:
    """Grams of fuel in the oil: what a cold engine washes down, what a pump lets by, less what boils off.

    Of what it gets too much to warm up a direct engine loses a tenth to the oil, a port engine a fifth of that; short
    trips are told of where it is several times as much. Judgement.
    """
    extra = max(0.0, engine.needed(now.coolant) - 1)
    burnt = state.air / 14.6 * 60 * minutes
    washed = (0.10 if car.profile.direct else 0.02) * extra * burnt * (1 + 8 * car.broken.short_trips)
    return max(0.0, fuel + washed + broken.pump_seal * minutes / 60 - state.oil_vapour * 60 * minutes)


def _purged(canister: float, broken: Broken, state: State, minutes: float, ambient: float) -> float:
    """A litre of carbon is clean after some 300 times its volume of air, 360 g (purge tests; from memory): half of it
    at a third of that, so 0.006 for each gram; not all of the bed is reached, so half of this is taken."""
    flow = state.purge_duty * 0.75 + 0.15 * (broken.purge_leak + broken.hose_by)
    gives = min(0.9, 0.003 * 60 * flow * minutes) * canister
    takes = 0.0002 * minutes * max(0.0, ambient - 5)
    return min(1.0, max(0.05, canister - gives + takes))


def _misfire_codes(car: Car, missed: Counter[int], turned: float, spilt: float, hot: bool) -> set[str]:
    """Misfire codes of a drive: more than 2 % of a thousand revolutions' firings somewhere in it, most in one."""
    each = max(turned / 2, 1.0)
    shares = {c: missed[c] / each for c in range(1, car.profile.cylinders + 1)}
    total = sum(shares.values()) / car.profile.cylinders
    found: set[str] = set()
    if total > 0.012:
        bad = [c for c, share in shares.items() if share > 0.1 * sum(shares.values()) and share > 0.012]
        found |= {f"P030{c}" for c in bad} if len(bad) <= 2 else {"P0300"}
    if spilt and hot and car.dice("start code", round(turned)).random() < 0.35:
        worst = car.broken.place or 1
        found |= {"P0316", f"P030{worst}"}
    return found


def oil_per_cent(past: Past) -> float:
    from tests.model.physics import oil_share

    return oil_share(past.oil_fuel, OIL_LITRES)


def by_part(count: Counter[Tag], part: int) -> Counter[str]:
    """Counts by how warm it was (0) or what it was doing (1)."""
    found: Counter[str] = Counter()
    for tag, n in count.items():
        found[tag[part]] += n
    return found


def richness(past: Past, part: int, name: str) -> float:
    """Share of the minutes in a circumstance that were rich."""
    return by_part(past.rich, part)[name] / max(by_part(past.minutes, part)[name], 1.0)
