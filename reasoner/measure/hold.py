"""Pressure hold: how much fuel a falling pressure means, and how much of the fall is only cooling.

Liquid fuel in a closed rail: dV = V dp / K. Isothermal bulk modulus K and thermal expansion b: computed with CoolProp
8.0.0 (a general-purpose property library) for a surrogate petrol of n-octane 45, n-heptane 15, toluene 30 and ethanol
10 % by mass, volumes added up. By the same library a petrol with light ends (isopentane and n-hexane, as for winter) is
softer: up to a fifth at 20 degC, a third at 90 degC and 5 MPa; it expands more, so that its pull by temperature is only
up to a sixth less. Gas in the rail changes far more.
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
EXPANSION = (  # 1/K, by temperature and pressure: a fifth less at 35 MPa than without pressure
    (0.00113, 0.00109, 0.00106, 0.00099, 0.00092),
    (0.00124, 0.00118, 0.00113, 0.00104, 0.00094),
    (0.00136, 0.00128, 0.00120, 0.00109, 0.00097),
)
SOFTER, WIDER = 0.2, 0.12  # of K and of b, standard errors of a petrol of unknown make-up; they go together: above
STEEL = 3.6e-5  # 1/K, volume expansion of the rail: three times 1.2e-5; handbook value from memory


def bulk_modulus(celsius: float, pressure: float) -> float:
    """K in MPa at a temperature (degC) and pressure (MPa), linear between the table's points.

    Below 0.4 MPa as at 0.4. Raises ValueError outside 20 to 90 degC and 0 to 35 MPa.
    """
    return _of(MODULUS, celsius, pressure)


def expansion(celsius: float, pressure: float) -> float:
    """Thermal expansion in 1/K at constant pressure, at a temperature and pressure; read as `bulk_modulus`."""
    return _of(EXPANSION, celsius, pressure)


def temperature_pull(celsius: float, pressure: float) -> float:
    """MPa that the pressure of a closed rail falls for each kelvin of cooling: K (b - expansion of steel)."""
    return bulk_modulus(celsius, pressure) * (expansion(celsius, pressure) - STEEL)


def leak_after_cooling(
    litres: Number, drop: Number, minutes: float, cooled: Number, celsius: float, pressure: float
) -> Estimate:
    """mm3/min left of a fall in pressure (MPa) once `cooled` kelvin of cooling are allowed for.

    celsius, pressure: the middle of the test. About 1 MPa of every kelvin is no leak at all: unless the cooling is
    known to a fraction of a kelvin, a slow fall of a direct-injection rail proves nothing, and the error says so. It
    also carries what the petrol may be made of.
    """
    if minutes <= 0:
        raise ValueError("a pressure needs time to fall")
    modulus, grows = bulk_modulus(celsius, pressure), expansion(celsius, pressure)

    def lost(volume: float, fall: float, kelvin: float, light: float) -> float:
        shrunk = (grows * (1 + WIDER * light) - STEEL) * kelvin
        return 1e6 * volume * (fall / (modulus * (1 - SOFTER * light)) - shrunk) / minutes

    return through(lost, litres, drop, cooled, Estimate(0.0, 1.0))


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


def _of(table: tuple[tuple[float, ...], ...], celsius: float, pressure: float) -> float:
    if not 0.0 <= pressure <= PRESSURES[-1]:
        raise ValueError(f"{pressure} MPa lies outside 0 to {PRESSURES[-1]:g} MPa")
    pressure = max(pressure, PRESSURES[0])
    return _between(TEMPERATURES, [_between(PRESSURES, row, pressure) for row in table], celsius)


def _between(points: tuple[float, ...], values: tuple[float, ...] | list[float], at: float) -> float:
    if not points[0] <= at <= points[-1]:
        raise ValueError(f"{at:g} lies outside {points[0]:g} to {points[-1]:g}")
    for low, high, a, b in zip(points, points[1:], values, values[1:], strict=False):
        if at <= high:
            return a + (b - a) * (at - low) / (high - low)
    return values[-1]
