"""The running engine, one steady state at a time: air, fuel, gas, trims, misfires, pressures, and what sensors say.

A state follows from the car, what acts on it now, the circumstances and what its controller has learned. Quasi-static:
nothing is integrated over time here; what changes over minutes and weeks is in `weeks`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from tests.model import physics as ph
from tests.model.car import Broken, Car

BARO = 101.0  # kPa at the shop
LOSSES = 0.92  # friction and heating, on the ideal filling
AUTHORITY = 0.35  # of short and long trim together, from memory: 25 % each, of which most maps use less
RATED = {True: 10.0, False: 0.3}  # MPa across an injector at which leaks and flows are stated (direct, port)
STATIC = {True: 15.0, False: 3.0}  # mg/ms of an injector open at rated pressure, for half a litre a cylinder
RAIL_LITRES = 0.06
OIL_LITRES = 4.0


@dataclass(frozen=True)
class Point:
    """An operating point. air: g/s for each litre that is asked for; 0 where the throttle is wide open or it stands."""

    name: str
    rpm: float
    air: float
    speed: float = 0.0
    cell: str = "part"
    rail: float = 10.0  # MPa, target of a direct engine


OFF = Point("off", 0, 0)
IDLE = Point("idle", 760, 1.6, cell="idle", rail=5.0)
RAISED = Point("raised", 2500, 4.6, rail=7.0)
CRUISE = Point("cruise", 2200, 8.0, speed=80)
LOAD = Point("load", 3500, 0, speed=70, cell="load", rail=16.0)
OVERRUN = Point("overrun", 1900, 2.2, speed=50, rail=9.0)
TOWN = Point("town", 1700, 5.0, speed=35)


@dataclass(frozen=True)
class Now:
    """Circumstances. minutes: since the start; settled: at this point; soaked: how long it stood before the start.

    canister: share of its capacity that is fuel; oil_fuel: grams in the oil; drained: grams let into a cylinder while
    it stood; purge: as the controller commands it, None as usual there.
    """

    point: Point
    ambient: float = 15.0
    coolant: float = 90.0
    oil: float = 90.0
    bay: float = 45.0
    minutes: float = 20.0
    settled: float = 3.0
    soaked: float = 600.0
    canister: float = 0.25
    oil_fuel: float = 20.0
    purge: float | None = None
    refuelled: bool = False
    hot_soaked: bool = False  # started from a hot soak some minutes ago, or standing in one
    cut: int = 0  # a cylinder whose injector is shut off
    breather_off: bool = False
    purge_pinched: bool = False
    cap_open: bool = False
    meter_off: bool = False
    egr_off: bool = False
    swapped: tuple[int, int] = (0, 0)  # two cylinders whose injectors were exchanged
    unplugged: bool = False  # front sensors unplugged: the loop is open and nothing is trimmed
    forced: float = 0.0  # share of fuel added (gas) or, negative, of air let in


@dataclass(frozen=True)
class Memory:
    """What the controller has learned: (bank, cell) -> share of fuel."""

    long: Mapping[tuple[int, str], float] = field(default_factory=dict)

    def of(self, bank: int, cell: str) -> float:
        return self.long.get((bank, cell), 0.0)


@dataclass(frozen=True)
class State:
    """What there is. Lists are by cylinder or by bank, from 1 at index 0. Shares unless said."""

    now: Now
    running: bool
    open_loop: bool
    air: float  # g/s into the engine
    air_read: float  # g/s as metered or reckoned
    manifold: float  # kPa
    manifold_read: float
    coolant_read: float
    intake: float
    intake_read: float
    phi: tuple[float, ...]
    lam: tuple[float, ...]
    sensed: tuple[float, ...]  # lambda as the front sensors have it
    trim: tuple[float, ...]
    short: tuple[float, ...]
    long: tuple[float, ...]
    wanted: tuple[float, ...]  # trims without limit: what would be needed
    misses: tuple[float, ...]
    torque: tuple[float, ...]
    each: tuple[float, ...]  # air of each cylinder, g/s
    rail: float  # MPa
    rail_target: float
    rail_read: float
    vapour: float  # g/s of fuel from canister and purge
    purge_duty: float
    oil_vapour: float  # g/s
    tank_vacuum: float  # kPa
    false_air: tuple[float, ...]  # share of air that got into a bank's exhaust before the front sensor
    on_ms: tuple[float, ...]  # injector on-time
    rear: tuple[float, ...]  # V behind the catalyst

    @property
    def behind(self) -> tuple[float, ...]:
        """Lambda of each bank's gas with what air got into its exhaust: what the catalyst and the tailpipe have."""
        return tuple(lam * (1 + air) for lam, air in zip(self.lam, self.false_air, strict=True))


def needed(celsius: float) -> float:
    """Fuel that must be given for each unit that burns, as walls and oil keep some: 1.35 at -20 C, 1 from 65 C on."""
    return 1 + 0.35 * max(0.0, min(1.0, (65 - celsius) / 85)) ** 1.2


def exhaust_kpa(air: float, litres: float, block: float) -> float:
    """Before the catalyst: some 12 kPa at 30 g/s and litre, with the square of the flow. block: kPa at 60 g/s."""
    return BARO + 12 * (air / (30 * litres)) ** 2 + block * (air / 60) ** 2


def recirculated(broken: Broken, now: Now) -> float:
    """Share of exhaust gas in the manifold: a valve hung open gives most at idle; with more air it matters less."""
    return 0.0 if now.egr_off else broken.egr_share * min(1.0, IDLE.air / max(now.point.air or 30.0, 0.1))


def _filled(car: Car, broken: Broken, now: Now) -> tuple[float, float, list[float]]:
    """Manifold pressure (kPa), air in all (g/s), and each cylinder's air."""
    p = car.profile
    point, kelvin = now.point, now.ambient + 18 + ph.KELVIN
    egr = recirculated(broken, now)
    lost = [broken.cam_off if broken.cam_off and broken.place == b + 1 else 0.0 for b in range(len(p.banks))]
    bank_of = {c: b for b, cs in enumerate(p.banks) for c in cs}

    def drawn(kpa: float, air: float) -> list[float]:
        pe = exhaust_kpa(air, p.litres, broken.back_pressure)
        whole = ph.air_flow(kpa * (1 - egr), pe, kelvin, p.litres, point.rpm, LOSSES) / p.cylinders
        return [max(1e-3, whole * (1 - lost[bank_of[c]])) for c in range(1, p.cylinders + 1)]

    if point.air:
        want = point.air * p.litres
        a, b = 25.0, 60.0  # nearly a straight line: false position
        at_a, at_b = sum(drawn(a, want)) - want, sum(drawn(b, want)) - want
        for _ in range(4):
            kpa = a - at_a * (b - a) / (at_b - at_a)
            a, at_a, b, at_b = b, at_b, kpa, sum(drawn(kpa, want)) - want
            if abs(at_b) < 1e-4 * want:
                break
        each = drawn(kpa, want)
    else:
        kpa = 97.0 if not p.charged else 165.0 - 0.15 * broken.boost_leak
        air = 25.0 * p.litres
        for _ in range(5):
            each = drawn(kpa, air)
            air = sum(each)
    return kpa, sum(each), each


def fouling(share: float, air: float, litres: float) -> float:
    """Dirt on a hot film: too much is read where little flows, too little where much does. Where it crosses (here at a
    cruise) differs by sensor; common experience, from memory."""
    return share * max(-1.0, 1 - math.log2(max(air / litres, 0.5) / IDLE.air) / math.log2(CRUISE.air / IDLE.air))


def air_read(car: Car, broken: Broken, now: Now, kpa: float, air: float, unmetered: float, lost: float) -> float:
    """What the controller reckons as air, g/s."""
    p = car.profile
    if p.meters_air and not now.meter_off:
        through = max(0.01, air - unmetered + lost)
        return through * (
            1
            + car.meter_offset
            + broken.meter_gain
            + broken.earth_shift
            + fouling(broken.meter_fouled, through, p.litres)
        )
    shown = manifold_read(broken, kpa) if not now.meter_off else kpa
    kelvin = intake_read(broken, now) + ph.KELVIN
    pe = exhaust_kpa(air, p.litres, 0.0)
    return ph.air_flow(shown, pe, kelvin, p.litres, now.point.rpm, LOSSES) * (1 + car.meter_offset)


def manifold_read(broken: Broken, kpa: float) -> float:
    """A lifted earth lifts the whole signal, most of which is there at low pressure too."""
    return kpa + broken.manifold_kpa + 30 * broken.earth_shift


def intake_read(broken: Broken, now: Now) -> float:
    return (
        ph.ntc_celsius(ph.ntc(now.ambient + 18) + broken.intake_ohms)
        if now.point.rpm
        else ph.ntc_celsius(ph.ntc(max(now.ambient, now.bay if now.hot_soaked else now.ambient)) + broken.intake_ohms)
    )


def coolant_read(broken: Broken, now: Now) -> float:
    ohms = ph.ntc(now.coolant) * (1 + 1.5 * broken.earth_shift) + broken.coolant_ohms
    if broken.coolant_shunt:
        ohms = 1 / (1 / ohms + broken.coolant_shunt)
    return ph.ntc_celsius(ohms)


def purge_flow(car: Car, broken: Broken, now: Now, kpa: float) -> tuple[float, float, float, float]:
    """(commanded duty, fuel g/s that nobody reckons with, air g/s with it, tank vacuum kPa).

    A normal purge is learned, all but a tenth of its fuel; a wet canister or a blocked vent makes it richer than it
    ever should be. What leaks past a shut valve is not foreseen at all.
    """
    duty = now.purge
    if duty is None:
        closed = now.coolant > 55 and now.minutes > 2 and now.point.rpm > 0
        duty = 0.0 if not closed else 0.15 if now.point is IDLE else 0.5
    if now.purge_pinched:
        return duty, 0.0, 0.0, 0.0
    full = ph.orifice_flow(2.0 * car.profile.litres, BARO, kpa, now.ambient + ph.KELVIN)
    open_flow = duty * full
    leak_flow = ph.orifice_flow(broken.purge_leak + broken.hose_by, BARO, kpa, now.ambient + ph.KELVIN) * (1 - duty)
    load = now.canister + broken.canister + broken.overfilled  # beyond 1 there is liquid fuel in it
    rich = min(
        0.8, 0.55 * load**1.3
    )  # mass share of fuel in what the canister gives; half and more only when it is full
    normal = 0.55 * min(load, 0.6) ** 1.3  # what its map can learn
    blocked = min(1.0, broken.vent_blocked)
    vacuum = 0.0
    if blocked and not now.cap_open:
        rich = max(rich, min(0.8, blocked * ph.vapour_share(now.ambient + 25)))  # the tank is warm, and boils sooner
        open_flow *= 1 - 0.3 * blocked
        leak_flow *= 1 - 0.3 * blocked
        vacuum = 6.0 * blocked
    fuel = open_flow * rich + leak_flow * rich
    foreseen = open_flow * min(rich, normal) * 0.9
    air = (open_flow + leak_flow) * (1 - rich) - open_flow * (1 - normal)
    return duty, fuel - foreseen, max(0.0, air) if broken.purge_leak or broken.hose_by else 0.0, vacuum


def leaking(car: Car, broken: Broken, now: Now, cylinder: int) -> float:
    """mm3/min past an injector's shut seat at rated pressure."""
    leak = broken.worn
    if broken.at(cylinder):
        leak += broken.leak
        if now.hot_soaked:  # the fuel that flows cools the tip within minutes
            leak += broken.soak_leak * (max(0.0, 1 - now.minutes / 3) if now.point.rpm else 1.0)
    return leak


def run(car: Car, broken: Broken, now: Now, memory: Memory | None = None) -> State:
    """The state in which it runs (or stands: then only pressures and sensors mean something)."""
    p, point = car.profile, now.point
    memory = memory or Memory()
    if point.rpm <= 0:
        return _standing(car, broken, now)
    every = range(1, p.cylinders + 1)
    kpa, air, each = _filled(car, broken, now)
    duty, vapour, purge_air, tank = purge_flow(car, broken, now, kpa)
    vacuum_air = ph.orifice_flow(broken.vacuum_leak, BARO, kpa, 300)
    lost = ph.orifice_flow(broken.boost_leak, kpa + 3, BARO, 320) if p.charged and kpa > BARO else 0.0
    if p.charged and broken.vents and point is OVERRUN:
        lost += broken.vents * air
    read = air_read(car, broken, now, kpa, air, purge_air + vacuum_air, lost)

    shown = coolant_read(broken, now)
    after_start = 0.10 * max(0.0, 1 - now.minutes / 1.5) * (1 if shown < 60 else 0.3)
    enrich = needed(shown) + after_start
    heavy = 1 - 0.25 * broken.bad_fuel * (1 if now.coolant < 60 else 0.25)  # heavy ends do not vaporise, most when cold
    stoich = ph.blend_stoichiometric(0.05)
    believed = ph.blend_stoichiometric(0.05 + broken.ethanol_over)
    asked = (
        read / p.cylinders / believed * enrich * (1 + broken.throttle_jumps + broken.unit_gain) * 1000
    )  # mg/s a cylinder
    per_second = point.rpm / 120
    direct = p.direct
    rail_target = point.rail if direct else RATED[False]
    rail, rail_read = rail_of(car, broken, rail_target)
    # A direct engine reckons with the pressure that it reads; three tenths of an excess escape it (short openings).
    over = math.sqrt(rail / max(rail_read, 0.01)) * (math.sqrt(rail_read / rail_target) ** 0.3 if direct else 1.0)
    if not direct:
        over = math.sqrt(rail / rail_target)
    static = STATIC[direct] * p.litres / p.cylinders / 0.5 * math.sqrt(rail / RATED[direct])  # mg/ms

    dead = 0.0 if direct else 0.13 * broken.volts  # ms of on-time added for a battery taken for low, from memory
    oil_vapour = 0.0 if now.breather_off else ph.oil_gives(now.oil_fuel, now.oil) * (1 + 0.3 * broken.blow_by)
    if not now.breather_off and broken.oil_over:
        oil_vapour += 0.01 * broken.oil_over * air / (IDLE.air * p.litres)
    oil = 0.0 if now.breather_off else broken.oil_drawn  # it comes by the breather's hose, so it stays away with it
    hose = (broken.diaphragm + broken.damper + oil) * max(0.0, BARO - kpa) / 70
    common = vapour + oil_vapour + hose + broken.gas_leak

    fixed, scaled, fresh = [], [], []  # mg/s that trims do not change, that they do, and air in mg/s
    for c in every:
        source = {now.swapped[0]: now.swapped[1], now.swapped[1]: now.swapped[0]}.get(c, c) if now.swapped[0] else c
        on = 0.0 if c == now.cut else 1.0
        share = each[c - 1] / air
        flow = 1 + broken.flow_all + car.injectors[source - 1] + 1e-4 * 0.4 * broken.worn
        late = 0.0
        if broken.at(source):
            if not broken.value_only:
                flow += broken.flow
            late += broken.late_ms
        if broken.at(c):
            if broken.value_only:
                flow += broken.flow
            late += broken.held_ms
        leak = leaking(car, broken, now, source) * 1e-3 * ph.PETROL_DENSITY / 60 * math.sqrt(rail / RATED[direct])
        scaled.append(on * asked * over * flow / needed(now.coolant) * heavy * (1 + max(0.0, now.forced)))
        fixed.append(on * (late + dead) * static * per_second + leak + common * share * 1000)
        beside = ph.orifice_flow(broken.ring_air, BARO, kpa, 320) * 1000 if broken.at(c) else 0.0
        fresh.append((each[c - 1] * 1000 + beside) * (1 + max(0.0, -now.forced)))

    open_loop = (
        now.unplugged
        or shown < car.closes_from
        or now.minutes < 0.4
        or (point is LOAD and car.enriches)
        or point is OVERRUN
    )
    command = 1.12 if point is LOAD and car.enriches else 1.0
    totals, wanted = [], []
    bank_lists = [list(b) for b in p.banks]
    for number in range(len(bank_lists)):
        learned = memory.of(number + 1, point.cell)
        seen_by = bank_lists[1 - number] if broken.crossed >= 0.5 and len(bank_lists) == 2 else bank_lists[number]
        if now.unplugged:
            totals.append(0.0)
            wanted.append(0.0)
        elif open_loop:
            totals.append(learned)
            wanted.append(learned)
        elif seen_by is not bank_lists[number]:  # it steers what it does not see: away from lean or rich to a limit
            totals.append(AUTHORITY * (-0.7 if number + 1 == max(1, broken.place) else 0.7))
            wanted.append(totals[-1])
        else:
            need = _needed_trim(car, broken, now, number, seen_by, fixed, scaled, fresh, stoich)
            wanted.append(need)
            totals.append(max(-AUTHORITY, min(AUTHORITY, need)))
    phi = [
        (fixed[c - 1] + scaled[c - 1] * command * (1 + totals[b])) * stoich / fresh[c - 1]
        for b, cs in enumerate(bank_lists)
        for c in cs
    ]
    by_number = dict(zip([c for cs in bank_lists for c in cs], phi, strict=True))
    phi = [by_number[c] for c in every]
    missing = [_missing(car, broken, now, c, phi[c - 1]) for c in every]
    lam = tuple(len(cs) / sum(phi[c - 1] for c in cs) for cs in bank_lists)
    sensed = tuple(
        1 / _sensed(broken, now, b, [phi[c - 1] for c in cs], [missing[c - 1] for c in cs])
        for b, cs in enumerate(bank_lists)
    )
    if broken.crossed >= 0.5 and len(sensed) == 2:
        sensed = (sensed[1], sensed[0])
    torque = tuple(
        (0.0 if c == now.cut else ph.torque_share(phi[c - 1])) * (1 - missing[c - 1]) * (1 - _weak(car, broken, c))
        for c in every
    )
    longs = tuple(memory.of(b + 1, point.cell) for b in range(len(bank_lists)))
    on_ms = tuple(
        (asked * over * (1 + totals[_bank(bank_lists, c)]) / per_second / static)
        + dead
        + (broken.held_ms if broken.at(c) else 0.0)
        for c in every
    )
    return State(
        now=now,
        running=True,
        open_loop=open_loop,
        air=air,
        air_read=read,
        manifold=kpa,
        manifold_read=manifold_read(broken, kpa),
        coolant_read=shown,
        intake=now.ambient + 18,
        intake_read=intake_read(broken, now),
        phi=tuple(phi),
        lam=lam,
        sensed=sensed,
        trim=tuple(totals),
        short=tuple(t - g for t, g in zip(totals, longs, strict=True)),
        long=longs,
        wanted=tuple(wanted),
        misses=tuple(missing),
        torque=torque,
        each=tuple(each),
        rail=rail,
        rail_target=rail_target,
        rail_read=rail_read,
        vapour=vapour,
        purge_duty=duty,
        oil_vapour=oil_vapour,
        tank_vacuum=tank,
        on_ms=on_ms,
        false_air=tuple(sum(false_air(broken, now, b)) for b in range(len(bank_lists))),
        rear=tuple(_rear(value * (1 + sum(false_air(broken, now, b)))) for b, value in enumerate(lam)),
    )


def rail_of(car: Car, broken: Broken, target: float) -> tuple[float, float]:
    """(MPa there are, MPa that are read). A sensor that reads low is held on target: there is more. Port: by gauge."""
    if not car.profile.direct:
        there = target * (1 + broken.low_over) / (1 - broken.low_reads_low)
        return there, there
    read = min(target * (1 + broken.rail_over), 21.0)  # a relief valve opens beyond, from memory
    return read / (1 - broken.rail_reads_low), read


def _bank(banks: list[list[int]], cylinder: int) -> int:
    return next(b for b, cs in enumerate(banks) if cylinder in cs)


def _sensed(broken: Broken, now: Now, bank: int, phi: list[float], missing: list[float]) -> float:
    """Equivalence ratio as a bank's front sensor has it: its gas holds the air of charges that did not burn, whose fuel
    it burns only in part; false air from a leak; its own error."""
    mean = sum(f - 0.75 * m * min(f, 1.0) for f, m in zip(phi, missing, strict=True)) / len(phi)
    here = not broken.place or broken.place == bank + 1
    leak, pumped = false_air(broken, now, bank)
    return mean / (1 + PLUME * leak + pumped) * (1 + (broken.sensor_bias if here else 0.0))


PLUME = 1.3  # a leak's air is not mixed in where the front sensor sits: it sees more than its share. Judgement


def false_air(broken: Broken, now: Now, bank: int) -> tuple[float, float]:
    """Shares of air that get into a bank's exhaust before the front sensor: by a leak, and by the air pump's valve."""
    if broken.place and broken.place != bank + 1:
        return 0.0, 0.0
    calm = min(1.0, IDLE.air / max(now.point.air or 30.0, 0.1)) ** 0.7
    shut = 0.75 if now.coolant > 80 else 1.0  # cracks close as they get hot
    return broken.exhaust_leak * calm * shut, broken.secondary_air * calm


def _needed_trim(
    car: Car,
    broken: Broken,
    now: Now,
    number: int,
    cylinders: list[int],
    fixed: list[float],
    scaled: list[float],
    fresh: list[float],
    stoich: float,
) -> float:
    """Trim at which the front sensor has lambda 1, found by false position, as misfires depend on the mixture."""

    def error(trim: float) -> float:
        phi = [(fixed[c - 1] + scaled[c - 1] * (1 + trim)) * stoich / fresh[c - 1] for c in cylinders]
        missing = [_missing(car, broken, now, c, f) for c, f in zip(cylinders, phi, strict=True)]
        return _sensed(broken, now, number, phi, missing) - 1

    a, b = -0.15, 0.05
    at_a, at_b = error(a), error(b)
    for _ in range(5):
        if at_a == at_b:
            break
        trim = max(-0.95, min(1.5, a - at_a * (b - a) / (at_b - at_a)))
        a, at_a, b, at_b = b, at_b, trim, error(trim)
        if abs(at_b) < 1e-4:
            return b
    low, high = -0.95, 1.5  # many misses make it crooked: bisection then
    for _ in range(16):
        trim = (low + high) / 2
        low, high = (low, trim) if error(trim) > 0 else (trim, high)
    return (low + high) / 2


def _weak(car: Car, broken: Broken, cylinder: int) -> float:
    """Share of work lost to poor compression."""
    return max(0.0, -car.compressions[cylinder - 1]) + (1.1 * broken.compression if broken.at(cylinder) else 0.0)


def _missing(car: Car, broken: Broken, now: Now, cylinder: int, phi: float) -> float:
    """Share of a cylinder's cycles that do not burn."""
    share = ph.misses(phi) + 1e-4
    if cylinder == now.cut:
        return 1.0
    if broken.at(cylinder):
        share += broken.ignition * (2.0 if now.point is LOAD else 1.0)
        share += (
            max(0.0, broken.compression - 0.3) * (1.0 if now.point is IDLE else 0.2) * (1.5 if now.coolant < 60 else 1)
        )
    share += 0.06 * broken.bad_fuel * (2.0 if now.coolant < 60 else 1.0)
    return min(1.0, share)


def tailpipe(state: State) -> tuple[Mapping[str, float], float]:
    """Dry gas at the tailpipe behind a warm catalyst (volume per cent, hc as hexane), and its Brettschneider lambda."""
    whole = ph.Gas()
    breathed = sum(state.each) * sum(state.false_air) / len(state.false_air)
    if breathed:  # air by itself: oxygen and nitrogen, in moles as `burnt` counts them for its fuel
        oxygen = breathed * (1 + ph.HCV / 4)
        whole = whole.plus(ph.Gas(o2=oxygen, n2=oxygen * ph.N2_PER_O2))
    for phi, missing, air in zip(state.phi, state.misses, state.each, strict=True):
        whole = whole.plus(ph.burnt(max(phi, 0.3), 0.01 + 0.98 * missing), air * max(phi, 0.3))
    after = ph.catalysed(whole, 0.96 if max(state.misses) < 0.08 else 0.5)  # misses overrun a catalyst; judgement
    return after.dry, ph.brettschneider(**after.dry)


def _rear(lam: float) -> float:
    """Volts of a switching sensor behind the catalyst."""
    return 0.45 + 0.42 * math.tanh((1 - lam) / 0.012)


def _standing(car: Car, broken: Broken, now: Now) -> State:
    p = car.profile
    zeros, banks = (0.0,) * p.cylinders, (0.0,) * len(p.banks)
    rail, rail_read = rail_of(car, broken, RATED[p.direct])
    return State(
        now=now,
        running=False,
        open_loop=True,
        air=0.0,
        air_read=0.0,
        manifold=BARO,
        manifold_read=manifold_read(broken, BARO),
        coolant_read=coolant_read(broken, now),
        intake=now.bay if now.hot_soaked else now.ambient,
        intake_read=intake_read(broken, now),
        phi=zeros,
        lam=banks,
        sensed=banks,
        trim=banks,
        short=banks,
        long=banks,
        wanted=banks,
        misses=zeros,
        torque=zeros,
        each=zeros,
        rail=rail,
        rail_target=RATED[p.direct],
        rail_read=rail_read,
        vapour=0.0,
        purge_duty=0.0,
        oil_vapour=0.0,
        tank_vacuum=6.0 * broken.vent_blocked,
        false_air=banks,
        on_ms=zeros,
        rear=banks,
    )


def sealed_leak(car: Car, broken: Broken, now: Now) -> float:
    """mm3/min that a shut-off rail loses at rated pressure: seats, and the pump's own valves (1 mm3/min, sound)."""
    own = 1.0 + 0.8 * abs(car.dice("pump").gauss(0, 1))
    return own + sum(leaking(car, broken, now, c) for c in range(1, car.profile.cylinders + 1))


def drained(car: Car, broken: Broken, now: Now) -> float:
    """Grams that run into a leaking cylinder while it stands: what the rail's fuel springs back by, then what little
    the low side pushes on. Fuel that warms in a closed rail is pushed out too."""
    leak = sum(leaking(car, broken, now, c) for c in range(1, car.profile.cylinders + 1) if broken.at(c) or broken.worn)
    if leak < 0.5:
        return 0.0
    if car.profile.direct:
        spring = 5.0 / (ph.PETROL_BULK / 1e6) * RAIL_LITRES * 1e6  # mm3 from 5 MPa down
        pushed = ph.PETROL_EXPANSION * 25 * RAIL_LITRES * 1e6
        volume = min(leak * now.soaked * 0.5, spring + pushed)
    else:
        volume = min(leak * now.soaked * 0.6, 2500.0)
    return volume * 1e-6 * ph.PETROL_DENSITY
