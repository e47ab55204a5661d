"""One cylinder cut out after another: which pulls more, which less, and what the sensor sees meanwhile.

Four cylinders of equal air, the mean of their mixtures held at lambda 1 by the loop. Work goes with the heat set free:
with too little fuel all of it, with too much as much as the oxygen allows. Burnt gas of rich mixtures: CO, CO2, H2, H2O
in the water-gas balance K = 3.5, all oxygen used (the usual model, Brettschneider 1979; Heywood 1988, ch. 4, from
memory). Beyond the limits it does not burn at idle: lambda 0.6 and 1.5 (from memory, judgement).
"""

from __future__ import annotations

from math import erf, sqrt

import pytest

from tests.physics.said import chance, rules, statement

H = 1.87  # hydrogen to a carbon
FUEL, CO, H2 = 615e3, 283e3, 242e3  # J/mol set free: CH1.87 (43.5 MJ/kg x 13.9 g), CO, H2
KEPT = 3.5
BURNS = (0.6, 1.5)
CYLINDERS = 4
READ = 0.10  # a reading of the drop is good to a tenth of itself (judgement)
WEAK, STRONG = 0.60, 1.25  # of the others' drop, as the check has it


def heat(lam: float) -> float:
    """Heat of one charge of air over that of a right mixture in it."""
    if not BURNS[0] <= lam <= BURNS[1]:
        return 0.0
    phi = 1.0 / lam
    if phi <= 1.0:
        return phi
    oxygen = 2 * (1 + H / 4) / phi  # atoms a carbon
    low, high = 0.0, 1.0  # CO a carbon: more of it needs less oxygen, until the balance holds
    for _ in range(60):
        co = (low + high) / 2
        co2, water = 1 - co, oxygen - co - 2 * (1 - co)
        hydrogen = H / 2 - water
        if water <= 0 or (hydrogen > 0 and co * water / (co2 * hydrogen) < KEPT):
            low = co
        else:
            high = co
    co2, water = 1 - co, oxygen - co - 2 * (1 - co)
    left = co * CO + max(0.0, H / 2 - water) * H2
    return phi * (FUEL - left) / FUEL


def lambdas(extra: float) -> tuple[float, float]:
    """Of the one that gets `extra` of its fuel too much, and of the others, their mean held right."""
    taken = 1 - extra / CYLINDERS
    return 1 / (taken + extra), 1 / taken


def drops(extra: float, goes_on: bool) -> tuple[float, float]:
    """What cutting it takes away, and what cutting one of the others does; a leak goes on burning, where it can."""
    one, other = lambdas(extra)
    left = heat(1 / extra) if goes_on and extra else 0.0
    return max(0.0, heat(one) - left), heat(other)


def called(ratio: float, edge: float) -> float:
    """How often a ratio is read above the edge."""
    return 0.5 * (1 + erf((ratio - edge) / (READ * max(ratio, 0.2) * sqrt(2))))


# How much too much it gives, evenly: from what a bank's trim of -8 % needs to one of -25 % (a quarter of the extra).
DEGREES = [0.32 + 0.68 * (n + 0.5) / 40 for n in range(40)]


def mean_of(here: bool, goes_on: bool, strong: bool) -> float:
    found = []
    for extra in DEGREES:
        one, other = drops(extra, goes_on)
        rest = (one + 2 * other) / 3  # an other one is compared with its neighbours, the rich one among them
        ratio = one / other if here else other / rest if rest else 1.0
        found.append(called(ratio, STRONG) if strong else 1 - called(ratio, WEAK))
    return sum(found) / len(found)


def test_cutting_any_cylinder_sends_a_whole_charge_of_air_to_the_sensor() -> None:
    """So the trim cannot tell which: four cylinders, one 40 % rich."""
    extra = 0.4
    one, other = lambdas(extra)
    fuel = {"one": 1 / one, "other": 1 / other}
    total = fuel["one"] + 3 * fuel["other"]
    seen = {name: CYLINDERS / (total - fuel[name]) for name in fuel}
    assert seen["one"] == pytest.approx(1.48, abs=0.01) and seen["other"] == pytest.approx(1.29, abs=0.02)
    figures = rules().checks["balance-test"].computed
    assert figures is not None
    assert {within.figure for bands in figures.outcomes.values() for within in bands} == {"drop"}


def test_a_rich_cylinder_pulls_much_like_its_lean_neighbours_until_it_misses() -> None:
    """Four hundredths at most, far below what a reading of the drop is good to: so it is mostly "as the others"."""
    assert heat(1.0) == pytest.approx(1.0)
    for extra in (0.3, 0.4, 0.5, 0.6, 0.8):
        one, other = drops(extra, goes_on=False)
        assert 1.0 < one / other < 1.05
    assert drops(1.2, goes_on=False)[0] == 0.0  # lambda 0.53: flooded
    for fault in ("injector-slow-to-close", "injector-leaks", "injector-wrong-part"):
        assert chance(rules(), "balance-test", "strong", fault) < 2.5 * chance(rules(), "balance-test", "strong")
        assert chance(rules(), "balance-test", "even", fault) > 0.5


@pytest.mark.parametrize("fault", ["port-injector-slow-to-close", "injector-slow-to-close", "injector-wrong-part"])
def test_one_that_gives_too_much_each_time_falls_less_only_once_it_floods(fault: str) -> None:
    worked = mean_of(True, False, False)
    assert 0.1 < worked < 0.25
    assert chance(rules(), "balance-test", "weak", fault) == pytest.approx(worked, abs=0.07)


@pytest.mark.parametrize("fault", ["injector-leaks", "port-injector-leaks"])
def test_a_leak_goes_on_while_cut_and_falls_less(fault: str) -> None:
    """From about two thirds of a charge on, what leaks burns by itself with the injector cut."""
    worked = mean_of(True, True, False)
    assert worked > 2 * mean_of(True, False, False)
    assert chance(rules(), "balance-test", "weak", fault) == pytest.approx(worked, abs=0.15)


def test_its_lean_neighbours_do_not_fall_less() -> None:
    book = rules()
    assert mean_of(False, False, False) < 0.02
    for fault in ("injector-slow-to-close", "injector-leaks"):
        elsewhere = statement(book, "balance-test", fault).elsewhere
        assert elsewhere is not None
        assert elsewhere["weak"].value <= chance(book, "balance-test", "weak") + 0.02


def test_one_that_gives_nothing_does_not_fall_at_all() -> None:
    assert heat(3.0) == 0.0
    assert chance(rules(), "balance-test", "weak", "injector-gives-too-little") > 0.75
    assert chance(rules(), "balance-test", "weak", "ignition-misfire") > 0.75


def evenly(low: float, high: float, parts: int = 24) -> list[float]:
    return [low + (high - low) * (n + 0.5) / parts for n in range(parts)]


# Where it stops burning at idle: too rich at lambda 0.5 to 0.6, too lean at 1.25 to 1.5 (engines differ; from memory).
FLOODS, STARVES = evenly(0.5, 0.6), evenly(1.25, 1.5)
TRIMS = evenly(0.10, 0.30)


def too_rich(of: int) -> float:
    """How often the one that takes a bank of so many to these trims no longer burns itself."""
    found = [1 / (1 + (of - 1) * trim) < limit for trim in TRIMS for limit in FLOODS]
    return sum(found) / len(found)


def too_lean() -> float:
    """How often the others no longer do: they get what the trim leaves, whatever their number."""
    found = [1 / (1 - trim) > limit for trim in TRIMS for limit in STARVES]
    return sum(found) / len(found)


def test_of_one_that_gives_too_much_the_lean_neighbours_misfire_as_soon() -> None:
    """So a misfire does not name the one that leaks. A leak floods its cylinder as it is started, besides."""
    book = rules()
    assert too_rich(3) < 0.02 < too_rich(4) < 1.1 * too_lean()
    for fault in ("injector-leaks", "port-injector-leaks", "injector-slow-to-close", "injector-wrong-part"):
        said = statement(book, "misfires-watched", fault)
        assert said.elsewhere is not None
        beside = said.elsewhere["misfires"].value
        assert beside == pytest.approx(too_lean(), abs=0.06)
        assert said.here["misfires"].value < 1.6 * beside
        soaked = statement(book, "hot-restart-misfire", fault)
        assert soaked.elsewhere is not None and soaked.elsewhere["misfires"].value > 0.6 * beside


@pytest.mark.parametrize("fault", ["upstream-sensor-rich", "upstream-sensor-wiring"])
def test_a_bank_that_is_leaned_for_nothing_misfires_like_lean_neighbours(fault: str) -> None:
    for check in ("misfires-watched", "hot-restart-misfire"):
        assert chance(rules(), check, "misfires", fault) == pytest.approx(too_lean(), abs=0.05)


SOOTS = (0.5, 0.6)  # atoms of carbon to one of oxygen from which a premixed flame soots (Glassman; from memory)


def test_what_all_get_too_much_hardly_soots_a_plug_but_what_one_gets_does() -> None:
    """CH1.87 burns with 1 + H/4 of oxygen, so C/O of 0.5 to 0.6 is 1.47 to 1.76 times the right fuel. Trims of -17 to
    -35 %, as a stored code has them, in open loop: all alike, or all of it from one of four."""
    low, high = (2 * (1 + H / 4) * limit for limit in SOOTS)
    assert low == pytest.approx(1.47, abs=0.02) and high == pytest.approx(1.76, abs=0.02)
    limits, trims = evenly(low, high), evenly(0.17, 0.35)
    alike = sum(1 / (1 - t) > limit for t in trims for limit in limits) / len(limits) / len(trims)
    alone = sum((1 + 3 * t) / (1 - t) > limit for t in trims for limit in limits) / len(limits) / len(trims)
    assert alike < 0.1 and alone > 0.9
    book = rules()
    for check in ("plugs-after-open-loop", "plugs-after-clearing"):
        for one, all_ in (("injector-leaks", "injectors-worn"), ("port-injector-leaks", "port-injectors-worn")):
            dark = [1 - chance(book, check, "same", fault) for fault in (one, all_)]
            assert dark[0] > 1.8 * dark[1]


def test_one_that_gives_half_or_nothing_takes_its_bank_up() -> None:
    """Fuel for the mean of four right: 1 / (1 - missing / 4) - 1 is +14 % for half and +33 % for nothing, both beyond
    the +10 % from which a trim is called lean."""
    for check in ("trim-idle", "trim-2500", "trim-cruise"):
        assert chance(rules(), check, "lean", "injector-gives-too-little") > 0.65


def test_where_all_give_too_much_alike_none_stands_out() -> None:
    book = rules()
    for fault in ("injectors-worn", "port-injectors-worn"):
        for check, name in (("misfires-watched", "misfires"), ("misfire-counts", "raised")):
            sound = chance(book, check, name)
            assert chance(book, check, name, fault) == pytest.approx(sound, abs=0.05), "none is off the mean of all"
