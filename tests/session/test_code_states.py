"""A code typed with its state answers what is asked of the state; and nobody is asked what was typed."""

from __future__ import annotations

import pytest

from reasoner.casebook.events import CodeRead, CodesRead
from reasoner.measure.codes import CODE_STATES, HISTORY
from reasoner.rulebook.parts import READ_STATES
from reasoner.session import acts
from reasoner.session.words import codes_text
from reasoner.session.workup import Workup
from tests.fleet import a_vehicle
from tests.shipped import book, car, garage

CHECK = "code-still-live"


def read(*codes: tuple[str, list[str]], complete: bool = True) -> Workup:
    start = garage().begin(car(injection="port"))
    return start.after(acts.list_codes(start, codes, complete))


def asked(workup: Workup) -> bool:
    number = workup.tables.check_number[CHECK]
    return (number, None) not in workup.situation.done


def said(workup: Workup) -> tuple[float, ...] | None:
    number = workup.tables.check_number[CHECK]
    weights = [a.weights[0] for spell in workup.spells for a in spell.answers if a.check == number]
    return weights[0] if weights else None


def test_the_words_for_states_are_those_that_people_type() -> None:
    assert set(READ_STATES) == {*CODE_STATES, HISTORY}


@pytest.mark.parametrize(
    ("states", "right"),
    [(["pending"], (0, "sure")), (["pending", "permanent"], (0, "sure")), (["stored", "pending"], (0, "sure")),
     (["history"], (1, "sure")), (["stored", "history"], (1, "sure"))],
)  # fmt: skip
def test_the_state_is_the_answer(states: list[str], right: tuple[int, str]) -> None:
    workup = read(("P0172", states))
    weights = said(workup)
    assert weights is not None
    assert weights[right[0]] / sum(weights) == pytest.approx(workup.book.settings.report_right[right[1]])
    assert not asked(workup)


def test_what_does_not_tell_is_not_asked_either_and_a_code_without_a_state_is() -> None:
    permanent, bare = read(("P0172", ["permanent"])), read(("P0172", []))
    assert said(permanent) is None
    assert not asked(permanent)
    assert said(bare) is None
    assert asked(bare)


def test_stored_alone_tells_of_no_other_state_where_none_was_read() -> None:
    """The stored ones may be all that anybody looked at; where another code was read as pending, that list was read."""
    alone, beside = read(("P0172", ["stored"])), read(("P0172", ["stored"]), ("P0171", ["stored"]))
    assert said(alone) is None and asked(alone)
    assert said(beside) is None and asked(beside)
    for state in ("pending", "permanent", "history"):
        other = read(("P0172", ["stored"]), ("P0301", [state]))
        weights = said(other)
        assert weights is not None and not asked(other)
        assert weights[1] / sum(weights) == pytest.approx(other.book.settings.report_right["think so"])


def test_states_of_other_codes_say_nothing_of_the_rich_one() -> None:
    other, none = read(("P0301", ["pending"])), read()
    assert said(other) is None and not asked(other)  # no rich code is there to be asked about
    assert said(none) is None and not asked(none)
    assert asked(read(("P0301", ["pending"]), complete=False))


def test_an_old_code_makes_what_was_mended_likelier_than_a_pending_one() -> None:
    found = []
    for state in ("history", "stored", "pending"):
        workup = read(("P0172", [state]), ("P0301", ["pending"]))
        number = workup.tables.cause_number["mended-before"]
        found.append(workup.belief.probability[number])
    assert found[0] > found[1] > found[2]


def test_every_age_of_a_rich_code_has_its_answer() -> None:
    """The two answers meet at one figure, so that a code of two weeks is one of them."""
    first, second = (outcome.text for outcome in book().checks["code-still-live"].outcomes)
    assert "within two weeks or 500 km" in first and "longer ago" in second


def test_a_code_that_was_not_listed_is_no_answer_that_anybody_gave() -> None:
    """In words: not `no`, as if it had been asked."""
    workup = garage().begin(a_vehicle(), [CodesRead(step=1, codes=(CodeRead("P0172", ("stored",)),))])
    said = {
        workup.tables.checks[e.check].name: codes_text(workup, e.check, e.weights) for e in workup.spells[0].answers
    }
    title = book().checks["code-purge-when-shut"].title
    assert said["code-purge-when-shut"] == f"{title}: not on the list of codes"
    assert said["code-rich"].endswith("bank 1 rich code")
