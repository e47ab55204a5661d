"""Trims by airflow, fault by fault, worked out from air, fuel and pressure, against what the rules say of each.

How strong a fault is, where it shows, is not known. So each is taken from a half to one and three fifths of a middling
degree, evenly; middling takes about 20 % away at its worst point, which is where rich codes are set (12 to 25 % by
maker, common practice). What is weaker than half of that brings nobody with a rich complaint, and where it is weaker
for a while it counts as not showing; a third is about what trims can take away. A reading is off by 3 % (standard
error, judgement). That gives a chance of "rich" for each point.
"""

from __future__ import annotations

from math import copysign, erf, sqrt
from random import Random

import pytest

from tests.physics.engine import CRUISE, FAULTS, IDLE, LOAD, POINTS, RAISED, STOICHIOMETRIC, Error, Point, trim
from tests.physics.said import chance, rules, shows

CHECKS = {IDLE: "trim-idle", RAISED: "trim-2500", CRUISE: "trim-cruise", LOAD: "trim-load"}
CONDITIONS = {IDLE: "warm-idle", RAISED: "raised-speed", CRUISE: "cruise", LOAD: "load"}
EDGE, SPREAD = -0.10, 0.03
CLOSED_UNDER_LOAD = 0.75  # in one pull of four the loop opens, and the trims stand still (judgement)
DEGREES = [0.5 + 1.1 * (n + 0.5) / 50 for n in range(50)]

# The faults and families of the rules, and the kind of error each is.
SAME = {
    "fuel-by-time": "by time",
    "regulator-diaphragm": "by time",
    "damper-leaks": "by time",
    "injector-leaks": "by time",
    "port-injector-leaks": "by time",
    "pump-leaks-into-oil": "by time",
    "fuel-by-injection": "by injection",
    "port-injector-slow-to-close": "by injection",
    "injector-slow-to-close": "late needle",
    "scale-error": "scale",
    "airflow-meter-high": "scale",
    "pressure-error": "pressure",
    "tank-regulator-sticks": "pressure",
    "pump-control-high": "pressure",
    "manifold-pressure-high": "manifold pressure",
    "recirculation-open": "recirculated gas",
    "airflow-meter-fouled": "dirty element",
}


def rich(kind: str, point: Point) -> float:
    """How often the trim reads below -10 % at this point while the fault shows."""

    def below(degree: float) -> float:
        return 0.5 * (1 + erf((EDGE - trim(FAULTS[kind](point, degree), point)) / (SPREAD * sqrt(2))))

    closed = CLOSED_UNDER_LOAD if point is LOAD else 1.0
    return closed * sum(map(below, DEGREES)) / len(DEGREES)


def test_the_air_is_that_of_the_engine() -> None:
    """m = filling * p / (R T) * V * n / 120, with 0.8 to 0.88 of two litres at 313 K."""
    for point, filling in ((IDLE, 0.80), (RAISED, 0.85), (CRUISE, 0.77), (LOAD, 0.88)):
        air = filling * point.manifold / (0.287 * 313) * 2.0 * point.speed / 120
        assert point.air == pytest.approx(air, rel=0.10), point.name


def test_stoichiometric_air_of_petrol() -> None:
    carbon, hydrogen, ratio = 12.011, 1.008, 1.87
    assert (1 + ratio / 4) / 0.2095 * 28.965 / (carbon + ratio * hydrogen) == pytest.approx(STOICHIOMETRIC, abs=0.05)


def test_the_figures_that_the_rules_print() -> None:
    by_time = Error(by_time=0.05)
    air = {3.0: -0.24, 12.0: -0.06, 40.0: -0.02}
    for grams, said in air.items():
        assert trim(by_time, Point("", grams, 32, 700)) == pytest.approx(said, abs=0.01)
    one_milligram = [trim(Error(by_injection=1.0), p) for p in POINTS]
    assert one_milligram[:2] == pytest.approx([-0.10, -0.10], abs=0.01)
    assert one_milligram[2:] == pytest.approx([-0.05, -0.03], abs=0.015)
    late = [trim(FAULTS["late needle"](p, 1.0), p) for p in POINTS]
    assert late == pytest.approx([-0.20, -0.24, -0.16, -0.11], abs=0.012)
    assert trim(Error(factor=1.15), IDLE) == pytest.approx(-0.13, abs=0.005)
    assert [trim(Error(factor=1 + 5 / p.manifold), p) for p in (IDLE, LOAD)] == pytest.approx(
        [-0.135, -0.05], abs=0.005
    )
    assert trim(Error(factor=1 + 8 / 32), IDLE) == pytest.approx(-0.20, abs=0.005)
    assert trim(Error(factor=sqrt(1.10)), IDLE) == pytest.approx(-0.05, abs=0.005)
    assert trim(Error(factor=sqrt(1.50)), IDLE) == pytest.approx(-0.18, abs=0.005)
    assert trim(Error(factor=sqrt(1.25)), IDLE) == pytest.approx(-0.11, abs=0.005)
    assert trim(Error(by_injection=0.15 * 2.5), IDLE) == pytest.approx(-0.04, abs=0.005)
    assert trim(Error(factor=1.05), IDLE) == pytest.approx(-0.05, abs=0.005)
    assert trim(Error(factor=1 / 0.9), LOAD) == pytest.approx(-0.10, abs=0.005)


@pytest.mark.parametrize("subject", SAME)
def test_the_rules_have_the_sign_and_the_order(subject: str) -> None:
    """Where the sum says that it is mostly seen, the rules have it likelier than on a sound car, and rich likelier
    than lean; between two points the order is the same, wherever the sums are well apart."""
    book, kind = rules(), SAME[subject]
    worked = {p: rich(kind, p) for p in POINTS}
    said = {p: chance(book, check, "rich", subject) for p, check in CHECKS.items()}
    for point, check in CHECKS.items():
        if worked[point] > 0.5:
            assert said[point] > 3 * chance(book, check, "rich"), (subject, check)
            assert said[point] > chance(book, check, "lean", subject), (subject, check)
    for one in POINTS:
        for other in POINTS:
            if worked[one] > worked[other] + 0.35:
                assert said[one] > said[other], (subject, CHECKS[one], CHECKS[other])


@pytest.mark.parametrize("subject", SAME)
def test_the_rules_have_the_size(subject: str) -> None:
    """Within a sixth, of what is worked out or of the false alarms, whichever is more."""
    book, kind = rules(), SAME[subject]
    for point, check in CHECKS.items():
        said, worked = chance(book, check, "rich", subject), max(rich(kind, point), chance(book, check, "rich"))
        assert abs(said - worked) < 0.165, (subject, check, said, worked)


# ---- the shape over the four points, as a technician would call it --------------------------------------------------


def shape(trims: dict[Point, float]) -> str:
    """What the four trims, read off, look like."""
    idle, raised, load = trims[IDLE], trims[RAISED], trims[LOAD]
    worst = min(trims.values())
    if worst > EDGE:
        return "normal"
    if idle < EDGE and load > 0.05:
        return "crosses"
    if load == worst and load < idle - 0.08:
        return "rises"
    if idle < 0 and raised / idle < 0.6:
        return "fades"
    return "fades-with-load" if idle < 0 and load / idle < 0.65 else "flat"


def shapes(kind: str) -> dict[str, float]:
    """How often each shape is called: degrees evenly, each of the four readings off by 3 %, drawn with a fixed seed."""
    draw, seen = Random(1), dict.fromkeys(("normal", "fades", "fades-with-load", "flat", "rises", "crosses"), 0.0)
    for degree in DEGREES:
        for _ in range(200):
            read = {p: trim(FAULTS[kind](p, degree), p) + draw.gauss(0, SPREAD) for p in POINTS}
            seen[shape(read)] += 1 / 200 / len(DEGREES)
    return seen


OWN, TILT = 0.035, 0.015  # of trim: a sound engine's own, and how it tilts over airflow, standard deviations; judgement


def test_a_sound_engine_seldom_has_a_shape() -> None:
    """Its own trim lies within 10 % nearly always (common practice, no source), which is 2.9 times `OWN`; most of what
    is called a shape comes of the four readings. The rules are within a factor of two, or at their least chance."""
    draw, seen, looks = Random(1), dict.fromkeys(("fades", "fades-with-load", "flat", "rises", "crosses"), 0.0), 40000
    for _ in range(looks):
        own, tilt = draw.gauss(0, OWN), draw.gauss(0, TILT)
        read = {p: own + tilt * k + draw.gauss(0, SPREAD) for p, k in zip(POINTS, (-1, -0.3, 0.3, 1), strict=True)}
        if (name := shape(read)) != "normal":
            seen[name] += 1 / looks
    book = rules()
    for name, worked in seen.items():
        said = chance(book, "trims-by-airflow", name)
        assert worked / 2 < said < max(2 * worked, 1.1 * book.settings.unlikeliest), (name, said, worked)


SHAPED = (
    "fuel-by-time",
    "fuel-by-injection",
    "injector-slow-to-close",
    "scale-error",
    "manifold-pressure-high",
    "recirculation-open",
)


@pytest.mark.parametrize("subject", [*SHAPED, "airflow-meter-fouled"])
def test_the_rules_have_the_shape(subject: str) -> None:
    """The shape called most is the one that the rules have likeliest, and each is within a fifth."""
    book, worked = rules(), shapes(SAME[subject])
    said = {name: chance(book, "trims-by-airflow", name, subject) for name in worked}
    rich_only = [name for name in worked if name != "normal"]
    assert max(rich_only, key=lambda n: said[n]) == max(rich_only, key=lambda n: worked[n])
    for name in worked:
        assert abs(said[name] - worked[name]) < 0.2, (subject, name, said[name], worked[name])


@pytest.mark.parametrize("subject", ["fuel-by-time", "fuel-by-injection", "recirculation-open"])
def test_where_it_shows_goes_with_how_strong_it_is(subject: str) -> None:
    """`shows` counts a sign that is too weak to be seen as not acting: it falls where the sum falls."""
    book, kind = rules(), SAME[subject]
    acts = {p: shows(book, subject, CONDITIONS[p]) for p in POINTS}
    strength = {p: -trim(FAULTS[kind](p, 1.0), p) for p in POINTS}
    for one in POINTS:
        for other in POINTS:
            if strength[one] > 1.7 * strength[other]:
                assert acts[one] >= acts[other], (one, other)


# ---- which of the rich codes, and in which frame -------------------------------------------------------------------

# How much of the driving in closed loop is spent at each point: judgement, of town and country mixed.
SPENT = {IDLE: 0.30, CRUISE: 0.60, LOAD: 0.10}
REGIONS = {IDLE: "code-rich-idle", CRUISE: "code-rich-off-idle", LOAD: "code-rich-high-load"}
FRAMES = {IDLE: "idle", CRUISE: "light-load", LOAD: "high-load"}
CODE_AT = -0.18


def where_set(kind: str) -> dict[Point, float]:
    """In which part of the driving the trim is beyond what sets a code: shares, together 1."""

    def passing(point: Point) -> float:
        return sum(trim(FAULTS[kind](point, d), point) < CODE_AT for d in DEGREES) / len(DEGREES)

    beyond = {p: part * passing(p) for p, part in SPENT.items()}
    total = sum(beyond.values())
    return {p: b / total for p, b in beyond.items()}


REGIONAL = ["fuel-by-time", "fuel-by-injection", "recirculation-open", "manifold-pressure-high"]


@pytest.mark.parametrize("subject", [*REGIONAL, "scale-error", "airflow-meter-fouled"])
def test_the_code_s_region_and_the_frame_follow_the_trims(subject: str) -> None:
    """A region that gets more than its part of the driving speaks for the fault, one that gets hardly any against."""
    book, regions = rules(), where_set(SAME[subject])
    for point, share in regions.items():
        code, otherwise = (chance(book, REGIONS[point], "present", s) for s in (subject, ""))
        framed, usual = (chance(book, "freeze-frame", FRAMES[point], s) for s in (subject, ""))
        if share > 1.5 * SPENT[point]:
            assert code > otherwise and framed > usual, (subject, point.name)
        if share < 0.1 * SPENT[point]:
            assert code <= otherwise and framed < usual, (subject, point.name)


@pytest.mark.parametrize("subject", [*REGIONAL, "scale-error", "airflow-meter-fouled"])
def test_the_frame_has_the_size(subject: str) -> None:
    """One frame in five is not stored, one in fourteen is from a cold engine; of the rest three in four tell truly
    where the trim went beyond, and one is of some other moment (judgement). Within a tenth."""
    for point, share in where_set(SAME[subject]).items():
        worked = (1 - 1 / 5 - 1 / 14) * (0.75 * share + 0.25 * SPENT[point])
        said = chance(rules(), "freeze-frame", FRAMES[point], subject)
        assert abs(said - worked) < 0.1, (subject, point.name, said, worked)


@pytest.mark.parametrize("subject", REGIONAL)
def test_what_the_owner_tells_follows_the_trims(subject: str) -> None:
    """Idling, driving steadily, pulling: told likelier where most of it falls, less likely where nothing does."""
    book, regions = rules(), where_set(SAME[subject])
    told = {IDLE: "idle", CRUISE: "cruise", LOAD: "pulling"}
    for point, share in regions.items():
        said, usual = (chance(book, "doing-what", told[point], s) for s in (subject, ""))
        if share > 1.5 * SPENT[point]:
            assert said > usual, (subject, point.name)
        if share < 0.1 * SPENT[point]:
            assert said <= usual, (subject, point.name)


# ---- how far a fault can take the trim at all ----------------------------------------------------------------------


def test_what_cannot_reach_a_code_seldom_has_one() -> None:
    """Code limits are 12 to 25 % by maker (common practice). Faults whose largest trim stays below them have a rich
    code less often than those that pass them."""
    small = {
        "barometer-wrong": trim(FAULTS["barometer"](IDLE, 1.0), IDLE),
        "supply-voltage-low": trim(FAULTS["supply voltage"](IDLE, 1.0), IDLE),
    }
    usual = chance(rules(), "code-rich", "present", "truly-rich")
    for fault, largest in small.items():
        assert largest > -0.06
        assert chance(rules(), "code-rich", "present", fault) < 0.3 * usual


def test_one_injector_of_four_is_a_quarter_on_the_bank() -> None:
    """A value corrects its injector by 10 to 15 %: wrong, it takes 4 % off the bank at most, which is no rich code. One
    of another flow, 40 % too much, takes 10 % off: its own cylinder is left at 0.77, the others at 1.11."""
    value, part = -0.15 / 4, -0.4 / 4
    assert value > -0.05 and part == pytest.approx(-0.10)
    assert 1 / (1 + 0.4 + part) == pytest.approx(0.77, abs=0.01) and 1 / (1 + part) == pytest.approx(1.11, abs=0.01)
    book = rules()
    wrong, other, usual = (
        chance(book, "code-rich", "present", s) for s in ("injector-value-wrong", "injector-wrong-part", "truly-rich")
    )
    assert wrong < 0.3 * usual and wrong < other < usual
    assert chance(book, "trim-idle", "rich", "injector-value-wrong") < 0.2


def test_a_barometer_too_high_is_rich_by_the_throttle_and_not_by_the_manifold() -> None:
    """By the throttle's angle air goes with the pressure before it: 5 kPa of 101 are 5 %. By the manifold's pressure it
    goes with what the exhaust leaves behind: of a cylinder of compression r = 10 (r - (pe / pi) ** (1 / 1.3)) / (r - 1)
    is fresh (a textbook's ideal cycle, from memory), which falls as the exhaust's pressure rises."""

    def fresh(exhaust: float, manifold: float) -> float:
        return (10 - (exhaust / manifold) ** (1 / 1.3)) / 9

    by_manifold = fresh(106.3, 32) / fresh(101.3, 32) - 1
    assert -0.02 < by_manifold < 0
    by_throttle = 106.3 / 101.3 - 1
    assert by_throttle == pytest.approx(0.05, abs=0.002)
    assert chance(rules(), "code-rich", "present", "barometer-wrong") < 0.1


def test_a_leak_of_its_own_charge_takes_the_others_near_misfire() -> None:
    """One of four leaks as much again as it needs: the bank loses a quarter, the leaker stands at lambda 0.57, the
    other three at 1.33, and a misfire code may name one of them."""
    bank = -1.0 / 4
    leaker, others = 1 / (1 + 1.0 + bank), 1 / (1 + bank)
    assert leaker == pytest.approx(0.57, abs=0.01) and others == pytest.approx(1.33, abs=0.01)
    book = rules()
    for fault in ("injector-leaks", "port-injector-leaks"):
        said = book.checks["code-misfire"].given[fault]
        assert said.elsewhere is not None
        assert said.elsewhere["present"].value > chance(book, "code-misfire", "present")


def test_a_stale_long_trim_is_cancelled_by_the_short_one() -> None:
    """Long +18 % with nothing left to correct: the short one takes 15 % of what is then given, and air and fuel fit.

    The sum is normal; before the loop closes, and where it is open, the long trim alone acts: 18 % rich."""
    long = 0.18
    short = 1 / (1 + long) - 1
    assert short == pytest.approx(-0.15, abs=0.01)
    assert abs(long + short) < 0.10 and (1 + long) * (1 + short) == pytest.approx(1.0)
    book = rules()
    stale = "learned-values-stale"
    assert chance(book, "code-rich", "present", stale) < 0.4 * chance(book, "code-rich", "present", "truly-rich")
    assert shows(book, stale, "cold-start") > shows(book, stale, "cleared-idle")
    assert chance(book, "how-warm", "cold", stale) > chance(book, "how-warm", "cold")
    for check in CHECKS.values():
        if check != "trim-load":  # there the loop is mostly open, and the trims stand still
            assert chance(book, check, "rich", stale) < 0.3, check


def test_charge_air_is_lost_under_boost_and_drawn_in_at_idle() -> None:
    """Between meter and throttle the pressure is above the air's under boost only. Flow through a hole goes with the
    root of the pressure across it: beside 80 kPa of boost 2 kPa at a light load are little, and at idle the filter's
    own drag turns the sign, so that air comes in that was not counted: lean."""
    over = {IDLE: -0.1, CRUISE: 2.0, LOAD: 80.0}
    lost = {p: copysign(sqrt(abs(kpa)), kpa) / p.air for p, kpa in over.items()}
    assert lost[LOAD] > 1.5 * lost[CRUISE] > 0 > lost[IDLE]
    book, leak = rules(), "charge-air-leak"
    rich_at = {p: chance(book, CHECKS[p], "rich", leak) for p in (IDLE, CRUISE, LOAD)}
    assert rich_at[LOAD] > 1.5 * rich_at[CRUISE] > 2 * rich_at[IDLE]
    assert chance(book, "trim-idle", "lean", leak) > 3 * chance(book, "trim-idle", "lean")
    assert chance(book, "code-lean-too", "present", leak) > chance(book, "code-lean-too", "present")
    assert chance(book, "freeze-frame", "high-load", leak) > 2 * chance(book, "freeze-frame", "high-load")
    assert chance(book, "code-rich-high-load", "present", leak) > 2 * chance(book, "code-rich-high-load", "present")


def test_one_wrong_injector_of_four_moves_its_bank_by_a_quarter_of_its_error() -> None:
    """20 to 80 % too much at one of four is -5 to -17 % of trim: about half of such are below -10 % as read."""
    degrees = [0.2 + 0.6 * n / 60 for n in range(61)]
    trims = [1 / (1 + d / 4) - 1 for d in degrees]
    assert (trims[0], trims[-1]) == pytest.approx((-0.05, -0.17), abs=0.005)
    below = sum(0.5 * (1 + erf((EDGE - t) / (SPREAD * sqrt(2)))) for t in trims) / len(trims)
    book = rules()
    for point in (IDLE, RAISED, CRUISE):
        assert chance(book, CHECKS[point], "rich", "injector-wrong-part") == pytest.approx(below, abs=0.05)
