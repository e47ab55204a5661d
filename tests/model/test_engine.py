"""The engine model: signs and sizes that must hold whatever the rules say."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.model import engine
from tests.model.breakages import BREAKAGES
from tests.model.car import PROFILES, Acts, Broken, Car, Profile, own_car
from tests.model.engine import CRUISE, IDLE, LOAD, RAISED, Now, Point, State
from tests.model.fleet import named_cars
from tests.model.weeks import simulate

BY_PROFILE = {p.name: p for p in PROFILES}
DIRECT, TURBO, SIX = BY_PROFILE["white four"], BY_PROFILE["silver turbo four"], BY_PROFILE["grey six"]
PORT, THREE, RECIRCULATING = BY_PROFILE["blue four"], BY_PROFILE["red three"], BY_PROFILE["brown four"]


def plain(profile: Profile, **broken: float) -> Car:
    """A car without tolerances, that keeps its loop closed under load."""
    car = own_car("plain", profile, "", Broken(**broken), Acts(), "plain")  # type: ignore[arg-type]
    none = (0.0,) * profile.cylinders
    return replace(car, meter_offset=0.0, injectors=none, compressions=none, enriches=False)


def at(profile: Profile, point: Point = IDLE, broken: dict[str, float] | None = None, **now: object) -> State:
    car = plain(profile, **(broken or {}))
    return engine.run(car, car.broken, Now(point, **now))  # type: ignore[arg-type]


def trims(profile: Profile, **broken: float) -> list[float]:
    """Total trim of bank 1 in per cent at idle, 2500 in neutral, cruise and load."""
    return [100 * at(profile, point, broken).trim[0] for point in (IDLE, RAISED, CRUISE, LOAD)]


@pytest.mark.parametrize("profile", PROFILES, ids=lambda p: p.name)
@pytest.mark.parametrize("point", [IDLE, RAISED, CRUISE, LOAD], ids=lambda p: p.name)
def test_a_sound_engine_needs_no_trim(profile: Profile, point: Point) -> None:
    state = at(profile, point)
    assert all(abs(t) < 0.06 for t in state.trim)
    assert all(abs(lam - 1) < 0.01 for lam in state.lam)
    gas, lam = engine.tailpipe(state)
    assert lam == pytest.approx(1.0, abs=0.01) and gas["co2"] > 14.5 and gas["co"] < 0.3


def test_extra_by_time_fades_with_airflow_by_injection_with_load_and_a_share_not_at_all() -> None:
    """Fuel by time is a share that falls with airflow: at three times the idle's air a third of it is left."""
    idle, raised, cruise, load = trims(DIRECT, leak=3000, place=2)
    assert idle < -12 and raised == pytest.approx(idle / 2.9, abs=3) and load > -3.5
    idle, raised, cruise, load = trims(PORT, late_ms=1.0, place=1)
    assert idle < -8 and raised < 0.9 * idle and cruise == pytest.approx(idle * 0.6, abs=2.5)
    idle, raised, cruise, load = trims(DIRECT, meter_gain=0.25)
    assert all(t == pytest.approx(-21, abs=2) for t in (idle, raised, cruise, load))


def test_a_fouled_meter_is_rich_at_idle_and_lean_under_load() -> None:
    idle, _, cruise, load = trims(DIRECT, meter_fouled=0.25)
    assert idle < -15 and abs(cruise) < 6 and load > 10


def test_manifold_pressure_that_reads_high_counts_most_where_there_is_least() -> None:
    idle, _, cruise, load = trims(THREE, manifold_kpa=6.0)
    assert idle < cruise < load < -2 and idle < -18


def test_exhaust_gas_taken_for_air_makes_rich_only_where_air_is_reckoned_from_pressure() -> None:
    assert trims(RECIRCULATING, egr_share=0.2)[0] < -15
    assert abs(trims(PORT, egr_share=0.2)[0]) < 6


def test_boost_lost_after_the_meter_is_rich_under_boost_only() -> None:
    idle, _, _, load = trims(TURBO, boost_leak=80)
    assert load < -12 and abs(idle) < 6
    assert abs(trims(BY_PROFILE["black turbo four"], boost_leak=80)[3]) < 6


def test_a_sensor_that_reads_rich_makes_it_lean_and_one_that_reads_lean_makes_it_rich() -> None:
    rich, lean = at(DIRECT, IDLE, {"sensor_bias": 0.2, "place": 1}), at(DIRECT, IDLE, {"sensor_bias": -0.2, "place": 1})
    assert rich.trim[0] < -0.1 and rich.lam[0] > 1.1 and rich.rear[0] < 0.2
    assert lean.trim[0] > 0.1 and lean.lam[0] < 0.9 and lean.rear[0] > 0.8
    assert engine.tailpipe(rich)[1] > 1.1 and engine.tailpipe(lean)[1] < 0.9


def test_air_drawn_in_before_the_sensor_adds_fuel_which_the_same_air_burns_behind() -> None:
    idle, cruise = (at(DIRECT, p, {"exhaust_leak": 0.3, "place": 1}) for p in (IDLE, CRUISE))
    assert idle.trim[0] > cruise.trim[0] > 0 and idle.lam[0] < 0.85
    assert engine.tailpipe(idle)[1] == pytest.approx(idle.behind[0], abs=0.01) and 0.9 < idle.behind[0] < 1.0
    pumped = at(PORT, IDLE, {"secondary_air": 0.3})
    assert pumped.trim[0] > 0.2 and pumped.behind[0] == pytest.approx(1.0, abs=0.01)


def test_a_misfire_reads_lean_to_the_sensor_and_leaves_oxygen_and_fuel() -> None:
    state = at(DIRECT, IDLE, {"ignition": 0.3, "place": 2})
    gas, _ = engine.tailpipe(state)
    assert state.trim[0] > 0 and gas["o2"] > 0.4 and 1e4 * gas["hc"] > 150


def test_crossed_sensors_run_the_banks_to_opposite_limits() -> None:
    state = at(SIX, IDLE, {"crossed": 1.0})
    assert state.trim[0] < -0.2 and state.trim[1] > 0.2 and state.lam[0] > 1.15 and state.lam[1] < 0.85


def test_a_cam_that_is_off_on_one_bank_parts_the_banks_where_air_is_metered() -> None:
    state = at(SIX, IDLE, {"cam_off": 0.2, "place": 1})
    assert state.trim[0] < -0.08 and state.trim[1] > 0.03
    assert trims(THREE, cam_off=0.2, place=1)[0] < -15


def test_the_leaker_is_rich_and_its_neighbours_are_pulled_lean() -> None:
    state = at(DIRECT, IDLE, {"leak": 4000, "place": 2})
    assert state.phi[1] > 1.3 and max(f for i, f in enumerate(state.phi) if i != 1) < 0.95
    assert state.lam[0] == pytest.approx(1.0, abs=0.02)


def test_cutting_any_cylinder_swings_the_trim_lean() -> None:
    """A charge of air goes out unburnt, whichever cylinder it is: the trim cannot tell which was the rich one."""
    car = plain(PORT, leak=1500.0, place=2)
    base = engine.run(car, car.broken, Now(IDLE)).trim[0]
    for cylinder in range(1, 5):
        assert engine.run(car, car.broken, Now(IDLE, cut=cylinder)).wanted[0] > base + 0.1


def test_purge_leak_follows_the_canister_and_is_lean_when_that_is_empty() -> None:
    full, empty = (
        at(DIRECT, IDLE, {"purge_leak": 1.5}, canister=0.8),
        at(DIRECT, IDLE, {"purge_leak": 1.5}, canister=0.05),
    )
    assert full.trim[0] < -0.15 and empty.trim[0] > 0.0
    assert at(DIRECT, IDLE, {"purge_leak": 1.5}, canister=0.8, purge_pinched=True).trim[0] > -0.05


def test_fuel_boils_out_of_hot_oil_and_not_out_of_cold() -> None:
    hot, cold = at(DIRECT, IDLE, oil_fuel=300.0), at(DIRECT, IDLE, oil_fuel=300.0, oil=40.0)
    assert hot.trim[0] < -0.1 and cold.trim[0] > -0.06
    assert at(DIRECT, IDLE, oil_fuel=300.0, breather_off=True).trim[0] > -0.06


def test_a_cold_reading_enriches_a_hot_engine_and_little_resistance_does_not() -> None:
    assert trims(DIRECT, coolant_ohms=3000)[0] < -10
    assert abs(trims(DIRECT, coolant_ohms=300)[0]) < 6


def test_pressure_counts_by_its_root_where_it_is_not_known_and_hardly_where_it_is() -> None:
    assert trims(PORT, low_over=0.5)[0] == pytest.approx(100 * (1 / 1.5**0.5 - 1), abs=3)
    assert abs(trims(DIRECT, low_over=0.5)[0]) < 6
    assert trims(DIRECT, rail_reads_low=0.3)[0] == pytest.approx(100 * (0.7**0.5 - 1), abs=3)
    assert trims(DIRECT, rail_over=1.0)[0] > -13


def test_low_voltage_is_dead_time_at_port_injectors_only() -> None:
    assert trims(PORT, volts=3.0)[0] < -10 and abs(trims(DIRECT, volts=3.0)[0]) < 6


def test_rail_falls_faster_the_more_the_seats_leak() -> None:
    sound, leaks = plain(DIRECT), plain(DIRECT, leak=3000.0, place=2)
    now = Now(engine.OFF, hot_soaked=True, soaked=18)
    assert engine.sealed_leak(sound, sound.broken, now) < 10 < 1000 < engine.sealed_leak(leaks, leaks.broken, now)
    assert engine.drained(sound, sound.broken, now) == 0 < 0.1 < engine.drained(leaks, leaks.broken, now)


def test_faults_that_no_car_has_do_not_make_it_rich() -> None:
    """What `breakages.CANNOT` says, as far as it can be put into figures here."""
    assert abs(at(DIRECT, CRUISE, coolant=68.0).trim[0]) < 0.03  # a thermostat that stays open
    assert abs(trims(THREE, back_pressure=60.0)[3]) < 8
    assert at(DIRECT, IDLE, {"bad_fuel": 0.5}).trim[0] > 0
    assert at(DIRECT, IDLE, {"flow": 0.15, "value_only": 1.0, "place": 1}).trim[0] > -0.08


# ---- weeks -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("profile", PROFILES[::3], ids=lambda p: p.name)
def test_a_sound_car_does_not_come_in(profile: Profile) -> None:
    for n in range(3):
        past = simulate(own_car("sound", profile, "", Broken(), Acts(), f"sound/{n}"), days=21)
        assert not past.comes and not [c for c, state in past.codes.items() if state == "stored"], past.codes


def test_the_same_seed_tells_the_same_story() -> None:
    car, past = named_cars()[0]
    again = simulate(car)
    assert (past.codes, past.rich, past.noticed, past.memory) == (again.codes, again.rich, again.noticed, again.memory)


def test_every_breakage_brings_a_car_in_that_was_rich() -> None:
    cars = named_cars()
    assert [car.breakage for car, _ in cars] == [b.name for b in BREAKAGES]
    for car, past in cars:
        assert past.comes and sum(past.rich.values()) > 0, car.name
