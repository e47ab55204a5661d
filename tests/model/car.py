"""The cars: what they are built of, what each has of its own, and in what ways a part can be broken.

Constants are common values of such engines, from memory, unless said otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from random import Random


@dataclass(frozen=True)
class Profile:
    """A kind of car, in the words of a vehicle file, and what the model needs of it."""

    name: str
    fields: Mapping[str, str]
    cylinders: int
    banks: tuple[tuple[int, ...], ...]
    litres: float

    def says(self, key: str, value: str) -> bool:
        return self.fields.get(key) == value

    @property
    def direct(self) -> bool:
        return self.says("injection", "direct")

    @property
    def charged(self) -> bool:
        return self.says("charging", "charged")

    @property
    def meters_air(self) -> bool:
        return self.says("metering", "airflow")

    @property
    def returns(self) -> bool:
        """A regulator on the rail with a return line and a vacuum hose."""
        return self.says("return line", "yes")

    @property
    def recirculates(self) -> bool:
        return self.says("gas recirculation", "yes")

    @property
    def flexible(self) -> bool:
        return self.says("flex fuel", "yes")


def _profile(name: str, layout: str, litres: float, injection: str, metering: str, **more: str) -> Profile:
    cylinders = int(layout.split()[1])
    every = tuple(range(1, cylinders + 1))
    banks = (every[0::2], every[1::2]) if layout.startswith("V") else (every,)
    said = {
        "name": name,
        "layout": layout,
        "injection": injection,
        "metering": metering,
        "charging": "natural",
        "return line": "no",
        "flex fuel": "no",
        "gas recirculation": "no",
        "displacement": f"{litres} L",
        **{key.replace("_", " "): value for key, value in more.items()},
    }
    return Profile(name, said, cylinders, banks, litres)


# What comes into the invented shop.
PROFILES = (
    _profile("white four", "inline 4", 2.0, "direct", "airflow", distance="150000 km"),
    _profile("silver turbo four", "inline 4", 1.4, "direct", "airflow", charging="charged", distance="120000 km"),
    _profile("black turbo four", "inline 4", 2.0, "direct", "pressure", charging="charged", distance="170000 km"),
    _profile("grey six", "V 6", 3.5, "direct", "airflow", distance="130000 km"),
    _profile("blue four", "inline 4", 1.8, "port", "airflow", return_line="yes", distance="210000 km"),
    _profile("red three", "inline 3", 1.0, "port", "pressure", distance="90000 km"),
    _profile("green six", "V 6", 3.0, "port", "airflow", return_line="yes", distance="240000 km"),
    _profile(
        "brown four",
        "inline 4",
        2.4,
        "port",
        "pressure",
        flex_fuel="yes",
        gas_recirculation="yes",
        distance="160000 km",
    ),
)


@dataclass(frozen=True)
class Broken:
    """In what a car is not as built, in physical amounts; all zero on a sound one. place: cylinder or bank of what has
    one (more: further cylinders that have the same, to a like degree)."""

    place: int = 0
    more: tuple[int, ...] = ()
    # air and its sensors
    meter_gain: float = 0.0  # share the air meter reads too much, at any flow
    meter_fouled: float = 0.0  # share too much at idle; passes zero at a cruise and is as much too little at full load
    manifold_kpa: float = 0.0  # manifold pressure sensor reads too much
    intake_ohms: float = 0.0  # in series with the intake air sensor
    coolant_ohms: float = 0.0  # in series with the coolant sensor
    coolant_shunt: float = 0.0  # siemens beside it: reads too hot
    cam_off: float = 0.0  # share of filling lost on a bank
    boost_leak: float = 0.0  # mm2 between compressor and throttle
    vents: float = 0.0  # share of the air between throttle and meter blown off at each lift
    throttle_jumps: float = 0.0  # share of extra fuel given for jumps that are no movement
    egr_share: float = 0.0  # share of exhaust gas in the manifold at idle
    back_pressure: float = 0.0  # kPa more before the turbine or catalyst at 60 g/s
    vacuum_leak: float = 0.0  # mm2 behind the throttle
    secondary_air: float = 0.0  # share of air let into the exhaust of a bank at idle
    # exhaust sensors
    sensor_bias: float = 0.0  # share by which the front sensor takes the mixture for richer than it is
    sensor_slow: float = 0.0  # seconds
    crossed: float = 0.0  # front sensors exchanged
    exhaust_leak: float = 0.0  # share of air drawn in before the sensor at idle
    # fuel
    leak: float = 0.0  # mm3/min past a shut seat, at rated pressure (10 MPa direct, 300 kPa port)
    soak_leak: float = 0.0  # the same, only while the tip is hotter than it runs
    worn: float = 0.0  # all injectors: leak in mm3/min each, and a share of flow for each 1000 of it
    late_ms: float = 0.0  # milliseconds an injector shuts late
    held_ms: float = 0.0  # milliseconds its drive is on too long
    flow: float = 0.0  # share of flow of an injector or of what is entered for it
    value_only: float = 0.0  # 1: the part is right, the value entered is not
    rail_over: float = 0.0  # share by which the rail stands above its target
    rail_reads_low: float = 0.0  # share the rail pressure sensor reads too little
    low_over: float = 0.0  # share by which the low side stands above its value
    pinched_return: float = 0.0  # 1: by the return line rather than the regulator
    diaphragm: float = 0.0  # g/s of fuel into the regulator's vacuum hose at idle
    damper: float = 0.0  # the same through a pulsation damper
    pump_seal: float = 0.0  # g of fuel a running hour into the oil
    short_trips: float = 0.0  # how short the owner's trips are made (0 to 1); nothing is broken
    purge_leak: float = 0.0  # mm2 of a purge valve that should be shut
    canister: float = 0.0  # share of the canister that is wet or will not give up its fuel
    vent_blocked: float = 0.0  # share of the vent's passage that is shut
    ethanol_over: float = 0.0  # volume share of ethanol that is believed beyond what is there
    bad_fuel: float = 0.0  # share of heavy or stale fuel in the tank
    oil_drawn: float = 0.0  # g/s of oil drawn in by the breather's hose and burnt, at idle vacuum
    overfilled: float = 0.0  # as canister, once, by a tank filled to the brim
    hose_by: float = 0.0  # mm2 of a hose led past the purge valve by earlier work
    low_reads_low: float = 0.0  # share the low-side pressure sensor reads too little
    flow_all: float = 0.0  # share of flow of all injectors, others fitted or another map
    ring_air: float = 0.0  # mm2 of air beside an injector's lower ring, into its cylinder
    seal: float = 0.0  # 1: compression is lost past an injector's combustion seal
    unit_gain: float = 0.0  # share by which the control unit makes every injection too long
    earth_shift: float = 0.0  # share by which a shared sensor earth lifts the air signal (and the coolant's)
    wrong_part: float = 0.0  # 1: the sensor is another part
    gas_leak: float = 0.0  # g/s of gas past a shut vaporiser on a converted car
    # the rest
    ignition: float = 0.0  # share of cycles without a spark, under load twice that
    compression: float = 0.0  # share of compression lost
    blow_by: float = 0.0  # times as much as usual, less one
    oil_over: float = 0.0  # litres of oil too much
    volts: float = 0.0  # less at the controller than at the battery

    def scaled(self, part: float) -> Broken:
        """The same, acting to a part (0: quiet)."""
        if part == 1.0:
            return self
        amounts = {name: part * value for name in AMOUNTS if (value := getattr(self, name))}
        return replace(self, **amounts)

    def at(self, cylinder: int) -> bool:
        return self.place == cylinder or cylinder in self.more

    @property
    def sound(self) -> bool:
        return all(not getattr(self, name) for name in (*AMOUNTS, *KEPT[2:]))


KEPT = ("place", "more", "pinched_return", "value_only", "short_trips", "oil_over", "canister", "seal", "wrong_part")
AMOUNTS = tuple(f.name for f in fields(Broken) if f.name not in KEPT)


@dataclass(frozen=True)
class Acts:
    """How often a broken part acts in a stretch of running: its own chance in each circumstance.

    base: otherwise. Each factor multiplies the odds where its circumstance holds. jumps: comes and goes in steps.
    """

    base: float = 1.0
    hot: float = 1.0  # engine bay hotter than in normal running: long idle, hot soak and restart
    cold: float = 1.0  # engine not warm
    soaked: float = 1.0  # restarted from a hot soak
    damp: float = 1.0
    shaken: float = 1.0
    idle: float = 1.0
    hard: float = 1.0  # in the minutes after it was driven hard
    jumps: bool = False
    once: bool = False  # on two days and never again

    def chance(self, *circumstances: str) -> float:
        if self.base >= 1.0:
            return 1.0
        odds = self.base / (1 - self.base)
        for circumstance in circumstances:
            odds *= getattr(self, circumstance)
        return odds / (1 + odds)


@dataclass(frozen=True)
class Car:
    """One car. breakage: the name of what is wrong (see `breakages`). Its own tolerances are drawn once.

    rich_code: total trim (share) at which its maker calls it too rich; watches_rich: which cells that code tells apart.
    """

    name: str
    profile: Profile
    breakage: str
    broken: Broken
    acts: Acts
    seed: str
    meter_offset: float = 0.0
    injectors: tuple[float, ...] = ()
    compressions: tuple[float, ...] = ()
    rich_code: float = 0.2
    closes_from: float = 8.0  # coolant temperature, as read, from which the loop is closed
    watches_from: float = 60.0  # coolant temperature from which the mixture is watched for codes
    splits_codes: bool = False
    watches_imbalance: bool = False
    watches_purge: bool = False
    enriches: bool = False
    takes_vapour: bool = False  # the canister takes the vapour of filling up, as some markets ask
    ambient: float = 15.0
    work_before: str = ""
    told: Mapping[str, str] = field(default_factory=dict)

    def dice(self, *what: object) -> Random:
        return Random("/".join(map(str, (self.seed, *what))))


def own_car(name: str, profile: Profile, breakage: str, broken: Broken, acts: Acts, seed: str, work: str = "") -> Car:
    """A car with tolerances of its own (standard deviations by judgement: meter 2 %, injectors 1.5, compression 2)."""
    dice = Random(f"{seed}/own")
    every = range(profile.cylinders)
    return Car(
        name,
        profile,
        breakage,
        broken,
        acts,
        seed,
        meter_offset=dice.gauss(0, 0.02),
        injectors=tuple(dice.gauss(0, 0.015) for _ in every),
        compressions=tuple(dice.gauss(0, 0.02) for _ in every),
        rich_code=dice.uniform(0.17, 0.25),
        closes_from=dice.uniform(-15, 20),
        watches_from=dice.uniform(30, 75),
        splits_codes=dice.random() < 0.15,
        watches_imbalance=dice.random() < 0.4,
        watches_purge=dice.random() < 0.5,
        enriches=dice.random() < (0.3 if profile.direct else 0.6),
        takes_vapour=dice.random() < 0.5,
        ambient=dice.gauss(14, 8),
        work_before=work,
    )
