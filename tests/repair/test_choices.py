"""What each course costs: against every state of the car listed, one by one, independently of the program's sums."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, product
from typing import NamedTuple

import pytest

from reasoner.inference.plan import Situation
from reasoner.repair.choices import Stake, all_choices, courses, expected, fate, losses
from reasoner.repair.followup import tables_after
from reasoner.repair.jobs import Job, cost, job_effort
from reasoner.repair.prices import usual
from reasoner.repair.reckoning import goes_within
from reasoner.rulebook.model import Effort
from reasoner.session.deciding import concluded, decide
from tests.repair.cars import HERE, answered, book, job, small_car, stake

# ---- the independent enumeration -------------------------------------------------------------------------------------
# Written from the words of the model, with the small rules' numbers typed in again: it shares nothing with `choices`
# but the belief and the law of wear.

HOUR, COMEBACK, HAND_ON = 60.0, 150.0, 150.0
ACCESS = 110.0  # minutes to get at the injectors; 40 for each on top
PART = 240.0  # one injector; 60 for seals with the first, 25 with every further one
INJECTOR, METER, LEARN, LOOK, CLEAN = "new-injector", "new-meter", "learn", "look", "clean-it"
MINUTES = {METER: 20, LEARN: 45, LOOK: 60, CLEAN: 30}
MONEY = {METER: 180, LEARN: 0, LOOK: 0, CLEAN: 20}
GOES_WRONG = {INJECTOR: 0.05, METER: 0.02}
LEAKS = ("leak", "all-worn")


def price(repair: str, count: int, hour: float = HOUR, access: float = ACCESS, part: float = PART) -> float:
    """By hand: the first injector 300 and 150 min, every further one 265 and 40 min."""
    if not count:
        return 0.0
    if repair == INJECTOR:
        return 60 + part + (count - 1) * (25 + part) + (access + count * 40) / 60 * hour
    return MONEY[repair] + MINUTES[repair] / 60 * hour


def need(cause: str, where: str) -> tuple[str, frozenset[int]]:
    if cause == "leak":
        return INJECTOR, frozenset(int(word) for word in where.replace(" and ", " ").split() if word.isdecimal())
    if cause == "all-worn":
        return INJECTOR, frozenset((1, 2, 3, 4))
    return {"meter": METER, "stale": LEARN, "else": LOOK}[cause], frozenset((0,))


class Foreseen(NamedTuple):
    """Money expected in all, and of it what driving on does; chances: it cures, another injector gives out, the work
    brings something in, the car comes back for whatever reason."""

    money: float
    cures: float
    driving: float
    another: float
    brought_in: float
    comes_back: float


def at_once(
    found: Stake,
    work: list[tuple[str, frozenset[int]]],
    hour: float = HOUR,
    access: float = ACCESS,
    part: float = PART,
) -> Foreseen:
    """State by state: the cause, what cleaning does, which of the injectors left in give out, which places of the work
    go wrong."""
    total = cured_in_all = driving = another = wrong_in_all = back = 0.0
    driven = found.tables.vehicle.distance_km
    goes = goes_within((160000.0, 220000.0), driven, 20000.0) if driven is not None else 0.0
    for cause, p in zip(found.tables.causes, found.chances, strict=True):
        repair, places = need(cause.fault, cause.where)
        done = frozenset().union(*(at for name, at in work if name == repair))
        luck = 0.0
        if cause.fault in LEAKS:
            luck = max((0.1 for name, _ in work if name == CLEAN), default=0.0)
        mended = cause.fault != "else" and places <= done
        chances = [(1.0, True)] if mended else [(luck, True), (1 - luck, False)]
        harm = 2500 * (1 - (1 - 0.02) ** 0.1) if cause.fault in LEAKS else 0.0
        others = sorted({1, 2, 3, 4} - places - done) if repair == INJECTOR else []
        for chance, cured in chances:
            spent = sum(price(name, len(at), hour, access, part) for name, at in work)
            if not cured:
                spent += (
                    COMEBACK
                    + harm
                    + price(repair, len(places if cause.fault == "else" else places - done), hour, access, part)
                )
            for gone in (set(c) for n in range(len(others) + 1) for c in combinations(others, n)):
                wears = 1.0
                for other in others:
                    wears *= goes if other in gone else 1 - goes
                comebacks = len(gone) * (COMEBACK + price(repair, 1, hour, access, part))
                for wrong in product((False, True), repeat=sum(len(at) for _, at in work)):
                    happens, again, place = 1.0, 0.0, iter(wrong)
                    for name, at in work:
                        own = [next(place) for _ in at]
                        for bad in own:
                            happens *= GOES_WRONG.get(name, 0.0) if bad else 1 - GOES_WRONG.get(name, 0.0)
                        labour = (access + 40 if name == INJECTOR else MINUTES[name]) / 60 * hour
                        again += (COMEBACK + labour) * any(own)
                    state = p * chance * wears * happens
                    total += state * (spent + comebacks + again)
                    cured_in_all += state * cured
                    driving += state * harm * (not cured)
                    another += state * bool(gone)
                    wrong_in_all += state * any(wrong)
                    back += state * (not cured or bool(gone) or any(wrong))
    return Foreseen(total, cured_in_all, driving, another, wrong_in_all, back)


def as_plain(work: tuple[Job, ...]) -> list[tuple[str, frozenset[int]]]:
    return [(j.repair, frozenset(int(p.split()[-1]) if p != "engine" else 0 for p in j.places)) for j in work]


@pytest.mark.parametrize("distance", ["198000 km", "40000 km", ""])
@pytest.mark.parametrize("wet", [{3: "wet"}, {2: "wet", 3: "wet"}, {}], ids=["one wet", "two wet", "none wet"])
def test_every_choice_matches_the_enumeration(wet: dict[int, str], distance: str) -> None:
    fields = {"distance": distance} if distance else {}
    workup = answered(answered(small_car(**fields), "plugs", wet), "hold", "falls")
    found = stake(workup)
    seen = set()
    for choice in all_choices(found):
        if choice.kind not in ("in turn", "watch", "hand on"):
            wanted = at_once(found, as_plain(choice.work))
            here = Foreseen(
                choice.expected, choice.cures, choice.driving, choice.another, choice.brought_in, choice.comes_back
            )
            assert here == pytest.approx(wanted), choice.kind
            assert choice.not_cured == pytest.approx(1 - wanted.cures), choice.kind
            assert choice.now == pytest.approx(sum(price(name, len(at)) for name, at in as_plain(choice.work)))
            seen.add(choice.kind)
    assert {"alone", "all", "cheaper"} <= seen if wet else "alone" in seen


def test_one_after_the_other_matches_the_enumeration() -> None:
    """Each failure brings the car back once more; what was done stays done."""
    found = stake(answered(small_car(distance="90000 km"), "hold", "falls"))
    tries = courses(found)["in turn"]
    total = 0.0
    for cause, p in zip(found.tables.causes, found.chances, strict=True):
        repair, places = need(cause.fault, cause.where)
        harm = 2500 * (1 - (1 - 0.02) ** 0.1) if cause.fault in LEAKS else 0.0
        spent, done = 0.0, frozenset[int]()
        for number, (name, at) in enumerate(as_plain(tries)):
            labour = (150 if name == INJECTOR else MINUTES[name]) / 60 * HOUR
            wrong = 1 - (1 - GOES_WRONG.get(name, 0.0)) ** len(at)
            spent += price(name, len(at)) + wrong * (COMEBACK + labour) + (COMEBACK + harm if number else 0.0)
            done |= at if name == repair else frozenset()
            if cause.fault != "else" and places <= done:
                break
        else:
            spent += COMEBACK + harm + price(repair, len(places if cause.fault == "else" else places - done))
        if repair == INJECTOR:
            old = {1, 2, 3, 4} - places - done
            spent += len(old) * goes_within((160000.0, 220000.0), 90000.0, 20000.0) * (COMEBACK + price(repair, 1))
        total += p * spent
    assert expected(found, "in turn", tries) == pytest.approx(total)


def test_of_one_after_the_other_only_the_first_is_done_now() -> None:
    found = stake(answered(small_car(distance="90000 km"), "hold", "falls"))
    by_kind = {choice.kind: choice for choice in all_choices(found)}
    turns = by_kind["in turn"]
    now = at_once(found, as_plain(turns.work[:1]))
    assert len(turns.work) > 1
    assert turns.now == pytest.approx(price(INJECTOR, 1)) and turns.effort == Effort(150, 300)
    assert turns.cures == pytest.approx(now.cures)
    assert turns.comes_back == pytest.approx(now.comes_back)
    assert turns.driving == pytest.approx(now.driving)


def test_where_nothing_is_wrong_work_costs_what_it_costs_and_no_more() -> None:
    """After the work, with the fault gone: neither driven with nor back for it, but for what new work brings in."""
    before = stake(answered(small_car(), "plugs", {3: "wet"}))
    chances = {c.name: p for c, p in zip(before.tables.causes, before.chances, strict=True)}
    tables = tables_after(before.book, before.tables.vehicle, chances, [job(INJECTOR, 3)])
    now = Situation(0 * tables.prior, tables.prior, None)
    found = Stake(before.book, tables, now, before.prices)
    (fine,) = (number for number, cause in enumerate(tables.causes) if cause.fault == "fine")
    work = [job(INJECTOR, 4)]
    assert losses(found, work)[fine] == pytest.approx(price(INJECTOR, 1) + 0.05 * (COMEBACK + 150 / 60 * HOUR))
    assert fate(found, work, fine).cured == 1.0


def test_no_work_mends_what_is_not_in_these_rules() -> None:
    """A closer look is what it calls for, and comes again when the car is back."""
    found = stake(small_car())
    (unknown,) = (number for number, cause in enumerate(found.tables.causes) if cause.fault == "else")
    after = fate(found, [job(LOOK)], unknown)
    assert (after.cured, after.later) == (0.0, pytest.approx(COMEBACK + price(LOOK, 1)))


def test_one_after_the_other_does_nothing_twice() -> None:
    """Pairs of cylinders are likely too; after one of them only the other is left."""
    tries = courses(stake(answered(small_car(distance="90000 km"), "plugs", {2: "wet", 3: "wet"})))["in turn"]
    done = [(job.repair, place) for job in tries for place in job.places]
    assert len(done) == len(set(done)) > 2


def test_watching_matches_the_enumeration() -> None:
    """Four in five stale values have gone by themselves; the rest is driven with, and then met by the best work."""
    found = stake(answered(small_car(distance="120000 km"), "hold", "falls"))
    watch = next(choice for choice in all_choices(found) if choice.kind == "watch")
    left = [p * (0.2 if c.fault == "stale" else 1.0) for c, p in zip(found.tables.causes, found.chances, strict=True)]
    harm = sum(p * 2500 * (1 - 0.98**0.1) for c, p in zip(found.tables.causes, left, strict=True) if c.fault in LEAKS)
    after = Stake(found.book, found.tables, _scaled(found, left), found.prices)
    works = [as_plain(work) for kind, work in found.acts if work and kind != "in turn"]
    assert {tuple(work) for work in works} >= {(work,) for work in _works(found)}
    best = min(at_once(after, work).money for work in works)
    assert watch.expected == pytest.approx(harm + sum(left) * 40 + best)  # another visit
    assert watch.driving == pytest.approx(harm)
    assert watch.cures == pytest.approx(1 - sum(left))


def test_to_hand_it_on_costs_that_and_all_that_the_right_repair_costs() -> None:
    found = stake(answered(small_car(distance="120000 km"), "hold", "falls"))
    choice = next(choice for choice in all_choices(found) if choice.kind == "hand on")
    total = 0.0
    for number, (cause, p) in enumerate(zip(found.tables.causes, found.chances, strict=True)):
        repair, places = need(cause.fault, cause.where)
        alone = Stake(found.book, found.tables, _scaled(found, [float(c == number) for c in range(14)]), found.prices)
        known = price(repair, 1) if cause.fault == "else" else at_once(alone, [(repair, places)]).money
        total += p * (HAND_ON + known)
    assert choice.expected == pytest.approx(total)


@pytest.mark.parametrize("hold", ["holds", "falls"])
@pytest.mark.parametrize("wet", [{3: "wet"}, {2: "wet", 3: "wet"}, {}], ids=["one wet", "two wet", "none wet"])
def test_the_best_choice_is_the_best_of_everything_that_can_be_done(wet: dict[int, str], hold: str) -> None:
    """What the loop compares a look with is the cheapest of the choices, whatever was seen: one decision."""
    workup = answered(answered(small_car(distance="150000 km"), "plugs", wet), "hold", hold)
    found = workup.outlook
    assert concluded(workup).best.expected == pytest.approx(found.stakes.least(found.stake.now.probability))


def test_what_costs_nothing_is_done_first_and_the_case_goes_on() -> None:
    """Stale values, where they are learned anew in 20 minutes for nothing; if that has not helped, the best."""
    workup = answered(small_car(distance="120000 km"), "hold", "holds")
    found = stake(workup)
    assert not [c for c in all_choices(found) if c.kind == "free"]  # three quarters of an hour are not nothing
    quick = {**found.book.repairs, LEARN: replace(found.book.repairs[LEARN], minutes=20.0)}
    found = Stake(replace(found.book, repairs=quick), found.tables, found.now, usual(workup.book))
    choice = next(c for c in all_choices(found) if c.kind == "free")
    assert choice.work == (job(LEARN),) and choice.now == pytest.approx(20.0)
    stale = [p for cause, p in zip(found.tables.causes, found.chances, strict=True) if cause.fault == "stale"]
    assert choice.cures == pytest.approx(sum(stale))
    left = [0.0 if c.fault == "stale" else p for c, p in zip(found.tables.causes, found.chances, strict=True)]
    best = min(sum(p * loss for p, loss in zip(left, row, strict=True)) for row in found.table.tolist())
    assert choice.expected == pytest.approx(20.0 + best)


def test_with_a_look_first_it_costs_what_the_look_saves_less() -> None:
    workup = small_car(distance="150000 km")
    look = workup.look
    assert look is not None
    test = decide(workup).best
    others = concluded(workup).best.expected
    assert test.expected == pytest.approx(others - look.saves) and test.check is look


def _works(found: Stake) -> set[tuple[str, frozenset[int]]]:
    """All that may be needed on a single-bank four: by cause, and all four injectors."""
    needs = {need(c.fault, c.where) for c in found.tables.causes if c.fault != "else"}
    return {*needs, (INJECTOR, frozenset((1, 2, 3, 4)))}


def _scaled(found: Stake, chances: list[float]) -> Situation:
    factors = [new / old for new, old in zip(chances, found.chances, strict=True)]
    return replace(found.now, showing=found.now.showing * factors, quiet=found.now.quiet * factors)


# ---- effort ----------------------------------------------------------------------------------------------------------


def test_a_set_costs_the_first_and_then_less() -> None:
    found = stake(small_car())
    assert job_effort(found.book, found.prices, job(INJECTOR, 3)) == Effort(150, 300)
    assert job_effort(found.book, found.prices, job(INJECTOR, 1, 2, 3, 4)) == Effort(270, 1095)
    dear = stake(small_car(), part=340, access={INJECTOR: 200.0}, hour=90.0)
    assert job_effort(dear.book, dear.prices, job(INJECTOR, 1, 2, 3, 4)) == Effort(270 + 90, 1095 + 4 * 100)
    assert cost(dear.book, dear.prices, job(INJECTOR, 3)) == pytest.approx(400 + 240 / 60 * 90)
    assert cost(dear.book, dear.prices, Job(INJECTOR, frozenset())) == 0


def test_choices_are_different_work() -> None:
    found = courses(stake(answered(small_car(), "plugs", {3: "wet"})))
    assert len(set(found.values())) == len(found)
    assert found["alone"] == (job(INJECTOR, 3),) and found["all"] == (job(INJECTOR, 1, 2, 3, 4),)
    assert "bank" not in found  # one sensor watches all four: that is `all`


def test_two_are_the_likeliest_and_the_next_place_as_one_piece_of_work() -> None:
    found = courses(stake(answered(answered(small_car(), "plugs", {2: "wet", 3: "wet"}), "hold", "falls")))
    assert found["two"] == (job(INJECTOR, 2, 3),) and found["alone"] in {(job(INJECTOR, 2),), (job(INJECTOR, 3),)}


def test_cheaper_is_what_may_be_meant_or_what_the_rules_name_instead() -> None:
    """Cleaning is named instead of an injector, not of a meter, and mends no meter, however cheap."""
    wet = courses(stake(answered(small_car(), "plugs", {3: "wet"})))
    assert wet["cheaper"] == (job(CLEAN),)
    high = stake(answered(small_car(distance="120000 km"), "meter-compared", "high", "idle"), hour=200.0)
    assert courses(high)["alone"] == (job(METER),)
    assert courses(high).get("cheaper", ()) in {(), (job(LEARN),)}


def test_the_bank_where_two_sensors_watch() -> None:
    workup = small_car(layout="V 6")
    found = courses(stake(answered(workup, "plugs", {3: "wet"})))
    assert found["bank"] == (job(INJECTOR, 1, 3, 5),) and found["all"] == (job(INJECTOR, 1, 2, 3, 4, 5, 6),)


def test_the_small_rules_are_what_the_enumeration_says() -> None:
    """So that nobody changes the one without the other."""
    repairs = book(HERE / "small.yaml").repairs
    for name, minutes in MINUTES.items():
        assert (repairs[name].minutes, repairs[name].money) == (minutes, MONEY[name])
    for name, wrong in GOES_WRONG.items():
        assert repairs[name].goes_wrong is not None and repairs[name].goes_wrong.value == pytest.approx(wrong)
