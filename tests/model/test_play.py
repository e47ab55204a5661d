"""A few cars through the session: it ends, names what it asked, and the same seed gives the same run."""

from __future__ import annotations

from tests.model.__main__ import played
from tests.model.fleet import car_with_complaint
from tests.model.play import MOST_STEPS


def test_a_few_cars_through_the_session() -> None:
    found = list(played(3, seed=11))
    for one in found:
        run = one.run
        assert 0 < len(run.steps) <= MOST_STEPS and run.minutes > 0
        assert run.kind in ("settled", "place-open", "nothing-worth")
        assert 0 <= run.claimed <= 1 and len(one.slips) <= len(run.steps)
    assert [one.run for one in played(2, seed=11)] == [one.run for one in found[:2]]


def test_another_seed_gives_other_cars() -> None:
    cars = [car_with_complaint(seed, 0)[0] for seed in (11, 12)]
    assert cars[0].broken != cars[1].broken
