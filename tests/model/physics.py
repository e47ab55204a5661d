"""Formulas of the engine model: air, burning, gas, injectors, fuel under pressure, sensors, vapour, oil.

Pure functions on plain numbers. Sources stand with each; `from memory` where a textbook was not opened again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

AIR_O2 = 0.2095  # volume share of oxygen in dry air: US Standard Atmosphere 1976
R_AIR = 287.05  # J/(kg K): R / 28.965 g/mol, US Standard Atmosphere 1976
GAMMA_AIR = 1.4
KELVIN = 273.15
HCV, OCV = 1.85, 0.0  # hydrogen and oxygen atoms for each carbon atom of petrol; 1.7 to 2.0 is usual, from memory
SHIFT_K = 3.5  # water-gas constant [CO][H2O]/[CO2][H2] as exhaust freezes at about 1740 K: Brettschneider 1979
MASS = {"C": 12.011, "H": 1.008, "O": 15.999, "N": 14.007}  # g/mol, IUPAC
N2_PER_O2 = (1 - AIR_O2) / AIR_O2  # everything in air that is not oxygen is carried as nitrogen
MOLAR_AIR = 28.965  # g/mol


def stoichiometric(hcv: float = HCV, ocv: float = OCV) -> float:
    """Mass of air for a mass of fuel CH(hcv)O(ocv) burnt whole: (1 + y/4 - z/2) O2 for each carbon (Heywood, 3.4)."""
    oxygen = 1 + hcv / 4 - ocv / 2
    return oxygen / AIR_O2 * MOLAR_AIR / (MASS["C"] + hcv * MASS["H"] + ocv * MASS["O"])


def blend_stoichiometric(ethanol: float) -> float:
    """The same for petrol with a volume share `ethanol` of C2H5OH. 745 and 789 kg/m3 at 15 to 20 C, from memory."""
    petrol, alcohol = 745 * (1 - ethanol), 789 * ethanol
    return (petrol * stoichiometric() + alcohol * stoichiometric(3.0, 0.5)) / (petrol + alcohol)


# ---- air -------------------------------------------------------------------------------------------------------------


def volumetric_efficiency(intake_kpa: float, exhaust_kpa: float, ratio: float = 10.0, gamma: float = 1.3) -> float:
    """Fresh charge over what fills the displacement at intake state: the ideal cycle with residual gas.

    Heywood 1988, eq. 5.37 and 6.2, without throttling and heating: r/(r-1) - [pe/pi + gamma - 1] / [gamma (r-1)].
    """
    return ratio / (ratio - 1) - (exhaust_kpa / intake_kpa + gamma - 1) / (gamma * (ratio - 1))


def air_flow(intake_kpa: float, exhaust_kpa: float, kelvin: float, litres: float, rpm: float, losses: float) -> float:
    """g/s of air that a four-stroke engine draws. losses: friction and heating, as a factor on the ideal."""
    swept = litres / 1000 * rpm / 120
    return 1000 * losses * volumetric_efficiency(intake_kpa, exhaust_kpa) * intake_kpa * 1000 * swept / (R_AIR * kelvin)


def choked_flow(mm2: float, kpa: float, kelvin: float, discharge: float = 0.8) -> float:
    """g/s of air through a hole into less than 0.528 of the pressure before it (any gas dynamics text)."""
    g = GAMMA_AIR
    factor = math.sqrt(g / R_AIR) * (2 / (g + 1)) ** ((g + 1) / (2 * (g - 1)))
    return 1000 * discharge * mm2 * 1e-6 * kpa * 1000 / math.sqrt(kelvin) * factor


def orifice_flow(mm2: float, kpa_before: float, kpa_behind: float, kelvin: float, discharge: float = 0.8) -> float:
    """g/s of air through a hole at any pressures (St. Venant; zero where nothing drives it)."""
    ratio = kpa_behind / kpa_before
    if ratio >= 1:
        return 0.0
    critical = (2 / (GAMMA_AIR + 1)) ** (GAMMA_AIR / (GAMMA_AIR - 1))
    if ratio <= critical:
        return choked_flow(mm2, kpa_before, kelvin, discharge)
    g = GAMMA_AIR
    flow = math.sqrt(2 * g / (g - 1) * (ratio ** (2 / g) - ratio ** ((g + 1) / g)))
    return 1000 * discharge * mm2 * 1e-6 * kpa_before * 1000 / math.sqrt(R_AIR * kelvin) * flow


# ---- burning and gas -------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Gas:
    """Moles for each mole of carbon in the fuel. hc: carbon that left as unburnt fuel."""

    co2: float = 0.0
    co: float = 0.0
    h2o: float = 0.0
    h2: float = 0.0
    o2: float = 0.0
    n2: float = 0.0
    hc: float = 0.0

    def plus(self, other: Gas, share: float = 1.0) -> Gas:
        return Gas(*(a + share * b for a, b in zip(self._all, other._all, strict=True)))

    @property
    def _all(self) -> tuple[float, ...]:
        return (self.co2, self.co, self.h2o, self.h2, self.o2, self.n2, self.hc)

    @property
    def dry(self) -> dict[str, float]:
        """Volume per cent as an analyser behind a cold trap reads them; hc in per cent of hexane, as shops read it."""
        total = self.co2 + self.co + self.h2 + self.o2 + self.n2 + self.hc / 6
        parts = {"co2": self.co2, "co": self.co, "o2": self.o2, "hc": self.hc / 6}
        return {name: 100 * part / total for name, part in parts.items()}


def burnt(phi: float, unburnt: float = 0.002, hcv: float = HCV, ocv: float = OCV) -> Gas:
    """Exhaust of a charge of equivalence ratio phi (1/lambda), a share `unburnt` of which left as it came in.

    Lean: all oxidised. Rich: the missing oxygen is shared between CO and H2 by the water-gas constant. Atoms are kept.
    """
    stoich = 1 + hcv / 4 - ocv / 2
    air = stoich / phi
    fuel = 1.0 - unburnt
    oxygen = air * fuel  # the same share of the air stays with the unburnt part
    left = air * unburnt
    nitrogen = air * N2_PER_O2
    if phi <= 1:
        return Gas(fuel, 0.0, fuel * hcv / 2, 0.0, left + oxygen - fuel * stoich, nitrogen, unburnt)
    atoms_o, atoms_h = 2 * oxygen + fuel * ocv, fuel * hcv
    # co2 + co = fuel; h2o + h2 = atoms_h/2; 2 co2 + co + h2o = atoms_o; co h2o = K co2 h2. Bisection on co.
    low, high = 0.0, fuel
    for _ in range(60):
        co = (low + high) / 2
        co2 = fuel - co
        h2o = atoms_o - 2 * co2 - co
        h2 = atoms_h / 2 - h2o
        if h2 < 0 or co * h2o > SHIFT_K * co2 * h2:
            high = co
        else:
            low = co
        if h2o < 0:
            low, high = co, high
    return Gas(fuel - co, co, h2o, max(h2, 0.0), left, nitrogen, unburnt)


def catalysed(gas: Gas, converts: float, hcv: float = HCV) -> Gas:
    """What a three-way catalyst leaves: CO, H2 and fuel are oxidised by what oxygen there is, a share `converts`."""
    need = (gas.co + gas.h2) / 2 + gas.hc * (1 + hcv / 4)
    if need <= 0:
        return gas
    part = converts * min(1.0, gas.o2 / need)
    co, h2, hc = part * gas.co, part * gas.h2, part * gas.hc
    used = (co + h2) / 2 + hc * (1 + hcv / 4)
    return Gas(
        gas.co2 + co + hc,
        gas.co - co,
        gas.h2o + h2 + hc * hcv / 2,
        gas.h2 - h2,
        gas.o2 - used,
        gas.n2,
        gas.hc - hc,
    )


def brettschneider(co2: float, co: float, o2: float, hc: float, hcv: float = HCV, ocv: float = OCV) -> float:
    """Lambda of dry exhaust gas in volume per cent (hc as hexane): Brettschneider 1979; EU directive 98/69/EC."""
    shift = hcv / 4 * SHIFT_K / (SHIFT_K + co / co2) - ocv / 2
    carbon = co2 + co + 6 * hc
    return (co2 + co / 2 + o2 + shift * (co2 + co)) / ((1 + hcv / 4 - ocv / 2) * carbon)


def torque_share(phi: float) -> float:
    """Work of a charge of phi over that of a stoichiometric one with the same air: best at phi 1.1, less either way.

    Shape from Taylor, The Internal-Combustion Engine, vol. 1 (fuel-air cycle: lean falls with the fuel, rich slowly).
    """
    if phi < 0.45:
        return 0.0
    if phi < 1.0:
        return 1 - 1.1 * (1 - phi)
    if phi < 1.1:
        return 1 + 0.3 * (phi - 1)
    return max(0.0, 1.03 - 0.55 * max(0.0, phi - 1.15))


def misses(phi: float) -> float:
    """Share of cycles that do not burn for mixture alone. A warm petrol engine runs from about 7 to 20 parts of air by
    mass (phi 2.1 to 0.7); from memory."""
    rich = 1 / (1 + math.exp(-(phi - 2.1) / 0.1))
    lean = 1 / (1 + math.exp((phi - 0.66) / 0.03))
    return rich + lean


# ---- injectors and fuel under pressure -------------------------------------------------------------------------------


def injector_flow(reference: float, reference_kpa: float, kpa: float) -> float:
    """Flow through a fixed orifice goes with the square root of the pressure across it (Bernoulli)."""
    return reference * math.sqrt(max(kpa, 0.0) / reference_kpa)


PETROL_BULK = 0.9e9  # Pa, petrol (between heptane and toluene) at about 40 C and 10 MPa; falls with heat
PETROL_EXPANSION = 1.15e-3  # 1/K, petrol at 20 to 60 C, again between heptane and toluene
PETROL_DENSITY = 745.0  # kg/m3 at 15 C: EN 228 allows 720 to 775


def pressure_lost(litres: float, leaked_mm3: float, bulk: float = PETROL_BULK) -> float:
    """MPa that a closed rail of stiff walls loses when so much fuel is let out: dp = K dV / V."""
    return bulk * leaked_mm3 * 1e-9 / (litres * 1e-3) / 1e6


def pressure_by_heat(kelvin: float, bulk: float = PETROL_BULK, expansion: float = PETROL_EXPANSION) -> float:
    """MPa gained by closed-in fuel that warms by so many kelvin: dp = K beta dT (stiff walls)."""
    return bulk * expansion * kelvin / 1e6


def half_life(litres: float, mpa: float, leak_mm3_min: float, bulk: float = PETROL_BULK) -> float:
    """Minutes until a closed rail has half its pressure. The leak is that at `mpa` and goes with the root of pressure:
    dp/dt = -(K/V) q sqrt(p/p0), so t = 2 (1 - sqrt(1/2)) p0 V / (K q)."""
    if leak_mm3_min <= 0:
        return 1e6
    volume = mpa * 1e6 * litres * 1e-3 / bulk * 1e9
    return 2 * (1 - math.sqrt(0.5)) * volume / leak_mm3_min


# ---- sensors ---------------------------------------------------------------------------------------------------------

NTC_R20, NTC_R90 = 2500.0, 240.0  # ohm; a common curve of coolant and air sensors, from memory
NTC_BETA = math.log(NTC_R20 / NTC_R90) / (1 / (20 + KELVIN) - 1 / (90 + KELVIN))


def ntc(celsius: float) -> float:
    """Ohms of the sensor: the beta equation through its two points."""
    return NTC_R20 * math.exp(NTC_BETA * (1 / (celsius + KELVIN) - 1 / (20 + KELVIN)))


def ntc_celsius(ohms: float) -> float:
    """What the control unit takes a resistance for; an open circuit reads -40."""
    if ohms >= ntc(-40):
        return -40.0
    return 1 / (1 / (20 + KELVIN) + math.log(ohms / NTC_R20) / NTC_BETA) - KELVIN


# ---- fuel in the oil, and vapour -------------------------------------------------------------------------------------


def oil_gives(fuel_g: float, celsius: float) -> float:
    """g/s that boils out of fuel held in hot oil: its light half, with a time constant of an hour at 95 C, doubling
    every 12 K (Clausius-Clapeyron for petrol's middle fractions, about 40 kJ/mol). Judgement on the hour."""
    return 0.5 * fuel_g / 3600 * 2 ** ((celsius - 95) / 12)


def oil_share(fuel_g: float, oil_litres: float) -> float:
    """Per cent of fuel in the oil by mass; oil of 850 kg/m3."""
    return 100 * fuel_g / (fuel_g + oil_litres * 850)


def vapour_pressure(celsius: float, at_37_8: float = 60.0) -> float:
    """kPa over petrol: Clausius-Clapeyron from its Reid value (EN 228 summer: at most 60), about 30 kJ/mol."""
    return at_37_8 * math.exp(-30000 / 8.314 * (1 / (celsius + KELVIN) - 1 / (37.8 + KELVIN)))


def vapour_share(celsius: float, at_37_8: float = 60.0) -> float:
    """Mass share of fuel in air that has stood over petrol (vapour of 65 g/mol; Dalton)."""
    p = min(vapour_pressure(celsius, at_37_8), 95.0)
    return p * 65 / (p * 65 + (101.3 - p) * MOLAR_AIR)
