"""A temperature sensor with resistance added at its connector: what a cold night shows of it, and what a warm engine.

The usual sensor falls from 2.5 kOhm at 20 degC to 0.24 kOhm at 90 degC, along R = a exp(B / T) (two-point fit; the two
values are typical, from memory). Added resistance is taken from 50 to 1500 Ohm, each size as likely as its double
(judgement: green pins and half-broken strands); a reading is compared to 5 K.
"""

from __future__ import annotations

from math import exp, log

import pytest

from tests.physics.said import chance, rules

COLD, WARM = 20.0, 90.0
OHMS = {COLD: 2500.0, WARM: 240.0}
B = log(OHMS[COLD] / OHMS[WARM]) / (1 / (COLD + 273.15) - 1 / (WARM + 273.15))
ADDED = [50.0 * 30.0 ** ((n + 0.5) / 60) for n in range(60)]
CIRCUIT = 0.8  # of faults of this sensor are in connector and wire, not in the bead (judgement)


def ohms(celsius: float) -> float:
    return OHMS[COLD] * exp(B * (1 / (celsius + 273.15) - 1 / (COLD + 273.15)))


def read(resistance: float) -> float:
    return 1 / (log(resistance / OHMS[COLD]) / B + 1 / (COLD + 273.15)) - 273.15


def error(added: float, celsius: float) -> float:
    return read(ohms(celsius) + added) - celsius


def beyond(limit: float, celsius: float) -> float:
    return sum(error(added, celsius) < -limit for added in ADDED) / len(ADDED)


def test_three_hundred_ohm_more() -> None:
    assert error(300, COLD) == pytest.approx(-2.7, abs=0.5)
    assert error(300, WARM) == pytest.approx(-28, abs=2)


def test_warm_shows_what_a_cold_night_hides() -> None:
    book = rules()
    cold = CIRCUIT * beyond(5, COLD) + (1 - CIRCUIT)
    warm = CIRCUIT * beyond(10, WARM) + (1 - CIRCUIT)
    said_cold = chance(book, "sensors-after-cold-soak", "coolant-low", "coolant-temperature-low")
    said_warm = sum(
        chance(book, "live-temperatures", said, "coolant-temperature-low") for said in ("coolant-low", "coolant-open")
    )
    assert warm > 1.5 * cold and said_warm > 1.5 * said_cold
    assert said_cold == pytest.approx(cold, abs=0.2)
    assert said_warm == pytest.approx(warm, abs=0.2)
    shown = (
        chance(book, "coolant-against-thermometer", said, "coolant-temperature-low")
        for said in ("reads-low", "reads-open")
    )
    assert sum(shown) >= said_warm
    half_warm = CIRCUIT * beyond(8, 40.0) + (1 - CIRCUIT)
    said = [chance(book, "coolant-as-it-warms", s, "coolant-temperature-low") for s in ("reads-low", "reads-open")]
    assert cold < half_warm < warm and sum(said) == pytest.approx(half_warm, abs=0.1)


def test_only_an_open_circuit_reads_a_warm_engine_at_minus_25() -> None:
    """What a contact adds, up to 9 kOhm, reads a warm engine no colder than -25 degC. So what does is an open circuit:
    the wiring that comes and goes rather than the sensor and its green connector."""
    assert min(error(added, WARM) + WARM for added in (*ADDED, 9000.0)) > -25 > read(60_000.0)
    book = rules()
    for check, outcome, still in (
        ("live-temperatures", "coolant-open", "coolant-low"),
        ("coolant-against-thermometer", "reads-open", "reads-low"),
        ("coolant-as-it-warms", "reads-open", "reads-low"),
        ("frame-coolant", "impossible", "cool"),
    ):
        wiring, sensor = (
            chance(book, check, outcome, fault) / chance(book, check, still, fault)
            for fault in ("coolant-sensor-intermittent", "coolant-temperature-low")
        )
        assert wiring > 4 * sensor


def test_more_resistance_never_reads_hot() -> None:
    assert all(error(added, celsius) < 0 for added in ADDED for celsius in (COLD, 40.0, WARM))
    hot = chance(rules(), "coolant-against-thermometer", "reads-high", "coolant-temperature-low")
    assert hot <= chance(rules(), "coolant-against-thermometer", "reads-high")


SUPPLY = 5.0  # V
PULL_UPS = (1000.0, 2200.0, 3300.0)  # Ohm, of the usual circuit (from memory)


def with_earth_raised(volt: float, pull_up: float, celsius: float) -> float:
    """What is read where the sensor's earth stands so many volts above the controller's."""
    signal = volt + (SUPPLY - volt) * ohms(celsius) / (ohms(celsius) + pull_up)
    return read(pull_up * signal / (SUPPLY - signal))


def test_a_raised_earth_reads_the_coolant_cold_and_hardly_the_air() -> None:
    """0.1 to 0.5 V: a warm coolant 4 to 33 K, air of 30 degC 1 to 7 K. So it is the coolant that shows it; half of all
    such faults are of the 5 V supply, which moves neither."""
    book, pairs = rules(), [(v, ohm) for v in (0.1, 0.2, 0.3, 0.4, 0.5) for ohm in PULL_UPS]
    coolant = [with_earth_raised(v, ohm, WARM) - WARM for v, ohm in pairs]
    air = [with_earth_raised(v, ohm, 30.0) - 30.0 for v, ohm in pairs]
    assert (min(coolant), max(coolant)) == (pytest.approx(-33, abs=1), pytest.approx(-4, abs=1))
    assert min(air) == pytest.approx(-7, abs=1) and all(3 * a > c for a, c in zip(air, coolant, strict=True))
    for check, least in (("live-temperatures", 15.0), ("coolant-against-thermometer", 8.0)):
        beyond_it = 0.55 * sum(-each > least for each in coolant) / len(coolant)
        outcome = "coolant-low" if check == "live-temperatures" else "reads-low"
        assert chance(book, check, outcome, "sensor-supply-shared") == pytest.approx(beyond_it, abs=0.08)
    said = [chance(book, "live-temperatures", which, "sensor-supply-shared") for which in ("coolant-low", "intake-low")]
    assert said[0] > 4 * said[1]
