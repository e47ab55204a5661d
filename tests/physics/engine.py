"""A two-litre four, worked out from first principles. Nothing here is taken from the program or from its rules.

Units: g/s of air, mg of fuel an injection, kPa, trim as a part (-0.2 is twenty per cent taken away).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt

STOICHIOMETRIC = 14.6  # kg of air a kg of petrol CH1.87: (1 + 1.87 / 4) / 0.2095 * 28.965 / (12.011 + 1.008 * 1.87)
CYLINDERS = 4


@dataclass(frozen=True)
class Point:
    """Where the engine runs: air (g/s), manifold pressure (kPa) and crank speed (rpm)."""

    name: str
    air: float
    manifold: float
    speed: float

    @property
    def injection(self) -> float:
        """mg of fuel that each injection needs: every cylinder is filled every second turn."""
        return 1000.0 * self.air / STOICHIOMETRIC / (CYLINDERS * self.speed / 120.0)


# Air from displacement, filling and pressure at 313 K: m = filling * p / (R T) * V * n / 120.
IDLE = Point("idle", 3.3, 32.0, 700.0)
RAISED = Point("2500 rpm in neutral", 12.6, 32.0, 2500.0)
CRUISE = Point("cruise", 17.0, 55.0, 2000.0)
LOAD = Point("load", 47.0, 95.0, 3000.0)
POINTS = (IDLE, RAISED, CRUISE, LOAD)


@dataclass(frozen=True)
class Error:
    """What is wrong with the fuel at one point: factor on what was asked for, extra g/s, extra mg an injection."""

    factor: float = 1.0
    by_time: float = 0.0
    by_injection: float = 0.0


def trim(error: Error, point: Point) -> float:
    """By what part the loop changes what it asks for, so that air and fuel fit again.

    Asked q times the injection it needs: factor * q * mf + extra = mf, with the extra of a second or of an injection.
    """
    extra = error.by_time * STOICHIOMETRIC / point.air + error.by_injection / point.injection
    return (1.0 - extra) / error.factor - 1.0


def over_pressure(part: float) -> float:
    """Factor on fuel where the pressure across the injectors is more by this part: flow goes with its root."""
    return sqrt(1.0 + part)


# MPa in the rail of a direct engine, as such engines are usually mapped (from memory); flow goes with the root.
RAIL = {"idle": 5.0, "2500 rpm in neutral": 7.0, "cruise": 10.0, "load": 16.0}
DIRTY = {"idle": 0.18, "2500 rpm in neutral": 0.01, "cruise": -0.04, "load": -0.22}  # part by which the meter is off
Fault = Callable[[Point, float], Error]

# Each kind of fault by its degree, which is 1 where its largest trim over the four points is about -20 %.
FAULTS: dict[str, Fault] = {
    "by time": lambda p, d: Error(by_time=0.045 * d),
    "by injection": lambda p, d: Error(by_injection=2.0 * d),
    "late needle": lambda p, d: Error(by_injection=2.0 * d * sqrt(RAIL[p.name] / RAIL["idle"])),
    "scale": lambda p, d: Error(factor=1.0 + 0.25 * d),
    "pressure": lambda p, d: Error(factor=over_pressure(0.56 * d)),
    # A regulator held by hand against a manifold that pulls: pressure across the injector is more by a fixed amount.
    "manifold pressure": lambda p, d: Error(factor=1.0 + 8.0 * d / p.manifold),
    # Exhaust gas in the manifold counts as air. Through a valve held open it flows at the speed of sound as long as the
    # manifold is below half the exhaust's pressure: so much a second, whatever the engine takes.
    "recirculated gas": lambda p, d: Error(factor=1.0 + 8.0 * d / p.manifold * IDLE.air / p.air),
    # Lost between meter and throttle: 20 % of the air under boost. Without boost hardly any pressure drives it.
    "boost leak": lambda p, d: Error(factor=1.0 / (1.0 - 0.2 * d) if p is LOAD else 1.0),
    # A dirty element, as `test_air_mass_meter` works it out for 20 micrometres of dust: too much at idle, too little
    # under load. Twice as much dust, about twice the error at idle.
    "dirty element": lambda p, d: Error(factor=1.0 + DIRTY[p.name] * d),
    # 0.15 ms at 2.5 mg/ms for each degree of a supply that is read too low.
    "supply voltage": lambda p, d: Error(by_injection=0.15 * 2.5 * d),
    "barometer": lambda p, d: Error(factor=1.0 + 0.05 * d),
}
