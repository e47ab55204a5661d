"""A car through the session: it ends, and the same seed gives the same run. (One question takes a while: few cars.)"""

from __future__ import annotations

from tests.model.__main__ import line, played
from tests.model.fleet import car_with_complaint
from tests.model.play import MOST_STEPS


def test_a_car_through_the_session_and_once_more() -> None:
    one, again = (next(iter(played(1, seed=8))) for _ in range(2))
    run = one.run
    assert 0 < len(run.steps) <= MOST_STEPS and run.minutes > 0
    assert run.kind and 0 <= run.claimed <= 1 and len(one.slips) <= len(run.steps)
    assert not one.unseen, "asked without an observer, or it speaks in other outcomes"
    assert line(again) == line(one)


def test_another_seed_gives_other_cars() -> None:
    cars = [car_with_complaint(seed, 0)[0] for seed in (11, 12)]
    assert cars[0].broken != cars[1].broken
