"""Pressure hold: how much fuel a falling pressure means, and how much of the fall is only cooling.

Liquid fuel in a closed rail: dV = V dp / K. Isothermal bulk modulus K and thermal expansion b: computed with CoolProp
8.0.0 (a general-purpose property library) for a surrogate petrol of n-octane 45, n-heptane 15, toluene 30 and ethanol
10 % by mass. Real petrol may differ by some 10 % (judgement); gas in the rail changes far more.
"""

from __future__ import annotations

from reasoner.measure.uncertain import Estimate, Number, through

TEMPERATURES = (20.0, 60.0, 90.0)  # degC
PRESSURES = (0.4, 5.0, 10.0, 20.0, 35.0)  # MPa
MODULUS = (  # MPa, by temperature and pressure
    (860.0, 911.0, 966.0, 1072.0, 1224.0),
    (622.0, 674.0, 729.0, 835.0, 986.0),
    (474.0, 527.0, 582.0, 688.0, 837.0),
)
EXPANSION = (0.00109, 0.00118, 0.00128)  # 1/K at 5 MPa, by temperature
STEEL = 3.6e-5  # 1/K, volume expansion of the rail: three times 1.2e-5; handbook value from memory
STEPS = 64  # of the integral over pressure


def bulk_modulus(celsius: float, pressure: float) -> float:
    """K in MPa at a temperature (degC) and pressure (MPa), linear between the table's points.

    Below 0.4 MPa as at 0.4. Raises ValueError outside 20 to 90 degC and 0 to 35 MPa.
    """
    if not 0.0 <= pressure <= PRESSURES[-1]:
        raise ValueError(f"{pressure} MPa lies outside 0 to {PRESSURES[-1]:g} MPa")
    pressure = max(pressure, PRESSURES[0])
    return _between(TEMPERATURES, [_between(PRESSURES, row, pressure) for row in MODULUS], celsius)


def expelled(litres: float, before: float, after: float, celsius: float) -> float:
    """mL of fuel that leave `litres` of rail and pipes as the pressure falls from `before` to `after` (MPa)."""
    width = (before - after) / STEPS
    shares = (1 / bulk_modulus(celsius, after + (i + 0.5) * width) for i in range(STEPS))
    return 1000.0 * litres * width * sum(shares)


def leak_rate(litres: Number, drop: Number, minutes: float, modulus: Number) -> Estimate:
    """mm3/min that a fall of `drop` MPa in `minutes` means, of `litres` with a bulk modulus in MPa.

    Only where the temperature stayed the same. Raises ValueError unless minutes > 0.
    """
    if minutes <= 0:
        raise ValueError("a pressure needs time to fall")
    return through(lambda v, p, k: 1e6 * v * p / k / minutes, litres, drop, modulus)


def temperature_pull(celsius: float, pressure: float) -> float:
    """MPa that the pressure of a closed rail falls for each kelvin of cooling: K (b - expansion of steel)."""
    return bulk_modulus(celsius, pressure) * (_between(TEMPERATURES, EXPANSION, celsius) - STEEL)


def leak_after_cooling(
    litres: Number, drop: Number, minutes: float, cooled: Number, celsius: float, pressure: float
) -> Estimate:
    """mm3/min left of a fall in pressure (MPa) once `cooled` kelvin of cooling are allowed for.

    celsius, pressure: the middle of the test. About 1 MPa of every kelvin is no leak at all: unless the cooling is
    known to a fraction of a kelvin, a slow fall of a direct-injection rail proves nothing, and the error says so.
    """
    if minutes <= 0:
        raise ValueError("a pressure needs time to fall")
    pull, modulus = temperature_pull(celsius, pressure), bulk_modulus(celsius, pressure)
    return through(lambda v, p, t: 1e6 * v * (p - pull * t) / modulus / minutes, litres, drop, cooled)


def line_leak(give: Number, drop: Number, minutes: float) -> Estimate:
    """mm3/min of a low-pressure line that gives `give` mL for each kPa (damper, hoses), from its fall in kPa."""
    if minutes <= 0:
        raise ValueError("a pressure needs time to fall")
    return through(lambda g, p: 1000.0 * g * p / minutes, give, drop)


def emptying(litres: float, pressure: float, leak: float, celsius: float) -> float:
    """Seconds in which a leak of `leak` mL/min at `pressure` (MPa) takes all of it, slowing with its square root.

    Raises ValueError unless leak > 0.
    """
    if leak <= 0:
        raise ValueError("without a leak it never empties")
    return 2 * 60.0 * 1000.0 * litres * pressure / bulk_modulus(celsius, pressure) / leak


def _between(points: tuple[float, ...], values: tuple[float, ...] | list[float], at: float) -> float:
    if not points[0] <= at <= points[-1]:
        raise ValueError(f"{at:g} lies outside {points[0]:g} to {points[-1]:g}")
    for low, high, a, b in zip(points, points[1:], values, values[1:], strict=False):
        if at <= high:
            return a + (b - a) * (at - low) / (high - low)
    return values[-1]
