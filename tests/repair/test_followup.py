"""After the work: cured, not cured, or brought in by it; with the small rules, everything by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from reasoner.network.graph import build_graph
from reasoner.network.tables import Tables, compile_tables
from reasoner.repair.choices import Stake
from reasoner.repair.followup import mended, prior_after, tables_after
from tests.repair.cars import SHIPPED, answered, book, car, job, small_car, stake
from tests.shipped import thinned

SHARES = {"seal": 30.0, "hose": 10.0, "stale": 20.0}  # `share` and `raises` of the small rules, for the injector


def before() -> Stake:
    return stake(answered(small_car(distance="150000 km"), "plugs", {3: "wet"}))


def after(found: Stake, *cylinders: int) -> tuple[Tables, dict[str, float]]:
    chances = {c.name: p for c, p in zip(found.tables.causes, found.chances, strict=True)}
    tables = tables_after(found.book, found.tables.vehicle, chances, [job("new-injector", *cylinders)])
    return tables, {c.name: p for c, p in zip(tables.causes, tables.prior.tolist(), strict=True)}


@pytest.mark.parametrize("cylinders", [(3,), (1, 2, 3, 4)])
def test_by_hand(cylinders: tuple[int, ...]) -> None:
    found = before()
    chances = {c.name: p for c, p in zip(found.tables.causes, found.chances, strict=True)}
    _, now = after(found, *cylinders)

    def is_mended(name: str) -> bool:
        fault, _, place = name.partition("@")
        if fault == "all-worn":
            return len(cylinders) == 4
        return fault == "leak" and {int(n) for n in place.split("-") if n.isdecimal()} <= set(cylinders)

    cured = sum(p for name, p in chances.items() if is_mended(name))
    wrong = cured * (1 - 0.95 ** len(cylinders))
    assert sum(now.values()) == pytest.approx(1)
    assert now["fine"] == pytest.approx(cured - wrong)
    for name, p in chances.items():
        left = 0.0 if is_mended(name) else p
        if name == "stale":
            left += wrong * SHARES["stale"] / sum(SHARES.values())
        assert now[name] == pytest.approx(left), name
    assert now["hose"] == pytest.approx(wrong * 10 / 60)
    seals = {name: p for name, p in now.items() if name.startswith("seal@")}
    assert sum(seals.values()) == pytest.approx(wrong * 30 / 60)
    if cylinders == (3,):  # a tenth of it beside the work, at the three others
        assert seals["seal@cylinder-3"] == pytest.approx(0.9 * wrong * 30 / 60)
        assert seals["seal@cylinder-1"] == pytest.approx(0.1 / 3 * wrong * 30 / 60)
    else:
        assert len({round(p, 12) for p in seals.values()}) == 1


def test_of_what_was_mended_a_part_of_the_cars_had_two_faults() -> None:
    """By hand: half of one car in five with two, shared as the rules say of any car. A fault that the work mends at one
    place has no share, at its other places neither; and what stands for nothing being wrong has the rest."""
    found = before()
    found = replace(found, book=replace(found.book, settings=replace(found.book.settings, two_faults=0.2)))
    chances = {c.name: p for c, p in zip(found.tables.causes, found.chances, strict=True)}
    tables, now = after(found, 3)
    _, alone = after(before(), 3)
    prior = {c.name: c.prior for c in tables.causes if not c.alone and c.fault not in ("leak", "fine")}
    gone = alone["fine"]
    assert now["fine"] == pytest.approx(0.9 * gone) and sum(now.values()) == pytest.approx(1)
    for name in alone.keys() - {"fine"}:
        more = 0.1 * gone * prior.get(name, 0.0) / sum(prior.values())
        assert now[name] == pytest.approx(alone[name] + more), name
    assert now["leak@cylinder-1"] == pytest.approx(chances["leak@cylinder-1"])


def test_nothing_is_mended_that_the_work_does_not_touch() -> None:
    found = before()
    by_name = {c.name: c for c in found.tables.causes}
    work = [job("clean-it")]
    assert mended(found.book, by_name["leak@cylinder-3"], work) == pytest.approx(0.1)
    assert mended(found.book, by_name["meter"], work) == 0
    assert mended(found.book, by_name["else"], [job("look")]) == 0


def test_a_diagnosis_never_has_what_only_work_brings_in() -> None:
    """Neither the shipped rules nor the small ones, on any kind of engine."""
    for path in (SHIPPED, SHIPPED.parent / "tests" / "repair" / "small.yaml"):
        rules = book(path)
        gated = {f.name for f in rules.faults.values() if f.after_work}
        checks = {c.name for c in rules.checks.values() if c.after_work}
        assert gated
        for injection in ("port", "direct", "dual"):
            tables = car(path, injection=injection, distance="200000 km").tables
            assert not gated & set(tables.faults)
            assert not checks & set(tables.check_number)


def test_only_after_their_kind_of_work() -> None:
    vehicle = car(injection="direct").vehicle
    after_purge = compile_tables(book(), vehicle, build_graph(book(), vehicle, {"replace-purge-valve"}))
    after_injector = compile_tables(book(), vehicle, build_graph(book(), vehicle, {"replace-injector"}))
    assert "injector-seal-scored" in after_injector.faults and "injector-seal-scored" not in after_purge.faults
    assert "hose-left-off" in after_purge.faults
    assert "injector-out-look" in after_injector.check_number
    assert "injector-out-look" not in after_purge.check_number


def test_every_repair_that_goes_wrong_has_something_it_can_bring_in() -> None:
    """Else the chance of it would be given to nothing."""
    for repair in thinned([r for r in book().repairs.values() if r.goes_wrong], 3):
        assert repair.goes_wrong is not None
        for injection in ("port", "direct"):
            vehicle = car(injection=injection).vehicle
            work = [job(repair.name, 1) if repair.each_more else job(repair.name)]
            tables = compile_tables(book(), vehicle, build_graph(book(), vehicle, {repair.name}))
            sound = dict.fromkeys((c.name for c in tables.causes), 0.0)
            named = next((c for c in tables.causes if mended(book(), c, work) == 1), None)
            if named is None:
                continue  # not a repair for this kind of engine
            one_fault = replace(book(), settings=replace(book().settings, two_faults=0.0))
            prior = prior_after(one_fault, vehicle, tables.causes, {**sound, named.name: 1.0}, work)
            fine = sum(p for c, p in zip(tables.causes, prior, strict=True) if book().faults[c.fault].nothing_wrong)
            assert 1 - fine == pytest.approx(repair.goes_wrong.value), repair.name
            break  # one kind of engine that can have it done will do
