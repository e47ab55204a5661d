"""Burnt gas mixed with charge that did not burn, or with leaked air: what lambda, HC and O2 then say.

Petrol CH1.87 and air, burnt with all oxygen used (rich) or left (lean), CO and hydrogen in the balance K = 3.5; lambda
by Brettschneider's formula (Bosch Technische Berichte 6, 1979; here with the fuel's 1.87). HC counts as hexane, and a
usual analyser sees about half of petrol's (Singer and Harley 1998).
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from tests.physics.said import chance, rules

H, AIR = 1.87, 1 / 0.2095  # hydrogen a carbon; moles of air a mole of oxygen
NEEDED = 1 + H / 4


@dataclass(frozen=True)
class Gas:
    """Dry, in moles a carbon of the fuel: of carbon that burnt, of fuel that did not, and of the rest."""

    co2: float
    co: float
    oxygen: float
    fuel: float
    other: float

    @property
    def dry(self) -> float:
        return self.co2 + self.co + self.oxygen + self.fuel / 6 + self.other

    def percent(self, of: float) -> float:
        return 100 * of / self.dry

    @property
    def hc(self) -> float:
        """Per cent as hexane."""
        return self.percent(self.fuel / 6)


def burnt(lam: float) -> Gas:
    oxygen = NEEDED * lam
    nitrogen = oxygen * (AIR - 1)
    if lam >= 1:
        return Gas(1.0, 0.0, oxygen - NEEDED, 0.0, nitrogen)
    low, high = 0.0, 1.0
    for _ in range(60):
        co = (low + high) / 2
        water = 2 * oxygen - co - 2 * (1 - co)
        hydrogen = H / 2 - water
        if water <= 0 or (hydrogen > 0 and co * water / ((1 - co) * hydrogen) < 3.5):
            low = co
        else:
            high = co
    water = 2 * oxygen - co - 2 * (1 - co)
    return Gas(1 - co, co, 0.0, 0.0, nitrogen + H / 2 - water)


def with_misses(lam: float, part: float) -> Gas:
    """This part of the charges came through as it went in."""
    gas = burnt(lam)
    raw = Gas(0.0, 0.0, NEEDED * lam, 1.0, NEEDED * lam * (AIR - 1))
    return Gas(*((1 - part) * a + part * b for a, b in zip(vars(gas).values(), vars(raw).values(), strict=True)))


def with_air(lam: float, more: float) -> Gas:
    """Leaked air, as a part of the air that the engine took."""
    gas = burnt(lam)
    extra = NEEDED * lam * more
    return Gas(gas.co2, gas.co, gas.oxygen + extra, gas.fuel, gas.other + extra * (AIR - 1))


def brettschneider(gas: Gas, seen: float = 1.0, hexane: float = 6.0) -> float:
    co2, co, o2, hc = gas.percent(gas.co2), gas.percent(gas.co), gas.percent(gas.oxygen), seen * gas.hc
    water = H / 4 * 3.5 / (3.5 + co / co2)
    return (co2 + co / 2 + o2 + water * (co2 + co)) / ((1 + H / 4) * (co2 + co + hexane * hc))


def unburnt(gas: Gas) -> bool:
    """As the check has it: HC and O2 both, each for 4 % of the charge and more."""
    fuel = gas.fuel / (gas.fuel + gas.co2 + gas.co)
    oxygen = gas.oxygen / (gas.oxygen + NEEDED * (gas.co2 + gas.co))
    return min(fuel, oxygen) > 0.04


@pytest.mark.parametrize("lam", [0.85, 0.95, 1.0, 1.05, 1.15])
def test_lambda_comes_back(lam: float) -> None:
    assert brettschneider(burnt(lam)) == pytest.approx(lam, abs=0.002)


def test_a_misfire_does_not_change_lambda_but_reads_lean_on_an_analyser() -> None:
    """The loop meanwhile sees the oxygen and adds fuel. So lambda alone says little of a misfire, and leans to lean."""
    gas = with_misses(1.0, 0.12)
    assert brettschneider(gas) == pytest.approx(1.0, abs=0.005)
    assert brettschneider(gas, seen=0.5) > 1.05
    said = {n: chance(rules(), "exhaust-gas", n, "misfire-look-alike") for n in ("rich", "lean")}
    assert said["lean"] > 3 * said["rich"] and said["lean"] > 5 * chance(rules(), "exhaust-gas", "lean")


def test_only_unburnt_charge_has_both() -> None:
    book = rules()
    assert unburnt(with_misses(1.0, 0.06)) and unburnt(with_misses(1.05, 0.25))
    assert not unburnt(burnt(0.85)) and not unburnt(with_air(1.0, 0.2)) and not unburnt(burnt(1.15))
    assert chance(book, "exhaust-unburnt", "high", "misfire-look-alike") > 0.6
    for other in ("truly-rich", "false-rich", "false-lean"):
        assert chance(book, "exhaust-unburnt", "high", other) < 0.15


def asked(part: float, of: int = 4, burnt_there: float = 0.25) -> float:
    """Trim that the loop asks for where one of so many misses a part of its charges: the sensor counts their oxygen,
    and of their fuel what burns on its surface (a quarter; judgement)."""
    missed = part / of
    return missed * (1 - burnt_there) / (1 - missed)


def test_only_a_heavy_misfire_takes_the_trim_beyond_ten_per_cent() -> None:
    """A quarter of one cylinder's charges asks for 5 to 7 %, four in ten for about 10: people notice less than that."""
    assert asked(0.25) == pytest.approx(0.05, abs=0.005) and asked(0.25, burnt_there=0.0) == pytest.approx(
        0.067, abs=0.002
    )
    assert asked(0.4) < 0.10 < asked(0.55) and asked(0.4, burnt_there=0.0) > 0.10
    book = rules()
    lean = chance(book, "trim-idle", "lean", "misfire-look-alike")
    assert 5 * chance(book, "trim-idle", "lean") < lean < 0.4
    seen = {n: chance(book, "short-vs-long", n, "misfire-look-alike") for n in ("added", "overshoots", "quiet")}
    assert seen["quiet"] == pytest.approx(seen["added"] + seen["overshoots"], abs=0.12)


def test_a_dry_cylinder_gives_oxygen_and_no_fuel() -> None:
    """One of four without fuel: a quarter of the air comes through, lambda 1.33 before the loop adds fuel."""
    gas = with_air(1.0, 1 / 3)
    assert brettschneider(gas) == pytest.approx(4 / 3, abs=0.01) and not unburnt(gas)
    dry = chance(rules(), "exhaust-unburnt", "high", "injector-gives-too-little")
    assert dry < 0.3 * chance(rules(), "exhaust-unburnt", "high", "ignition-misfire")


def test_leaked_air_cannot_be_told_from_a_lean_mixture_by_the_gases() -> None:
    """Same carbon, same oxygen: so the check has no answer for it by CO and CO2, and asks how it goes with speed."""
    leaked, lean = with_air(1.0, 0.12), burnt(1.12)
    for one, other in zip(vars(leaked).values(), vars(lean).values(), strict=True):
        assert one == pytest.approx(other, abs=1e-9)
    assert [o.name for o in rules().checks["exhaust-gas"].outcomes] == ["normal", "rich", "lean"]


def test_who_lies_is_seen_in_lambda() -> None:
    """The loop holds what the sensor says at 1: one that reads a tenth rich leaves a tenth lean, and the other way."""
    book = rules()
    assert chance(book, "exhaust-gas", "lean", "upstream-sensor-rich") > 10 * chance(book, "exhaust-gas", "lean")
    assert chance(book, "exhaust-gas", "rich", "upstream-sensor-lean") > 10 * chance(book, "exhaust-gas", "rich")
    for fault in ("upstream-sensor-rich", "upstream-sensor-wiring"):
        assert chance(book, "exhaust-gas", "rich", fault) < chance(book, "exhaust-gas", "rich")
