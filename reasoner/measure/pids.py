"""Data of services 01 and 02 as numbers: scaling of the parameters that matter for mixture.

SAE J1979 / ISO 15031-5, annex B, from memory. Lambda in PIDs 24-2B, 34-3B and 44 is the air-fuel sense: below 1 rich.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

Scaling = Callable[[bytes], "float | str | None"]


@dataclass(frozen=True)
class DecodedValue:
    """One decoded quantity. value None: the vehicle says that it has none (an unused sensor)."""

    name: str
    value: float | str | None
    unit: str = ""


@dataclass(frozen=True)
class Pid:
    """length: data bytes. fields: (name, unit, scale), each from all the data bytes."""

    length: int
    fields: tuple[tuple[str, str, Scaling], ...]

    def decode(self, data: bytes) -> tuple[DecodedValue, ...]:
        """The quantities in exactly `length` bytes. Raises ValueError on another number of them."""
        if len(data) != self.length:
            raise ValueError(f"{self.length} data bytes, not {len(data)}")
        return tuple(DecodedValue(name, scale(data), unit) for name, unit, scale in self.fields)


@dataclass(frozen=True)
class Readiness:
    """PID 01. supported: monitors the car has; waiting: those of them not complete since the codes were cleared."""

    lamp: bool
    codes: int
    compression_ignition: bool
    supported: tuple[str, ...]
    waiting: tuple[str, ...]


CONTINUOUS = ("misfire", "fuel system", "components")
ONCE_A_TRIP = (
    "catalyst",
    "heated catalyst",
    "fuel vapour system",
    "secondary air",
    "air conditioning or particulate filter",
    "oxygen sensor",
    "oxygen sensor heater",
    "exhaust gas recirculation or valve timing",
)
LOOPS = {
    0x00: "not in use",
    0x01: "open loop: not yet warm enough",
    0x02: "closed loop",
    0x04: "open loop: load or overrun",
    0x08: "open loop: fault",
    0x10: "closed loop with a sensor fault",
}


def readiness(data: bytes) -> Readiness:
    """PID 01 of a spark-ignition engine, four bytes. A completion bit of 1 means NOT complete. Raises ValueError."""
    if len(data) != 4:
        raise ValueError(f"4 data bytes, not {len(data)}")
    a, b, c, d = data
    supported = [n for i, n in enumerate(CONTINUOUS) if b >> i & 1] + [
        n for i, n in enumerate(ONCE_A_TRIP) if c >> i & 1
    ]
    waiting = [n for i, n in enumerate(CONTINUOUS) if b >> i & b >> i + 4 & 1]
    waiting += [n for i, n in enumerate(ONCE_A_TRIP) if c >> i & d >> i & 1]
    return Readiness(bool(a & 0x80), a & 0x7F, bool(b & 0x08), tuple(supported), tuple(waiting))


LOOP_NUMBERS = {text: byte for byte, text in LOOPS.items()}


def loop(byte: int) -> str:
    """Fuel system status of PID 03, one byte; exactly one bit may be set."""
    return LOOPS.get(byte, f"unknown status {byte:02X}")


def word(data: bytes, at: int = 0) -> int:
    """Two bytes, high byte first."""
    return data[at] << 8 | data[at + 1]


def _percent(data: bytes) -> float:
    return data[0] * 100 / 255


def _trim(byte: int) -> float:
    return (byte - 128) * 100 / 128


def _ratio(data: bytes) -> float:
    return word(data) * 2 / 65536


def _one(length: int, name: str, unit: str, scale: Scaling) -> Pid:
    return Pid(length, ((name, unit, scale),))


def _sensor(pid: int, first: int) -> str:
    """Where an oxygen sensor is, with the numbering for up to two banks (PID 13 in use)."""
    bank, sensor = divmod(pid - first, 4)
    return f"bank {bank + 1} sensor {sensor + 1}"


PIDS: dict[int, Pid] = {
    0x03: Pid(2, (("fuel system 1", "", lambda d: loop(d[0])), ("fuel system 2", "", lambda d: loop(d[1])))),
    0x04: _one(1, "calculated load", "%", _percent),
    0x05: _one(1, "coolant temperature", "°C", lambda d: d[0] - 40.0),
    0x06: _one(1, "short-term trim, bank 1", "%", lambda d: _trim(d[0])),
    0x07: _one(1, "long-term trim, bank 1", "%", lambda d: _trim(d[0])),
    0x08: _one(1, "short-term trim, bank 2", "%", lambda d: _trim(d[0])),
    0x09: _one(1, "long-term trim, bank 2", "%", lambda d: _trim(d[0])),
    0x0A: _one(1, "fuel pressure above air", "kPa", lambda d: 3.0 * d[0]),
    0x0B: _one(1, "manifold pressure, absolute", "kPa", lambda d: float(d[0])),
    0x0C: _one(2, "engine speed", "rpm", lambda d: word(d) / 4),
    0x0D: _one(1, "road speed", "km/h", lambda d: float(d[0])),
    0x0E: _one(1, "ignition timing", "°", lambda d: d[0] / 2 - 64),
    0x0F: _one(1, "intake air temperature", "°C", lambda d: d[0] - 40.0),
    0x10: _one(2, "airflow", "g/s", lambda d: word(d) / 100),
    0x11: _one(1, "throttle", "%", _percent),
    0x1F: _one(2, "time since start", "s", lambda d: float(word(d))),
    0x21: _one(2, "distance with the engine light on", "km", lambda d: float(word(d))),
    0x22: _one(2, "fuel pressure above manifold", "kPa", lambda d: word(d) * 5177.265 / 65535),
    0x23: _one(2, "fuel pressure above air", "kPa", lambda d: 10.0 * word(d)),
    0x2C: _one(1, "exhaust gas recirculation, commanded", "%", _percent),
    0x2E: _one(1, "purge, commanded", "%", _percent),
    0x2F: _one(1, "fuel level", "%", _percent),
    0x30: _one(1, "warm-ups since codes were cleared", "", lambda d: float(d[0])),
    0x31: _one(2, "distance since codes were cleared", "km", lambda d: float(word(d))),
    0x33: _one(1, "air pressure, absolute", "kPa", lambda d: float(d[0])),
    0x42: _one(2, "controller voltage", "V", lambda d: word(d) / 1000),
    0x43: _one(2, "absolute load", "%", lambda d: word(d) * 100 / 255),
    0x44: _one(2, "lambda, commanded", "", _ratio),
    0x45: _one(1, "throttle, relative", "%", _percent),
    0x46: _one(1, "ambient temperature", "°C", lambda d: d[0] - 40.0),
    0x4D: _one(2, "time with the engine light on", "min", lambda d: float(word(d))),
    0x4E: _one(2, "time since codes were cleared", "min", lambda d: float(word(d))),
    0x52: _one(1, "ethanol in the fuel", "%", _percent),
    0x59: _one(2, "rail pressure, absolute", "kPa", lambda d: 10.0 * word(d)),
    0x5C: _one(1, "oil temperature", "°C", lambda d: d[0] - 40.0),
    0x5E: _one(2, "fuel rate", "L/h", lambda d: word(d) * 0.05),
}
for _pid in range(0x14, 0x1C):
    _at = _sensor(_pid, 0x14)
    PIDS[_pid] = Pid(
        2,
        (
            (f"oxygen sensor, {_at}", "V", lambda d: d[0] * 0.005),
            (f"short-term trim, {_at}", "%", lambda d: None if d[1] == 0xFF else _trim(d[1])),
        ),
    )
for _pid in range(0x24, 0x2C):
    _at = _sensor(_pid, 0x24)
    PIDS[_pid] = Pid(4, ((f"lambda, {_at}", "", _ratio), (f"sensor, {_at}", "V", lambda d: word(d, 2) * 8 / 65536)))
for _pid in range(0x34, 0x3C):
    _at = _sensor(_pid, 0x34)
    PIDS[_pid] = Pid(4, ((f"lambda, {_at}", "", _ratio), (f"sensor, {_at}", "mA", lambda d: word(d, 2) / 256 - 128)))
