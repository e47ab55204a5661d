"""What a log can hold: quantities in plain words, their units, what can be, and the words a column may carry.

Wording of the parameters of service 01 in SAE J1979 / ISO 15031-5, annex B, and their short names in the same annex
(SHRTFT1, EVAP_PCT, ...); from memory. Bounds are what a sensor of this kind can say of a petrol car: common practice,
no source.
"""

from __future__ import annotations

from dataclasses import dataclass

TIME, DATE = "time", "date"
SPEED, ROAD, SINCE_START = "engine speed", "road speed", "time since start"
COOLANT, INTAKE, OUTSIDE, OIL = (
    "coolant temperature",
    "intake air temperature",
    "ambient temperature",
    "oil temperature",
)
AIRFLOW, MANIFOLD, BAROMETER = "airflow", "manifold pressure, absolute", "air pressure, absolute"
LOAD, ABSOLUTE_LOAD, THROTTLE, PEDAL = "calculated load", "absolute load", "throttle", "accelerator"
SHORT, LONG, TOTAL, LOOP = "short-term trim", "long-term trim", "total trim", "fuel system"
LAMBDA, LAMBDA_WANTED, SENSOR = "lambda", "lambda, commanded", "oxygen sensor"
PURGE, LEVEL, ETHANOL, FUEL_RATE = "purge, commanded", "fuel level", "ethanol in the fuel", "fuel rate"
RAIL, RAIL_WANTED, VOLTAGE, MISFIRES = "rail pressure", "rail pressure, commanded", "controller voltage", "misfires"


@dataclass(frozen=True)
class Quantity:
    """unit: what it is kept in. least, most: what can be, in that unit. usual: where its median lies in any log.

    at: "engine", "bank" or "cylinder". words: each entry a set of words that name it; a header has all of one set.
    never: words that say it is something else.
    """

    name: str
    unit: str
    least: float
    most: float
    words: tuple[str, ...]
    at: str = "engine"
    never: str = ""
    usual: tuple[float, float] | None = None

    @property
    def sets(self) -> tuple[frozenset[str], ...]:
        return tuple(frozenset(w.split()) for w in self.words)

    @property
    def not_with(self) -> frozenset[str]:
        return frozenset(self.never.split())


_LAMBDA_WORDS = (
    "lambda",
    "equivalence ratio",
    "eq rat",
    "fuel air equivalence ratio",
    "air fuel ratio",
    "afr",
    "oxygen sensor lambda",
    "oxygen sensor equivalence ratio",
    "oxygen sensor wide range equivalence ratio",
)

QUANTITIES: tuple[Quantity, ...] = (
    Quantity(TIME, "s", -1e12, 1e12, ("time", "timestamp", "elapsed", "elapsed time", "clock", "clock time", "seconds",
                                      "log time", "date time"), never="since start run"),
    Quantity(DATE, "", 0, 1e9, ("date",), never="time"),
    Quantity(SPEED, "rpm", 0, 16384, ("engine speed", "rpm", "engine rpm", "engine revolutions", "revs"),
             never="vehicle road turbine commanded"),
    Quantity(ROAD, "km/h", 0, 400, ("vehicle speed", "road speed", "vss", "speed", "vehicle speed sensor"),
             never="engine"),
    Quantity(SINCE_START, "s", 0, 1e6, ("time since start", "time since engine start", "run time", "engine run time",
                                        "runtm")),
    Quantity(COOLANT, "°C", -45, 150, ("coolant temperature", "engine coolant temperature", "ect", "coolant"),
             usual=(-40, 125)),
    Quantity(INTAKE, "°C", -45, 150, ("intake air temperature", "intake temperature", "iat"), usual=(-40, 90)),
    Quantity(OUTSIDE, "°C", -50, 70, ("ambient air temperature", "ambient temperature", "outside temperature",
                                      "outside air temperature", "aat"), usual=(-40, 50)),
    Quantity(OIL, "°C", -45, 180, ("engine oil temperature", "oil temperature", "eot"), usual=(-40, 150)),
    Quantity(AIRFLOW, "g/s", 0, 700, ("air flow rate", "mass air flow", "mass airflow", "mass air flow rate", "airflow",
                                      "air flow", "maf", "maf air flow rate"),
             never="temperature voltage commanded frequency", usual=(1.2, 150)),
    Quantity(MANIFOLD, "kPa", 0, 400, ("manifold absolute pressure", "intake manifold absolute pressure",
                                       "manifold pressure", "intake manifold pressure", "map"),
             never="commanded", usual=(15, 250)),
    Quantity(BAROMETER, "kPa", 45, 115, ("barometric pressure", "barometer", "ambient pressure", "ambient air pressure",
                                         "air pressure absolute", "barometric"), usual=(55, 108)),
    Quantity(LOAD, "%", 0, 255, ("calculated load", "calculated engine load", "engine load", "load", "load pct"),
             never="absolute"),
    Quantity(ABSOLUTE_LOAD, "%", 0, 500, ("absolute load", "load abs")),
    Quantity(THROTTLE, "%", 0, 101, ("throttle", "throttle position", "absolute throttle position", "tp", "tps"),
             never="commanded actuator accelerator relative"),
    Quantity(PEDAL, "%", 0, 101, ("accelerator", "accelerator pedal position", "accelerator position", "pedal",
                                  "pedal position", "app")),
    Quantity(SHORT, "%", -100, 100, ("short trim", "short fuel trim", "short term trim", "short term fuel trim",
                                     "stft", "shrtft"), "bank", never="secondary post rear oxygen"),
    Quantity(LONG, "%", -100, 100, ("long trim", "long fuel trim", "long term trim", "long term fuel trim",
                                    "ltft", "longft"), "bank", never="secondary post rear oxygen"),
    Quantity(TOTAL, "%", -100, 100, ("total trim", "total fuel trim"), "bank"),
    Quantity(LOOP, "", 0, 255, ("fuel system", "fuel system status", "fuelsys", "loop", "loop status", "closed loop"),
             "bank"),
    Quantity(LAMBDA, "", 0.3, 4, _LAMBDA_WORDS, "bank", never="commanded"),
    Quantity(LAMBDA_WANTED, "", 0.3, 4, tuple(f"commanded {w}" for w in _LAMBDA_WORDS)),
    Quantity(SENSOR, "V", 0, 5, ("oxygen sensor voltage", "oxygen sensor", "oxygen sensor output voltage"), "bank",
             never="lambda equivalence current heater trim"),
    Quantity(PURGE, "%", 0, 101, ("purge", "evaporative purge", "commanded purge", "commanded evaporative purge",
                                  "evaporative", "canister purge", "purge duty", "purge valve duty"),
             never="pressure"),
    Quantity(LEVEL, "%", 0, 101, ("fuel level", "fuel level input", "fuel tank level", "fli")),
    Quantity(ETHANOL, "%", 0, 101, ("ethanol", "alcohol fuel", "ethanol fuel", "alcohol fuel percentage", "alch pct")),
    Quantity(FUEL_RATE, "L/h", 0, 400, ("fuel rate", "engine fuel rate")),
    Quantity(RAIL, "kPa", 0, 60000, ("rail pressure", "fuel rail pressure", "fuel pressure", "fuel rail gauge pressure",
                                     "fuel rail absolute pressure", "frp"), never="commanded", usual=(150, 45000)),
    Quantity(RAIL_WANTED, "kPa", 0, 60000, ("commanded rail pressure", "commanded fuel rail pressure",
                                            "commanded fuel pressure", "commanded frp"), usual=(150, 45000)),
    Quantity(VOLTAGE, "V", 0, 36, ("controller voltage", "control module voltage", "vpwr", "battery voltage",
                                   "supply voltage")),
    Quantity(MISFIRES, "", 0, 65535, ("misfires", "misfire", "misfire count", "misfire counts", "misfires cylinder",
                                      "misfire cylinder", "misfire count cylinder"), "cylinder"),
)  # fmt: skip

BY_NAME = {q.name: q for q in QUANTITIES}


@dataclass(frozen=True, order=True)
class Key:
    """A quantity at a place: bank or cylinder from 1, 0 for the whole engine."""

    quantity: str
    place: int = 0

    def __str__(self) -> str:
        return f"{self.quantity}, {BY_NAME[self.quantity].at} {self.place}" if self.place else self.quantity
