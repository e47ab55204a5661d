"""The car as it becomes known: what it has not got is no suspect in any document; taken back, all is as it was."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from reasoner.casebook.events import Answered, Event, FactsTold, Finished, JobTaken, WorkTaken, event_as_written
from reasoner.casebook.shape import read_event
from reasoner.network.equipment import chance, following
from reasoner.network.graph import fault_share
from reasoner.network.vehicle import Vehicle, vehicle_from, with_facts
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.parts import EQUIPMENT, PROPERTIES
from reasoner.session import acts, fitted
from reasoner.session.acts import Refused
from reasoner.session.after_work import gone_on, workup_now
from reasoner.session.concluding import belief, verdict
from reasoner.session.protocol import Talk, hear
from reasoner.session.workup import Workup, begin
from tests.shipped import book, garage, thinned

BOOK: Rulebook = book()


def car(**fields: str) -> Vehicle:
    found, mistakes = vehicle_from({"injection": "port", **{k.replace("_", " "): v for k, v in fields.items()}})
    assert found is not None, mistakes
    return found


def told(workup: Workup, **facts: str) -> Workup:
    return workup.after(acts.facts(workup, {k.replace("_", " "): v for k, v in facts.items()}))


def seen(workup: Workup, *answers: tuple[str, str]) -> Workup:
    for name, outcome in answers:
        workup = workup.after(acts.answer(workup, name, {0: outcome}))
    return workup


LOOKS = [("how-warm", "hot-restart"), ("doing-what", "idle"), ("hard-hot-start", "yes"), ("smell", "bonnet")]


def needing(key: str, value: str) -> set[str]:
    """Faults that a car with this value cannot have."""
    return {f.name for f in BOOK.faults.values() if value not in f.only.values.get(key, (value,))}


@pytest.mark.parametrize("key", thinned(EQUIPMENT, 3))
def test_what_the_car_has_not_got_has_no_probability_anywhere(key: str) -> None:
    start = seen(garage().begin(car()), *LOOKS)
    for value in PROPERTIES[key]:
        after = told(start, **{key.replace(" ", "_"): value}) if key != "stop-start" else start
        out = needing(key, value) if key != "stop-start" else set()
        for workup in (after, seen(after, ("comes-back", "again")), told(after, model_year="2011")):
            chances = belief(workup, ranges=False).all
            assert sum(chances.values()) == pytest.approx(1)
            assert not {cause.split("@")[0] for cause in chances} & out
            for table in workup.tables.checks:
                assert value in BOOK.checks[table.name].only.values.get(key, (value,))
        if out:
            assert verdict(after, stopped=True).lead.fault not in out


@pytest.mark.parametrize("key", thinned(EQUIPMENT, 3, 1))
def test_taken_back_the_belief_is_the_same_to_the_last_bit(key: str) -> None:
    start = seen(garage().begin(car(distance="150000 km")), *LOOKS)
    for value in PROPERTIES[key]:
        after = start.after(acts.facts(start, {key: value}))
        back = after.after(acts.undo(after))
        assert np.array_equal(back.belief.probability, start.belief.probability)
        assert [c.name for c in back.tables.causes] == [c.name for c in start.tables.causes]
        assert back.vehicle.fields == start.vehicle.fields
        again = begin(BOOK, car(distance="150000 km"), [read_event(event_as_written(e)) for e in back.events])
        assert np.array_equal(again.belief.probability, start.belief.probability)


def test_a_case_read_again_knows_the_car_as_the_session_did() -> None:
    start = seen(garage().begin(car()), *LOOKS)
    after = seen(told(start, return_line="no", gas_conversion="yes"), ("comes-back", "again"))
    events = [read_event(event_as_written(event)) for event in after.events]
    for again in (begin(BOOK, car(), events), workup_now(BOOK, car(), events), garage().begin(car(), events)):
        assert np.array_equal(again.belief.probability, after.belief.probability)
    assert garage().chapters(car(), events)[0].workup.vehicle.properties["gas conversion"] == "yes"


def test_what_follows_is_out_too_and_is_said() -> None:
    start = garage().begin(car())
    after = told(start, return_line="no")
    assert after.vehicle.properties["rail vacuum hose"] == "no"
    assert "regulator-hose" in start.tables.check_number and "regulator-hose" not in after.tables.check_number
    gone = fitted.gone(start, after)
    assert "Regulator leaks into its vacuum hose" in gone and "1 check" in gone
    assert following(BOOK, {"return line": "no", "rail vacuum hose": "yes"})["rail vacuum hose"] == "yes"


def test_a_car_known_to_have_it_is_suspected_by_the_chance_that_a_car_has_it() -> None:
    """Bayes: P(fault | has it) / P(other | has it) = their ratio over all cars, over P(has it)."""
    start, entry = garage().begin(car()), BOOK.equipment["gas-conversion"]
    after = told(start, gas_conversion="yes")
    assert entry.chance is not None

    def odds(workup: Workup) -> float:
        found = belief(workup, ranges=False).all
        return found["gas-conversion"] / found["purge-valve-leaks"]

    assert odds(after) == pytest.approx(odds(start) / entry.chance.value)


def test_the_year_moves_what_nobody_has_looked_for() -> None:
    entry = BOOK.equipment["rail-vacuum-hose"]
    assert chance(entry, car(model_year="1998")) > chance(entry, car()) > chance(entry, car(model_year="2014"))
    old, new = (belief(garage().begin(car(model_year=y)), ranges=False).all for y in ("1998", "2014"))
    assert old["regulator-diaphragm"] > 5 * new["regulator-diaphragm"]


def test_without_facts_the_belief_is_what_the_shares_say() -> None:
    """A car of which nothing is known is any car: knowing of equipment changes nothing for it."""
    faults = [f for f in BOOK.faults.values() if not f.after_work and f.share["port"] > 0]
    start = garage().begin(car())
    there = set(start.tables.faults)
    by_fault = dict.fromkeys(there, 0.0)
    for cause, p in zip(start.tables.causes, start.tables.prior, strict=True):
        by_fault[cause.fault] += float(p)
    for fault in faults:
        if fault.name in there:
            ratio = by_fault[fault.name] / by_fault["purge-valve-leaks"]
            shares = fault_share(fault, car()) / fault_share(BOOK.faults["purge-valve-leaks"], car())
            assert fault.anything_else or ratio == pytest.approx(shares)


def test_asked_once_in_one_line_when_it_matters() -> None:
    start = seen(garage().begin(car()), *LOOKS)
    due = fitted.open_facts(start)
    assert due and all(doc.fact not in start.vehicle.properties for doc in due)
    unknown = start.after(acts.facts(start, {due[0].fact: ""}))
    assert due[0].fact not in {doc.fact for doc in fitted.open_facts(unknown)}
    assert np.array_equal(unknown.belief.probability, start.belief.probability)


def test_what_a_check_asked_is_not_asked_as_a_fact_and_the_other_way_round() -> None:
    start = told(garage().begin(car()), gas_conversion="yes")
    assert "not-as-built" not in start.tables.check_number
    other = seen(garage().begin(car()), ("not-as-built", "gas"))
    assert "gas conversion" not in {doc.fact for doc in fitted.open_facts(other)}


def test_after_work_too() -> None:
    start = seen(garage().begin(car()), *LOOKS)
    step = start.record.steps
    work: Sequence[Event] = (
        WorkTaken(step=step + 1, jobs=(JobTaken("replace-purge-valve", ("engine",)),)),
        Finished(step=step + 2),
    )
    done = workup_now(BOOK, car(), (*start.events, *work))
    after = done.after(acts.facts(done, {"rail vacuum hose": "no"}))
    found = dict(zip((c.name for c in after.tables.causes), after.belief.probability, strict=True))
    assert found["regulator-diaphragm"] == 0.0 and sum(found.values()) == pytest.approx(1)
    assert all(np.isfinite(list(found.values())))
    back = after.after(acts.undo(after))
    assert np.array_equal(back.belief.probability, done.belief.probability)
    all_events = (*start.events, *work)
    assert gone_on(done, all_events, acts.facts(done, {"rail vacuum hose": "no"})).belief.probability.sum() > 0.99


@pytest.mark.parametrize(
    ("facts", "says"),
    [
        ({"sunroof": "yes"}, '"sunroof" is no fact of a car'),
        ({"return line": "maybe"}, '"maybe" is no return line'),
        ({"model year": "14"}, '"14" is no model year'),
        ({"displacement": "1000 L"}, '"1000 L" is no displacement'),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(facts: dict[str, str], says: str) -> None:
    start = garage().begin(car())
    with pytest.raises(Refused, match=says):
        acts.facts(start, facts)
    with pytest.raises(Refused, match=says):
        hear(Talk(start), {"type": "facts", "facts": facts})


def test_another_program_tells_and_takes_back() -> None:
    talk = Talk(seen(garage().begin(car()), *LOOKS))
    before = talk.state(ranges=False)["belief"]["all"]
    talk, events, _ = hear(talk, {"type": "facts", "facts": {"return line": "no", "displacement": "1.6 L"}})
    assert isinstance(events[0], FactsTold) and talk.workup.vehicle.litres == pytest.approx(1.6)
    assert "regulator-diaphragm" not in talk.state(ranges=False)["belief"]["all"]
    talk, _, _ = hear(talk, {"type": "undo"})
    assert talk.state(ranges=False)["belief"]["all"] == before


def test_a_wrong_fact_in_a_file_leaves_the_car_as_it_was() -> None:
    events = [FactsTold(step=1, facts={"return line": "perhaps", "gas conversion": "yes"})]
    workup = garage().begin(car(), events)
    assert "return line" not in workup.vehicle.properties and workup.vehicle.properties["gas conversion"] == "yes"
    assert with_facts(car(), {"return line": "perhaps"})[1]


def test_answers_given_before_to_what_it_has_not_got_are_kept_and_not_weighed() -> None:
    start = garage().begin(car())
    looked = start.after(acts.answer(start, "regulator-hose", {0: BOOK.checks["regulator-hose"].outcomes[1].name}))
    after = told(looked, rail_vacuum_hose="no")
    plain = told(start, rail_vacuum_hose="no")
    assert np.allclose(after.belief.probability, plain.belief.probability)
    assert any(isinstance(event, Answered) for event in after.events)


def test_another_program_says_at_a_check_that_this_car_has_none() -> None:
    """It is the fact, to the last bit, and taking it back restores the belief; where it is not plain what is meant it
    is refused."""
    start = seen(garage().begin(car()), *LOOKS)
    needs = [c.name for c in start.tables.checks if len(fitted.needed_by(start, c.name)) == 1]
    assert "regulator-hose" in needs
    for name in needs:
        fact = fitted.needed_by(start, name)[0]
        talk, _, _ = hear(Talk(start), {"type": "pass", "check": name, "why": "none"})
        same = start.after(acts.facts(start, {fact.fact: fact.values[-1]}))
        assert np.array_equal(talk.workup.belief.probability, same.belief.probability), name
        back, _, _ = hear(talk, {"type": "undo"})
        assert np.array_equal(back.workup.belief.probability, start.belief.probability)
    with pytest.raises(Refused, match="hangs on nothing"):
        hear(Talk(start), {"type": "pass", "check": "comes-back", "why": "none"})
