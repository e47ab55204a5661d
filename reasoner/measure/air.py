"""Air that an engine takes: from speed and pressure, and how well it fills (four-stroke).

Heywood, Internal Combustion Engine Fundamentals (1988), eqs. 2.27 and 6.2 (volumetric efficiency), from memory.
"""

from __future__ import annotations

from reasoner.measure.uncertain import Estimate, Number, through

GAS_CONSTANT = 8.314462618 / 28.965e-3  # J/(kg K) of dry air: CODATA 2018 over the molar mass of dry air
KELVIN = 273.15


def air_flow(litres: float, rpm: float, pressure: float, filling: float, celsius: float) -> float:
    """Air in g/s of a four-stroke engine (speed-density).

    litres: swept volume of all cylinders. pressure: manifold, kPa absolute. filling: volumetric efficiency against
    manifold conditions, 0..1. celsius: charge temperature. Raises ValueError at or below absolute zero.
    """
    density = 1000.0 * pressure / (GAS_CONSTANT * _kelvin(celsius))  # kg/m3, which is g/L
    return density * litres * rpm / 120.0 * filling


def filling(flow: Number, litres: Number, rpm: Number, pressure: Number, celsius: Number) -> Estimate:
    """Volumetric efficiency (1 = full) that an air meter's g/s would mean, with its standard error.

    pressure, celsius: of the air it is counted against (kPa absolute). Above about 1 for a naturally aspirated engine
    the meter reads high, or the engine is not what was said. Raises ValueError unless speed, size, pressure are > 0.
    """
    return through(_filling, flow, litres, rpm, pressure, celsius)


def sensor_trim(believed: float, true: float) -> float:
    """Trim in % when the controller believes one amount of air (any unit) and the engine takes another."""
    return 100.0 * (true / believed - 1.0)


def temperature_trim(reads: float, true: float) -> float:
    """Trim in % of a speed-density engine whose intake temperature reads `reads` degC at `true` degC."""
    return sensor_trim(1.0 / _kelvin(reads), 1.0 / _kelvin(true))


def _kelvin(celsius: float) -> float:
    if celsius <= -KELVIN:
        raise ValueError(f"{celsius} degC is below absolute zero")
    return celsius + KELVIN


def _filling(flow: float, litres: float, rpm: float, pressure: float, celsius: float) -> float:
    full = air_flow(litres, rpm, pressure, 1.0, celsius)
    if full <= 0:
        raise ValueError("swept volume, speed and pressure are above 0")
    return flow / full
