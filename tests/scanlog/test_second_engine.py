"""The second engine keeps to physics, to the standard's scalings and to its own truth."""

from __future__ import annotations

import csv
import io
from collections import Counter
from math import sqrt

import numpy as np
import pytest

from tests.scanlog import second_drives as frozen
from tests.scanlog import second_tool as tools
from tests.scanlog.second_engine import (
    FAMILIES,
    R_AIR,
    STEP,
    Array,
    Engine,
    Fault,
    Leg,
    Run,
    draw_engine,
    drive,
    orifice,
    stretches,
)

LEGS = [Leg("idle", 240), Leg("road", 240), Leg("idle", 120), Leg("motorway", 240), Leg("town", 120)]
ALWAYS = ((0.0, 1e5),)


def plain(seed: int = 1, **more: object) -> Engine:
    """An engine without errors of its own, that learns nothing and purges nothing, so that one thing shows alone."""
    fixed: dict[str, object] = {"cylinders": 6, "banks": 2, "base": (0.0, 0.0), "ripple": 0.0, "learn_time": 1e9}
    fixed |= {"cells": (1, 1), "purge_area": 1e-12, "charged": False, "boost": 1.0, "direct": True, "film": 0.03}
    fixed |= {"wide": True, "metering": "flow", "enrich_at": 2.0, "litres": 3.0}
    return draw_engine(np.random.default_rng(seed), **(fixed | more))


def run(engine: Engine, fault: Fault, legs: list[Leg] = LEGS, seed: int = 5, coolant: float = 88.0) -> Run:
    return drive(engine, legs, fault, np.random.default_rng(seed), coolant)


def trim(r: Run, bank: int = 0) -> Array:
    start = r.long[bank, 0]  # calibration noise that was learned before
    return np.asarray((1 + r.short[bank]) * (1 + r.long[bank]) / (1 + start) - 1)


def settled(r: Run, seconds: float = 6.0) -> np.ndarray:
    """Moments in closed loop since some seconds, with the airflow within 10 % all that time."""
    n = round(seconds / STEP)
    air = r.air.cylinders
    windows = np.lib.stride_tricks.sliding_window_view(air, n)
    steady = np.zeros(len(air), dtype=bool)
    steady[n - 1 :] = windows.max(axis=1) < 1.1 * windows.min(axis=1) + 1e-9
    closed = np.lib.stride_tricks.sliding_window_view(r.status[0] == 2, n).all(axis=1)
    steady[n - 1 :] &= closed
    return steady


def smooth(x: Array, seconds: float = 5.0) -> Array:
    n = round(seconds / STEP)
    return np.convolve(x, np.ones(n) / n, mode="same")


@pytest.mark.parametrize("wide", [True, False])
def test_closed_loop_comes_to_stoichiometric(wide: bool) -> None:
    """Whatever the calibration's error, the mean lambda settles at 1 and the trims at the error's inverse."""
    gains = {} if wide else {"gain": 0.015, "integral": 0.03}
    engine = plain(wide=wide, base=(0.06, -0.05), **gains)
    r = run(engine, Fault())
    at = settled(r)
    assert at.sum() > 1500
    for bank, error in enumerate(engine.base):
        assert r.true[bank][at].mean() == pytest.approx(1.0, abs=0.006)
        total = (1 + r.short[bank][at]) * (1 + r.long[bank][at])
        assert total.mean() == pytest.approx(1 / (1 + error), abs=0.01)


def test_long_trim_takes_over_from_the_short_one() -> None:
    r = run(plain(learn_time=20.0, base=(0.08, 0.08)), Fault(), [Leg("idle", 300)])
    late = slice(-600, None)
    assert abs(r.short[0, late].mean()) < 0.01
    assert r.long[0, late].mean() == pytest.approx(1 / 1.08 - 1, abs=0.012)


def test_leak_of_constant_rate_falls_as_one_over_airflow() -> None:
    """Fuel balance: the injectors give what is lacking, so the trim is - leak * AFR / airflow of the bank."""
    grams = 0.03
    engine = plain()
    r = run(engine, Fault("injector-leak", grams, bank=2, spells=ALWAYS))
    at = settled(r)
    air = 1000 * r.air.cylinders[at] / 2
    assert air.max() > 4 * air.min()
    shown = smooth(trim(r, 1))[at]
    expected = -grams * engine.stoich / air
    assert np.abs(shown - expected).mean() < 0.012
    slope = np.polyfit(np.log(air), np.log(-shown.clip(max=-1e-3)), 1)[0]
    assert slope == pytest.approx(-1.0, abs=0.12)
    assert abs(trim(r, 0)[at].mean()) < 0.006  # the other bank knows nothing of it


@pytest.mark.parametrize("family", ["rail-scale", "meter-scale", "injector-scale"])
@pytest.mark.parametrize("percent", [10.0, -10.0])
def test_scale_error_is_the_same_share_at_every_airflow(family: str, percent: float) -> None:
    r = run(plain(), Fault(family, percent, bank=1 if family == "injector-scale" else None, spells=ALWAYS))
    at = settled(r)
    shown, air = smooth(trim(r))[at], r.air.cylinders[at]
    for part in (air < np.quantile(air, 0.3), air > np.quantile(air, 0.7)):
        assert shown[part].mean() == pytest.approx(1 / (1 + percent / 100) - 1, abs=0.008)


def test_pressure_sensor_error_weighs_more_at_low_pressure() -> None:
    """Pumped air goes with s p - y, so a share on p is a greater share on the air, most of all at idle."""
    engine = plain(metering="pressure")
    r = run(engine, Fault("meter-scale", 8.0, spells=ALWAYS))
    at = settled(r)
    pressure = r.air.pressure[at]
    expected = 1 / (1 + 0.08 * pressure / (pressure - engine.offset / engine.slope)) - 1
    assert np.abs(smooth(trim(r))[at] - expected).mean() < 0.008


def test_purge_moves_the_trims_while_it_flows() -> None:
    engine = plain(purge_area=4e-6, purge_share=0.06, purge_known=1.0)
    legs = [Leg("idle", 120), Leg("road", 500), Leg("idle", 200)]
    r = run(engine, Fault("purge-vapour", 20.0, spells=ALWAYS), legs)
    at = settled(r)
    share = (r.added[0] * 2 * engine.stoich / np.maximum(1e-6, r.air.cylinders))[at]
    shown = smooth(trim(r))[at]
    assert np.corrcoef(share, shown)[0, 1] < -0.9
    none = share < 1e-6
    assert none.sum() > 200
    assert abs(np.median(shown[none])) < 0.012
    assert np.median(shown[share > 0.08]) < -0.07
    assert r.added[0][r.air.purge == 0].max() == 0.0


def test_air_past_the_meter_is_lean_at_idle_only_and_unseen_by_pressure_and_speed() -> None:
    fault = Fault("air-leak", 0.5, spells=ALWAYS)
    r = run(plain(), fault)
    at = settled(r)
    share = r.air.leak[at] / r.air.cylinders[at]
    assert np.abs(smooth(trim(r))[at] - share / (1 - share)).mean() < 0.01
    idle = at & (r.way.speed < 0.1)
    assert 1000 * r.air.leak[idle].mean() == pytest.approx(0.5, rel=0.1)  # choked: as drawn
    other = run(plain(metering="pressure"), fault)
    assert abs(trim(other)[settled(other)].mean()) < 0.006


def test_charge_air_is_lost_under_boost_only() -> None:
    engine = plain(cylinders=4, banks=1, base=(0.0,), charged=True, boost=1.8, litres=1.4, mass=1650.0)
    r = run(engine, Fault("charge-leak", 12.0, spells=ALWAYS), [Leg("idle", 60), Leg("pulls", 200), Leg("town", 60)])
    lost = (r.air.meter - r.air.throttle) / np.maximum(1e-6, r.air.cylinders)
    boosted = r.air.before > 1.05 * engine.baro
    assert lost[r.air.before <= engine.baro * (1 + 1e-6)].max() < 1e-4
    assert boosted.sum() > 100
    assert lost[boosted].mean() > 0.04
    assert r.push[0][boosted & (r.status[0] == 2)].mean() < -0.04


def test_shifted_sensor_leaves_the_engine_rich_as_the_downstream_sensor_says() -> None:
    r = run(plain(), Fault("sensor-shift", 0.06, bank=1, spells=ALWAYS))
    at = settled(r)
    assert smooth(trim(r))[at].mean() == pytest.approx(0.06, abs=0.015)
    assert r.upstream[0][at].mean() == pytest.approx(1.0, abs=0.005)
    assert r.true[0][at].mean() == pytest.approx(1 / 1.06, abs=0.01)
    assert np.median(r.downstream[0][at]) > np.median(r.downstream[1][at]) + 0.03


def test_cold_reading_coolant_enriches_every_bank() -> None:
    r = run(plain(), Fault("coolant-cold", 50.0, spells=((200.0, 700.0),)))
    inside = settled(r) & (r.clock > 215) & (r.clock < 700)
    outside = settled(r) & (r.clock > 720)
    for bank in (0, 1):
        assert trim(r, bank)[inside].mean() == pytest.approx(r.push[bank][inside].mean(), abs=0.01)
        assert trim(r, bank)[inside].mean() < -0.05
        assert abs(trim(r, bank)[outside].mean()) < 0.01


def test_misfire_reads_lean_and_is_counted_for_its_cylinder() -> None:
    r = run(plain(), Fault("misfire", 30.0, bank=2, cylinder=5, spells=((100.0, 400.0),)))
    inside = settled(r) & (r.clock > 115) & (r.clock < 395)
    assert trim(r, 1)[inside].mean() > 0.04
    assert abs(trim(r, 0)[inside].mean()) < 0.01
    at = (r.clock > 100) & (r.clock < 400)
    fired = (r.way.engine[at] / 120).sum() * STEP
    assert r.misses[-1] == pytest.approx(0.3 * fired, rel=0.05)


@pytest.mark.parametrize("charged", [True, False])
def test_air_is_neither_made_nor_lost(charged: bool) -> None:
    """In less what goes out is what the manifold holds more, p V / (R T), at each step (T of that step)."""
    engine = plain(charged=charged, boost=1.8 if charged else 1.0, purge_area=4e-6)
    legs = [Leg("idle", 60), Leg("pulls", 120), Leg("town", 120), Leg("hills", 120)]
    r = run(engine, Fault("air-leak", 0.4, spells=ALWAYS), legs)
    a = r.air
    stored = engine.swept * engine.manifold * np.diff(a.pressure) / (R_AIR * a.kelvin[1:])
    net = (a.throttle + a.leak + a.purge - a.cylinders)[1:] * STEP
    moving = r.way.engine[1:] > 200
    scale = (a.cylinders[1:] * STEP)[moving].mean()
    off = np.abs(net - stored)[moving]
    assert np.quantile(off, 0.99) < 0.02 * scale  # the throttle cannot suck: a closing one leaves up to a percent
    assert abs((net - stored)[moving].sum()) < 0.003 * (a.cylinders[1:] * STEP)[moving].sum()


def test_fuel_that_was_injected_is_burnt() -> None:
    """The wall film only delays: over a warm drive injected fuel is burnt fuel."""
    r = run(plain(direct=False, film=0.3, film_known=0.7), Fault(), coolant=92.0)
    engine = r.engine
    warm = r.clock > 120
    burnt = (r.air.cylinders / 2 / np.maximum(r.true[0], 1e-3) / engine.stoich)[warm & (r.true[0] < 1.9)].sum() * STEP
    usual = 0.01  # vapour of a healthy canister and what the film held at first
    assert burnt == pytest.approx(r.injected[0][warm].sum() * STEP, rel=0.015 + usual)


def test_air_against_the_ideal_gas() -> None:
    """The charge that a cylinder takes is 45 to 100 % of p V / (R T) at the manifold's state (Heywood, chapter 6)."""
    for seed in range(6):
        engine = draw_engine(np.random.default_rng(seed))
        r = run(engine, Fault(), [Leg("idle", 60), Leg("town", 90), Leg("pulls", 60), Leg("motorway", 90)])
        turning = (r.way.engine > 500) & ~r.way.overrun
        ideal = r.air.pressure * engine.swept / (R_AIR * r.air.kelvin) * r.way.engine / 120
        filling = (r.air.cylinders / np.maximum(1e-9, ideal))[turning]
        assert np.quantile(filling, 0.01) > 0.45
        assert np.quantile(filling, 0.99) < 1.0
        idle = turning & (r.way.speed < 0.1) & (r.clock > 20)
        per_litre = 1000 * r.air.cylinders[idle].mean() / engine.litres
        assert 0.7 < per_litre < 1.9  # practice: about 1 g/s a litre, a little more when cold
        assert 20e3 < np.median(r.air.pressure[idle]) < 45e3


def test_fuel_used_on_a_motorway_is_what_cars_use() -> None:
    """Between 4.5 and 14 l/100 km (practice), petrol at 0.745 kg/l."""
    for seed in range(4):
        engine = draw_engine(np.random.default_rng(seed))
        r = run(engine, Fault(), [Leg("motorway", 500)], coolant=85.0)
        later = r.clock > 100
        litres = r.injected[:, later].sum() * STEP / 0.745
        assert 4.5 < 100 * litres / (r.way.speed[later].sum() * STEP / 1000) < 14


def test_orifice_against_textbook() -> None:
    """Choked air: 0.0404 p A / sqrt(T) in SI (any gas dynamics table); below, Heywood's equation C-8 in full."""
    assert orifice(1e-4, 1e5, 3e4, 300.0) == pytest.approx(0.0404 * 1e5 * 1e-4 / sqrt(300), rel=1e-3)
    for ratio in (0.6, 0.75, 0.9, 0.96):
        g = 1.4
        full = 1e-4 * 1e5 / sqrt(R_AIR * 300) * ratio ** (1 / g) * sqrt(2 * g / (g - 1) * (1 - ratio ** ((g - 1) / g)))
        assert orifice(1e-4, 1e5, ratio * 1e5, 300.0) == pytest.approx(full, rel=1e-6)
    flows = [orifice(1e-4, 1e5, p, 300.0) for p in np.linspace(5.2e4, 1e5, 400)]
    assert all(np.diff(flows) <= 1e-5 * flows[0])  # the branches' constants have six digits
    for joint in (0.528282, 0.97):  # no step where one branch takes over from another
        below, above = (orifice(1e-4, 1e5, 1e5 * (joint + d), 300.0) for d in (-1e-7, 1e-7))
        assert above == pytest.approx(below, rel=2e-3)


# what the standard's bytes can say: SAE J1979 / ISO 15031-5, appendix B, from memory
ONE, TWO = np.arange(256), np.arange(65536)
CODED = {
    "coolant": ONE - 40.0,
    "intake": ONE - 40.0,
    "short": ONE * 100 / 128 - 100,
    "long": ONE * 100 / 128 - 100,
    "load": ONE * 100 / 255,
    "throttle": ONE * 100 / 255,
    "purge": ONE * 100 / 255,
    "pressure": ONE * 1.0,
    "baro": ONE * 1.0,
    "speed": ONE * 1.0,
    "ignition": ONE / 2 - 64,
    "upstream_v": ONE / 200,
    "downstream": ONE / 200,
    "engine": TWO / 4,
    "airflow": TWO / 100,
    "rail": TWO * 10.0,
    "upstream": TWO * 2 / 65536,
    "commanded": TWO * 2 / 65536,
    "voltage": TWO / 1000,
    "since": TWO * 1.0,
}


@pytest.mark.parametrize("key", sorted(CODED))
def test_rounding_of_the_standard(key: str) -> None:
    """Every logged value is one that the bytes can hold, and the nearest."""
    possible = CODED[key]
    span = possible[-1] - possible[0]
    asked = np.random.default_rng(3).uniform(possible[0] - 0.1 * span, possible[-1] + 0.1 * span, 500)
    got = tools.rounded(key, asked)
    nearest = possible[np.abs(possible[None, :] - asked[:, None]).argmin(axis=1)]
    assert np.abs(got - nearest).max() < 1e-6


def test_every_quantity_has_a_name_in_every_language() -> None:
    for words in tools.NAMES.values():
        assert set(words) == set(tools.STANDARD) | {"time"}
        spellings = [w for kind, names in words.items() if kind != "time" for w in names]
        assert len(spellings) == len(set(spellings))


@pytest.mark.parametrize("style", ["brackets", "parens", "underscore", "comma", "row", "front", "none"])
@pytest.mark.parametrize("held", [True, False])
def test_text_holds_what_the_controller_said(style: str, held: bool) -> None:
    """Read back by hand: a tenth of a trim's step, whatever the layout."""
    engine = plain()
    rng = np.random.default_rng(8)
    r = run(engine, Fault(), [Leg("idle", 60), Leg("town", 60)])
    tool = tools.draw_tool(
        rng, rate=5.0, per_row=4, held=held, language="de", style=style, separator=";", decimal=",", time="seconds",
        drop=frozenset(),
    )  # fmt: skip
    percent = {"short": tools.UNITS["short"][1]}
    written = tools.write(r, tool, rng, fixed_units=percent)
    lines = list(csv.reader(io.StringIO(tools.text(tool, written)), delimiter=";"))
    assert {len(line) for line in lines} == {len(written.keys) + 1}
    body = lines[2:] if style == "row" else lines[1:]
    column = written.keys.index("short:1") + 1
    fresh = 0
    for line in body:
        t = float(line[0].replace(",", "."))
        if not line[column]:
            continue
        value = float(line[column].replace(",", "."))
        before = 100 * r.short[0, max(0, round(t / STEP) - (80 if held else 1)) : round(t / STEP) + 2]
        fresh += 1
        assert np.abs(before - value).min() < 0.5
    assert fresh > (0.9 if held else 0.1) * len(body)


def test_rail_holds_when_the_engine_stops_and_bleeds_sooner_through_a_leak() -> None:
    legs = [Leg("idle", 60), Leg("stop", 300), Leg("idle", 30)]
    left = []
    for fault in (Fault(), Fault("injector-leak", 0.02, bank=1, spells=((360.0, 390.0),))):
        rail = tools.rail_pressure(run(plain(), fault, legs))
        left.append(rail[3590] / rail[590])
    assert 0.85 < left[0] < 1.0
    assert left[1] < 0.7


def test_stretches() -> None:
    flags = np.array([0, 1, 1, 0, 0, 1, 0, 0, 0, 0, 1, 1, 1, 1], dtype=bool)
    assert stretches(flags) == ((0.1, 0.3), (0.5, 0.6), (1.0, 1.4))
    assert stretches(flags, shortest=0.15) == ((0.1, 0.3), (1.0, 1.4))
    assert stretches(flags, bridge=0.2) == ((0.1, 0.6), (1.0, 1.4))


def test_the_set_is_as_wide_as_it_claims() -> None:
    names = [s.seed for s in frozen.SPECS]
    assert len(names) == len(set(names)) >= 60
    clean = Counter(s.family for s in frozen.SPECS if not s.damage)
    assert clean["healthy"] >= 12
    assert all(clean[family] >= 3 for family in FAMILIES)
    assert sum(bool(s.damage) for s in frozen.SPECS) == 6


SAMPLE = [s for s in frozen.SPECS if s.seed in (100, 101, 231, 260, 301, 341, 401, 405)]


@pytest.mark.parametrize("s", SAMPLE, ids=lambda s: f"{s.seed}-{s.family}")
def test_truth_of_a_frozen_drive(s: frozen.Spec) -> None:
    d, r = frozen.make(s)
    truth = d.truth
    assert truth.family == s.family and bool(truth.damage) == bool(s.damage)
    if s.family == "healthy":
        assert not r.push.any() and not truth.visible and truth.amount == 0
    else:
        assert truth.visible and truth.spells
        assert truth.unit in ("g/s", "%", "lambda", "s", "K")
        assert 0 < abs(truth.amount) <= abs(truth.peak) <= abs(r.fault.amount) * 1.05
        for a, b in truth.visible:  # a smoothed edge may reach a little past its spell
            assert any(x - 5 <= a and b <= y + 20 for x, y in truth.spells), (a, b, truth.spells)
    if truth.trim:
        assert {-1: "rich", 1: "lean"}[truth.trim] == truth.mixture or s.family in ("sensor-shift", "misfire")
    assert truth.family not in d.csv and "visible" not in d.csv


def test_a_drive_is_the_same_every_time() -> None:
    s = SAMPLE[1]
    first, second = frozen.make(s)[0], frozen.make(s)[0]
    assert first == second
