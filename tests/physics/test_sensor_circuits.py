"""What a circuit's fault does to a reading: a resistance at the connector, a lifted earth, a short to the heater.

A usual temperature sensor falls in resistance with heat (NTC) and sits as the lower half of a divider fed with 5 V.
Two points of it are commonly printed, 2.5 kOhm at 20 degC and 0.24 kOhm at 90 degC (common values, from memory); the
curve between them is the usual exponential one.
"""

from __future__ import annotations

from functools import lru_cache
from math import exp, log

import pytest

from tests.physics.said import chance, rules, shows

PULL_UP = 2200.0  # ohm; a usual value, from memory. It cancels where only resistances are compared
KELVIN = 273.15


@lru_cache
def curve() -> tuple[float, float]:
    """(ohm at 20 degC, beta in K) of R = R20 * exp(beta * (1 / T - 1 / T20))."""
    cold, hot = 20 + KELVIN, 90 + KELVIN
    return 2500.0, log(2500.0 / 240.0) / (1 / cold - 1 / hot)


def resistance(celsius: float) -> float:
    at_twenty, beta = curve()
    return at_twenty * exp(beta * (1 / (celsius + KELVIN) - 1 / (20 + KELVIN)))


def reads(ohm: float) -> float:
    """degC that belong to a resistance."""
    at_twenty, beta = curve()
    return 1 / (1 / (20 + KELVIN) + log(ohm / at_twenty) / beta) - KELVIN


def error(celsius: float, added: float) -> float:
    """How much too cold (negative) or too hot the reading is with so many ohm added at the connector."""
    return reads(resistance(celsius) + added) - celsius


def voltage(celsius: float, earth: float = 0.0, added: float = 0.0) -> float:
    """What the ECU measures, with the sensor's earth lifted by so many volt."""
    lower = resistance(celsius) + added
    return earth + (5.0 - earth) * lower / (lower + PULL_UP)


def test_added_resistance_shows_little_cold_and_much_hot() -> None:
    assert error(20, 300) == pytest.approx(-3, abs=1)
    assert error(90, 300) == pytest.approx(-28, abs=3)


def test_so_the_warm_reading_is_the_strong_check() -> None:
    book = rules()
    cold = chance(book, "sensors-after-cold-soak", "coolant-low", "coolant-temperature-low")
    warm = chance(book, "coolant-against-thermometer", "reads-low", "coolant-temperature-low")
    assert cold < warm - 0.15
    for warm_too in ("warm-idle", "hot-restart", "cruise"):
        assert shows(book, "coolant-temperature-low", warm_too) > shows(book, "coolant-temperature-low", "cold-start")
    assert chance(book, "how-warm", "warm", "coolant-temperature-low") > chance(
        book, "how-warm", "warm", "warm-up-only"
    )


def test_resistance_raises_the_voltage_and_so_sets_the_high_codes() -> None:
    """Too cold is a voltage too high. The codes of the low voltage are those of a short, which reads hot: lean."""
    assert voltage(90, added=300) > voltage(90)
    book = rules()
    for check, high, low in (("code-coolant-open", "P0118", "P0117"), ("code-intake-open", "P0113", "P0112")):
        listed = [code for codes in book.checks[check].codes.values() for code in codes]
        assert high in listed and low not in listed


@pytest.mark.parametrize("celsius", [0, 20, 90])
def test_a_lifted_earth_reads_too_cold(celsius: float) -> None:
    """Every signal on the same earth is lifted: temperatures too cold, pressure and airflow too high, an upstream
    sensor of the switching kind too rich. All of these take the same direction, rich."""
    assert voltage(celsius, earth=0.2) > voltage(celsius)
    assert "scale-error" in rules().faults["sensor-supply-shared"].acts_as


def test_a_short_to_the_heater_lifts_a_switching_sensor_to_rich() -> None:
    """The sensor has megohms cold and kilohms hot; a leak of 100 kOhm from 13 V through it lifts 0.1 V to over 0.45 V.

    Above 0.45 V is rich for a switching sensor (zirconia cell against air, Nernst).
    """
    inner, leak = 5_000.0, 100_000.0
    lifted = (0.1 / inner + 13.0 / leak) / (1 / inner + 1 / leak)
    assert lifted > 0.45
    book = rules()
    assert "false-rich" in book.faults["upstream-sensor-wiring"].acts_as
    rich = chance(book, "code-sensor-rich", "present", "upstream-sensor-wiring")
    lean = chance(book, "code-sensor-lean", "present", "upstream-sensor-wiring")
    assert rich > 3 * lean


def test_a_leak_to_earth_pulls_a_switching_sensor_to_lean() -> None:
    """It takes a leak about as small as the hot sensor's own resistance, far less than one to the heater needs.

    So lean is the rarer half; a sensor that is not hot yet, with more resistance of its own, is pulled down sooner.
    """
    rich, inner = 0.8, 5_000.0

    def pulled(leak: float, own: float = inner) -> float:
        return rich * leak / (own + leak)

    assert pulled(6_000.0) < 0.45 < pulled(7_000.0)
    assert pulled(100_000.0) > 0.45 > pulled(100_000.0, own=100_000.0)
    book = rules()
    lean, high = (book.faults[name] for name in ("upstream-sensor-wiring-lean", "upstream-sensor-wiring"))
    assert "false-lean" in lean.acts_as and "6 kOhm" in lean.origin.because
    for way in ("port", "direct", "dual"):
        assert lean.share[way] < high.share[way]
    assert chance(book, "code-sensor-lean", "present", lean.name) > 3 * chance(
        book, "code-sensor-rich", "present", lean.name
    )


def test_the_lead_says_the_same_of_rain_and_of_being_moved_whichever_way_it_errs() -> None:
    book = rules()
    for check, outcome, times in (
        ("happens-in-damp", "yes", 2),
        ("wiring-moved-warmed", "sensor", 10),
        ("sensor-loom-moved", "jumps", 10),
    ):
        rich, lean = (
            chance(book, check, outcome, name) for name in ("upstream-sensor-wiring", "upstream-sensor-wiring-lean")
        )
        assert rich == lean > times * chance(book, check, outcome, "canister-loaded")
    for signed in ("trim-idle", "trim-2500", "trim-cruise"):
        assert chance(book, signed, "lean", "upstream-sensor-wiring-lean") > 0.5
        assert chance(book, signed, "lean", "upstream-sensor-wiring") < 0.1


def test_air_taken_for_colder_is_taken_for_denser() -> None:
    """Where air is reckoned from pressure: density goes with 1 / T. -40 read at 30 degC asks for 30 % more fuel."""
    more = (30 + KELVIN) / (-40 + KELVIN)
    assert more == pytest.approx(1.30, abs=0.01)
    fault = rules().faults["intake-temperature-low"]
    assert "scale-error" in fault.acts_as


def test_the_rules_say_so_too() -> None:
    """What `because` prints of it is what is worked out here."""
    because = rules().faults["coolant-temperature-low"].origin.because
    for figure in ("2.5 kOhm", "0.24 kOhm", "300 Ohm", "3 degC", "28 degC"):
        assert figure in because


def test_of_what_a_lifted_earth_moves_the_airflow_moves_most() -> None:
    """0.1 V: an air-mass meter's flow goes at least with the 4th power of its voltage (King's law, V^2 = A + B times
    the root of the flow; the offset A makes it steeper; 1.3 V at idle; from memory), so it reads a third too much or
    more; a warm coolant sensor reads some degrees too cold."""
    air = ((1.3 + 0.1) / 1.3) ** 4 - 1
    lifted = voltage(90, earth=0.1)
    cold = reads(PULL_UP * lifted / (5.0 - lifted)) - 90
    assert air == pytest.approx(0.35, abs=0.03) and -15 < cold < -3
    book = rules()
    moved = {
        n: chance(book, "against-own-quiet", n, "sensor-supply-shared") for n in ("air", "temperature", "only-trim")
    }
    assert moved["air"] > 2 * moved["temperature"] and moved["air"] > 2 * moved["only-trim"]
    alone = {n: chance(book, "airflow-meter-unplugged", n, "sensor-supply-shared") for n in ("right", "same")}
    assert alone["right"] > alone["same"]


def test_a_poor_earth_takes_the_meter_least_where_its_voltage_is_high() -> None:
    """The same 60 mV at 1.2, 1.9 and 3.5 V (idle, 2500 rpm, load; voltages of a usual hot film, from memory): less than
    half of the trim is left under load, but more than the quarter that a steady flow of fuel leaves at 2500 rpm. So
    neither the flat row of a wrong factor nor the fading one of a leak is its own."""
    idle, raised, load = (((v + 0.06) / v) ** -4 - 1 for v in (1.2, 1.9, 3.5))
    assert [round(100 * x) for x in (idle, raised, load)] == [-18, -12, -7]
    assert raised / idle > 0.5 and load / idle < 0.5
    book = rules()
    poor, factor, leak = (
        {o: chance(book, "trims-by-airflow", o, fault) for o in ("fades", "flat")}
        for fault in ("airflow-meter-intermittent", "airflow-meter-high", "injector-leaks")
    )
    assert factor["fades"] < poor["fades"] < leak["fades"]
    assert leak["flat"] < poor["flat"] < factor["flat"]


def test_a_bad_contact_reads_cold_long_before_it_reads_open() -> None:
    """2 to 9 kOhm in series with a sensor at 90 degrees: 20 down to -20, which a frame takes for a cold engine. So a
    contact that comes and goes is not known by -40 alone."""
    hot = resistance(90)
    read = [reads(hot + added) for added in (2000, 9000)]
    assert read == [pytest.approx(20, abs=5), pytest.approx(-13, abs=8)]
    book = rules()
    frame = [chance(book, "frame-coolant", o, "coolant-sensor-intermittent") for o in ("cool", "impossible")]
    assert min(frame) > 0.25


def test_a_rail_sensor_low_by_the_same_amount_enriches_idle_most() -> None:
    """2 MPa less shown than there is, at targets of 6, 8 and 18 MPa (idle, 2500 rpm, load; from memory): flow goes with
    the root of pressure, so a third of it is left under load. A wrong slope gives the same share everywhere."""
    idle, raised, load = (((target + 2) / target) ** 0.5 - 1 for target in (6, 8, 18))
    assert [round(100 * x) for x in (idle, raised, load)] == [15, 12, 5]
    book = rules()
    low, factor = (
        chance(book, "trims-by-airflow", "fades-with-load", f) for f in ("rail-sensor-low", "airflow-meter-high")
    )
    assert low > 4 * factor
