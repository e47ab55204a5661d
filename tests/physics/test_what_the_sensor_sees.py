"""Where sensor and truth part: leaks before the sensor, a missing cylinder, a sensor that is off; and overrun.

lambda of a gas is what its oxygen and its unburnt add up to. A switching sensor and a wide-band one both weigh free
oxygen against what would burn with it; the loop holds what the sensor reads at 1.
"""

from __future__ import annotations

import pytest

from tests.physics.engine import STOICHIOMETRIC
from tests.physics.said import chance, rules, shows


def reads_with_air(true: float, drawn_in: float) -> float:
    """lambda at a sensor behind a leak that draws in so much air as a part of the engine's own."""
    return true * (1 + drawn_in)


def truth_held(drawn_in: float = 0.0, sensor_off: float = 0.0) -> float:
    """True lambda while the loop holds the reading at 1: the sensor adds `sensor_off`, a leak its air."""
    return (1.0 - sensor_off) / (1 + drawn_in)


def trim_held(true: float) -> float:
    """What the loop adds (positive) or takes to bring a sound engine to that lambda."""
    return 1 / true - 1


@pytest.mark.parametrize(
    ("fault", "true"),
    [
        ("exhaust-leak-upstream", truth_held(drawn_in=0.10)),
        ("secondary-air-leaks", truth_held(drawn_in=0.10)),
        ("upstream-sensor-lean", truth_held(sensor_off=0.08)),
        ("rear-sensor-biases-trim", truth_held(sensor_off=0.02)),
    ],
)
def test_told_lean_is_driven_rich(fault: str, true: float) -> None:
    """Trim up, truth rich: no rich code, but a lean one, and soot."""
    assert true < 1.0 < 1 + trim_held(true)
    book = rules()
    assert "false-lean" in book.faults[fault].acts_as
    usual = chance(book, "code-rich", "present", "truly-rich")
    assert chance(book, "code-rich", "present", fault) < 0.3 * usual
    assert chance(book, "code-sensor-lean", "present", fault) > 3 * chance(book, "code-sensor-lean", "present")
    assert chance(book, "code-lean-too", "present", fault) > chance(book, "code-lean-too", "present")
    assert chance(book, "smoke", "black", fault) > chance(book, "smoke", "black")


@pytest.mark.parametrize("fault", ["upstream-sensor-rich", "upstream-sensor-wiring"])
def test_told_rich_is_driven_lean(fault: str) -> None:
    """Trim down, truth lean: a rich code, and no soot."""
    true = truth_held(sensor_off=-0.08)
    assert true > 1.0 > 1 + trim_held(true)
    book = rules()
    assert chance(book, "code-rich", "present", fault) > 5 * chance(book, "code-rich", "present")
    assert chance(book, "code-sensor-rich", "present", fault) > 3 * chance(book, "code-sensor-rich", "present")
    assert chance(book, "code-sensor-lean", "present", fault) <= chance(book, "code-sensor-lean", "present")
    assert chance(book, "smoke", "black", fault) < chance(book, "smoke", "black")
    assert chance(book, "smell-of-fuel", "yes", fault) < chance(book, "smell-of-fuel", "yes")


def test_a_missing_cylinder_reads_lean() -> None:
    """One of four does not burn: a quarter of the oxygen, 5 %, goes out unburnt beside its fuel. On a sensor that burns
    what it can at its electrode the two would cancel; not all of the fuel does, and free oxygen wins (common practice).
    With half of it burnt at the electrode the reading is that of a gas with 2.6 % of free oxygen, lambda 1.13."""
    oxygen = 0.2095 / 4 / 2
    reading = 1 + oxygen / (0.2095 - oxygen)
    assert reading == pytest.approx(1.14, abs=0.02)
    book, misses = rules(), "misfire-look-alike"
    assert chance(book, "code-rich", "present", misses) <= chance(book, "code-rich", "present")
    assert chance(book, "code-lean-too", "present", misses) > 3 * chance(book, "code-lean-too", "present")
    assert chance(book, "trim-idle", "lean", misses) > chance(book, "trim-idle", "rich", misses)


def test_an_injector_that_gives_nothing_makes_the_others_rich() -> None:
    """One of four dry: the bank reads 4/3 of its air, the loop adds a third, and the other three stand at 0.75."""
    bank = 1 / (3 / 4)
    assert 1 / bank == pytest.approx(0.75)
    book, dry = rules(), "injector-gives-too-little"
    assert chance(book, "code-rich", "present", dry) < 0.3 * chance(book, "code-rich", "present", "truly-rich")
    assert chance(book, "code-lean-too", "present", dry) > chance(book, "code-lean-too", "present")


def test_on_overrun_a_leak_cannot_hide_the_air() -> None:
    """Fuel cut, throttle shut, 4 g/s of air from the wheels: a leak of 0.05 g/s gives lambda 5.5, full lean. Only the
    sensor itself, or an injector held open, keeps it from getting there."""
    full_lean = 4.0 / (0.05 * STOICHIOMETRIC)
    assert full_lean == pytest.approx(5.5, abs=0.1)
    book = rules()
    lies = chance(book, "overrun-watched", "not-lean", "upstream-sensor-rich")
    for leak in ("fuel-by-time", "purge-vapour", "injector-leaks", "regulator-diaphragm"):
        assert chance(book, "overrun-watched", "not-lean", leak) < 0.3 * lies
        assert chance(book, "overrun-watched", "not-lean", leak) < 2.5 * chance(book, "overrun-watched", "not-lean")


def test_fuel_on_the_port_walls_comes_back_as_the_manifold_empties() -> None:
    """Port injection wets the port: of each injection a part X stays, and the film gives off its fuel with a time
    constant tau (C. F. Aquino, SAE 810494, 1981: X 0.1 to 0.5, tau some tenths of a second to seconds; from memory).
    When the throttle shuts the film gives off more than is wanted, so for a moment the mixture is rich, on a sound
    engine too; 2 s later not. So a rich moment counts only where it lasts for seconds."""
    part, tau, step = 0.3, 0.6, 0.01
    film, needed = part * 1.0 * tau / 1.0, 1.0
    seen = []
    for _ in range(300):  # three seconds after the throttle shuts to a third of the fuel
        needed = 1 / 3
        given = needed
        off = film / tau
        film += step * (part * given - off)
        seen.append(((1 - part) * given + off) / needed)
    assert max(seen) > 1.2 and seen[200] == pytest.approx(1.0, abs=0.05)
    book = rules()
    assert chance(book, "overrun-watched", "rich-return") >= 0.03  # seen on a sound engine now and then
    assert chance(book, "doing-what", "lifting-off", "recirculating-valve-vents") > 5 * chance(
        book, "doing-what", "lifting-off"
    )


def test_air_blown_off_was_counted() -> None:
    """A charge pipe of 5 L at 180 kPa holds 4.6 g of air more than at 101 kPa. Let off to atmosphere, though
    counted, it leaves 0.3 g of fuel too much: two idle seconds. Rich for a moment, and no long trim."""
    counted = 5.0 * (180 - 101.3) / (0.287 * 300)
    fuel = counted / STOICHIOMETRIC
    assert counted == pytest.approx(4.6, abs=0.3) and fuel == pytest.approx(0.31, abs=0.03)
    book, vents = rules(), "recirculating-valve-vents"
    assert chance(book, "code-rich", "present", vents) < 0.4 * chance(book, "code-rich", "present", "truly-rich")
    assert shows(book, vents, "overrun") > 3 * shows(book, vents, "cruise")


# ---- four gases ----------------------------------------------------------------------------------------------------

CONSTANT, HYDROGEN = 3.5, 1.87  # water-gas at the temperature at which it stands still; H to C of petrol


def burnt(true: float) -> dict[str, float]:
    """Dry gas (parts) of petrol burnt at that lambda: CO, CO2, H2, O2, N2 of one CH1.87, by balance and water-gas.

    K = CO * H2O / (CO2 * H2) = 3.5, as in Brettschneider's formula (Bosch Techn. Berichte 6, 1979; from memory).
    """
    oxygen = true * (1 + HYDROGEN / 4)  # mol of O2 for each carbon
    nitrogen = oxygen * (1 - 0.2095) / 0.2095
    if true >= 1:
        gas = {"CO": 0.0, "CO2": 1.0, "H2": 0.0, "O2": oxygen - (1 + HYDROGEN / 4), "N2": nitrogen}
    else:
        low, high = 0.0, 1.0
        for _ in range(100):  # CO from the oxygen balance: 2 O2 = CO + 2 CO2 + H2O
            co = (low + high) / 2
            water = 2 * oxygen - co - 2 * (1 - co)
            hydrogen = HYDROGEN / 2 - water
            low, high = (co, high) if hydrogen > 0 and co * water < CONSTANT * (1 - co) * hydrogen else (low, co)
        gas = {"CO": co, "CO2": 1 - co, "H2": hydrogen, "O2": 0.0, "N2": nitrogen}
    total = sum(gas.values())
    return {name: part / total for name, part in gas.items()}


def test_a_rich_gas_has_carbon_monoxide_and_a_lean_one_oxygen() -> None:
    """0.9 has about 3.7 % of CO, 0.95 1.8 %, 1.05 1.1 % of O2 (the same to a tenth as a handbook's curve; memory)."""
    assert burnt(0.90)["CO"] == pytest.approx(0.037, abs=0.003)
    assert burnt(0.95)["CO"] == pytest.approx(0.018, abs=0.002)
    assert burnt(1.05)["O2"] == pytest.approx(0.011, abs=0.001)


def test_the_analyser_finds_the_sensor_that_is_off() -> None:
    """Off by 8 % the truth stands at 0.92 or 1.08, well outside 0.97 to 1.03; a real excess that the trim has taken
    away stands at 1. The rules have the answer that belongs to each far above a sound car's."""
    book, gas = rules(), "exhaust-gas"
    assert truth_held(sensor_off=0.08) < 0.97 and truth_held(sensor_off=-0.08) > 1.03
    assert chance(book, gas, "rich", "upstream-sensor-lean") > 5 * chance(book, gas, "rich")
    assert chance(book, gas, "lean", "upstream-sensor-rich") > 5 * chance(book, gas, "lean")
    assert chance(book, gas, "rich", "upstream-sensor-rich") <= chance(book, gas, "rich")
    assert chance(book, gas, "lean", "upstream-sensor-lean") <= chance(book, gas, "lean")
    for corrected in ("airflow-meter-high", "pressure-error", "fuel-by-injection"):
        assert chance(book, gas, "normal", corrected) > chance(book, gas, "rich", corrected)


def test_a_leak_before_the_sensor_is_rich_only_where_it_is_badly_mixed() -> None:
    """Well mixed, the loop holds exhaust and leaked air together at 1, and the tailpipe gets the same. Where the sensor
    stands nearer to the leak and gets twice the air, the tailpipe stands at 0.92 for a leak of a tenth."""
    even = truth_held(drawn_in=0.10) * (1 + 0.10)
    near = truth_held(drawn_in=0.20) * (1 + 0.10)
    assert even == pytest.approx(1.0) and near == pytest.approx(0.92, abs=0.01)
    book, gas = rules(), "exhaust-gas"
    leak, sensor = (chance(book, gas, "rich", f) for f in ("exhaust-leak-upstream", "upstream-sensor-lean"))
    assert chance(book, gas, "rich") < leak < sensor
