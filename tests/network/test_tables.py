"""What the rules say of a check and of showing, as numbers: who speaks, and for which place."""

from __future__ import annotations

from dataclasses import replace

import pytest

from reasoner.inference.belief import believe
from reasoner.inference.evidence import Evidence, Spell, reported_weights
from reasoner.network.tables import Tables, compile_tables, distribution_row, reach_table
from reasoner.rulebook.model import Caution, Check, Fault
from tests.network.small import FLOOR, book, check, condition, family, fault, frequencies, origin, says
from tests.support import a_vehicle


def tables(faults: list[Fault], checks: list[Check], layout: str = "inline 4", **more: object) -> Tables:
    return compile_tables(book(faults, checks, **more), a_vehicle(layout))  # type: ignore[arg-type]


def odd(found: Tables, cause: str, name: str = "look") -> list[float]:
    """P(second outcome | cause showing) at each place."""
    table = found.checks[found.check_number[name]]
    return [float(table.rows[row][1]) for row in table.index[found.cause_number[cause]]]


# --- the nearest statement wins ---------------------------------------------------------------------------------------

FAMILIES = [family("near", part_of=["wide"]), family("second"), family("wide")]


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"a": 0.9, "near": 0.8, "second": 0.7, "wide": 0.6}, 0.9),
        ({"near": 0.8, "second": 0.7, "wide": 0.6}, 0.8),
        ({"second": 0.7, "wide": 0.6}, 0.6),  # the nearest family's own families come before the next family
        ({"second": 0.7}, 0.7),
        ({}, 0.1),
    ],
)
def test_who_speaks_for_a_fault(given: dict[str, float], expected: float) -> None:
    look = check("look", {name: says({"odd": p}) for name, p in given.items()}, {"odd": 0.1})
    found = tables([fault("a", acts_as=["near", "second"])], [look], families=FAMILIES)
    assert odd(found, "a") == pytest.approx([expected])


@pytest.mark.parametrize(
    ("own", "near", "wide", "expected"),
    [
        ({"idle": 0.9}, {"idle": 0.8}, {"idle": 0.7}, 0.9),
        ({}, {"idle": 0.8}, {"idle": 0.7}, 0.8),
        ({"cruise": 0.9}, {"idle": 0.8}, {}, 0.8),
        ({"any": 0.3}, {"idle": 0.8}, {}, 0.3),
        ({"any": 0.3, "idle": 0.4}, {}, {}, 0.4),
        ({}, {}, {"any": 0.6}, 0.6),
        ({}, {}, {}, 0.1),  # shows unless said
    ],
)
def test_who_speaks_for_showing(
    own: dict[str, float], near: dict[str, float], wide: dict[str, float], expected: float
) -> None:
    found = tables(
        [fault("a", acts_as=["near"], shows=own)],
        [],
        families=[family("near", near, ["wide"]), family("wide", wide)],
        conditions=[condition("idle"), condition("cruise")],
    )
    assert found.shows[0, 0] == pytest.approx(expected)


@pytest.mark.parametrize(("written", "value"), [(0.0, FLOOR), (1.0, 1 - FLOOR), (0.4, 0.4)])
def test_nothing_shows_always_or_never(written: float, value: float) -> None:
    assert tables([fault("a", shows={"idle": written})], []).shows[0, 0] == pytest.approx(value)


# --- places -----------------------------------------------------------------------------------------------------------


def at(place: str, elsewhere: float | None = None) -> Check:
    other = None if elsewhere is None else {"odd": elsewhere}
    return check("look", {"a": says({"odd": 0.8}, other)}, {"odd": 0.1}, at=place)


def test_at_a_cylinder_the_fault_speaks_for_its_own() -> None:
    found = tables([fault("a", "cylinder")], [at("cylinder")])
    assert odd(found, "a@cylinder-2") == pytest.approx([0.1, 0.8, 0.1, 0.1])


def test_elsewhere_speaks_for_the_others() -> None:
    found = tables([fault("a", "cylinder")], [at("cylinder", elsewhere=0.2)])
    assert odd(found, "a@cylinder-2") == pytest.approx([0.2, 0.8, 0.2, 0.2])


def test_elsewhere_may_end_at_the_bank() -> None:
    """What the trim of one bank does to its cylinders it does to no other's."""
    said = says({"odd": 0.8}, {"odd": 0.2})
    near = replace(check("look", dict.fromkeys("abc", said), {"odd": 0.1}, at="cylinder"), elsewhere_in="bank")
    found = tables([fault("a", "cylinder", pairs=0.5), fault("b", "bank"), fault("c")], [near], "V 6")
    assert odd(found, "a@cylinder-2") == pytest.approx([0.1, 0.8, 0.1, 0.2, 0.1, 0.2])
    assert odd(found, "a@cylinders-1-2") == pytest.approx([0.8, 0.8, 0.2, 0.2, 0.2, 0.2])
    assert odd(found, "b@bank-2") == pytest.approx([0.2, 0.8] * 3)  # a whole bank does it to the other itself
    assert odd(found, "c") == pytest.approx([0.8] * 6)
    alone = tables([fault("a", "cylinder")], [near], "inline 4")
    assert odd(alone, "a@cylinder-2") == pytest.approx([0.2, 0.8, 0.2, 0.2])


def test_a_pair_speaks_for_both() -> None:
    found = tables([fault("a", "cylinder", pairs=0.5)], [at("cylinder", elsewhere=0.2)])
    assert odd(found, "a@cylinders-1-4") == pytest.approx([0.8, 0.2, 0.2, 0.8])


def test_a_fault_of_the_engine_speaks_for_all() -> None:
    assert odd(tables([fault("a")], [at("cylinder", elsewhere=0.2)]), "a") == pytest.approx([0.8] * 4)


def test_a_fault_of_a_bank_speaks_for_its_cylinders() -> None:
    found = tables([fault("a", "bank")], [at("cylinder")], "V 6")
    assert odd(found, "a@bank-2") == pytest.approx([0.1, 0.8, 0.1, 0.8, 0.1, 0.8])


def test_at_a_bank_a_cylinder_speaks_for_its_bank() -> None:
    found = tables([fault("a", "cylinder")], [at("bank", elsewhere=0.05)], "V 6")
    assert odd(found, "a@cylinder-3") == pytest.approx([0.8, 0.05])
    assert odd(found, "a@cylinder-4") == pytest.approx([0.05, 0.8])


def test_a_pair_across_banks_speaks_for_both_banks() -> None:
    found = tables([fault("a", "cylinder", pairs=0.5)], [at("bank")], "V 6")
    assert odd(found, "a@cylinders-1-2") == pytest.approx([0.8, 0.8])


def test_one_sensor_is_one_bank() -> None:
    found = tables([fault("a", "cylinder")], [at("bank")], "flat 4")
    assert found.checks[0].places == ("bank 1",)
    assert odd(found, "a@cylinder-3") == pytest.approx([0.8])


def test_at_the_engine_every_place_speaks() -> None:
    found = tables([fault("a", "cylinder")], [at("engine")])
    assert [odd(found, f"a@cylinder-{n}") for n in (1, 4)] == [pytest.approx([0.8])] * 2


@pytest.mark.parametrize(("layout", "places"), [("inline 3", 3), ("inline 6", 6), ("V 8", 8), ("flat 4", 4)])
def test_a_look_at_cylinders_has_a_place_for_each(layout: str, places: int) -> None:
    found = tables([fault("a", "cylinder")], [at("cylinder")], layout)
    assert found.checks[0].places == tuple(f"cylinder {n}" for n in range(1, places + 1))
    assert found.checks[0].index.shape == (places, places)


# --- distributions ----------------------------------------------------------------------------------------------------


def spread(named: dict[str, float], base: tuple[float, ...] = (0.9, 0.06, 0.04), floor: float = FLOOR) -> list[float]:
    three = check("look", outcomes=["same", "dark", "wet"])
    return distribution_row(three, frequencies(named), base, floor)


@pytest.mark.parametrize(
    ("named", "expected"),
    [
        ({"dark": 0.5, "wet": 0.3}, (0.2, 0.5, 0.3)),
        ({"dark": 0.5}, (0.46, 0.5, 0.04)),  # not named: as otherwise; the first takes the rest
        ({}, (0.9, 0.06, 0.04)),
        ({"same": 0.5, "dark": 0.25, "wet": 0.25}, (0.5, 0.25, 0.25)),
        ({"dark": 0.6, "wet": 0.5}, (0.005, 0.6 / 1.1 * 0.995, 0.5 / 1.1 * 0.995)),  # words are rough: scaled down
        ({"dark": 0.0}, (0.955, 0.005, 0.04)),  # nothing below the floor
        ({"dark": 1.0, "wet": 0.0}, (0.005, 0.99, 0.005)),
    ],
)
def test_a_distribution_from_what_was_written(named: dict[str, float], expected: tuple[float, ...]) -> None:
    assert spread(named) == pytest.approx(expected, abs=2.5e-4)


@pytest.mark.parametrize("dark", [0.0, 0.001, 0.004, 0.005, 0.006, 0.5, 0.99, 1.0])
@pytest.mark.parametrize("wet", [0.0, 0.004, 0.0051, 0.5, 1.0])
@pytest.mark.parametrize("same", [None, 0.0, 0.0049, 0.5])
def test_every_distribution_sums_to_one_above_the_floor(dark: float, wet: float, same: float | None) -> None:
    named = {"dark": dark, "wet": wet} if same is None else {"same": same, "dark": dark, "wet": wet}
    if sum(named.values()) == 0.0:
        named["dark"] = 0.1
    found = spread(named)
    assert sum(found) == pytest.approx(1.0)
    assert min(found) >= FLOOR - 1e-12


# --- something not in these rules -------------------------------------------------------------------------------------


def with_spare(share: float = 1.0) -> Tables:
    look = check("look", {"a": says({"odd": 0.8}), "b": says({"odd": 0.2})}, {"odd": 0.1}, at="cylinder")
    return tables(
        [
            fault("a", "cylinder", 3.0, shows={"idle": 0.9}),
            fault("b", "engine", 1.0, shows={"idle": 0.3}),
            fault("else", share=share, anything_else=True),
        ],
        [look],
    )


def test_anything_else_is_sound_so_far_as_a_check_points_at_few_causes() -> None:
    """At each place: a, 3/4 of the share, has it at one place in four and is sound at the rest; b at all."""
    share = 0.75 / 4 + 0.25
    mean = (0.75 / 4 * 0.8 + 0.25 * 0.2) / share
    part = share**2 / (share**2 + (1 - share) ** 2)
    assert odd(with_spare(), "else") == pytest.approx([(1 - part) * 0.1 + part * mean] * 4)


@pytest.mark.parametrize(("pointing", "at_most"), [(1.0, 0.11), (50.0, 0.8)])
def test_anything_else_shows_what_nearly_all_show_and_not_what_one_shows(pointing: float, at_most: float) -> None:
    look = check("look", {"a": says({"odd": 0.8})}, {"odd": 0.1})
    spare = fault("else", share=60.0, anything_else=True)
    found = tables([fault("a", "engine", pointing), fault("b", "engine", 10.0), spare], [look])
    assert odd(found, "else") == pytest.approx([at_most], abs=0.03)


def test_anything_else_has_its_share_of_a_thousand_cars() -> None:
    assert with_spare(60.0).prior[-1] == pytest.approx(0.06)
    assert with_spare(60.0).prior.sum() == pytest.approx(1.0)


def test_anything_else_shows_as_the_mean_of_all_the_others() -> None:
    found = with_spare()
    assert found.shows[found.cause_number["else"], 0] == pytest.approx(0.75 * 0.9 + 0.25 * 0.3)


# --- the rest of a check ----------------------------------------------------------------------------------------------


def test_hazards_are_counted() -> None:
    cautions = [Caution("vapour", "", True, origin()), Caution("soot", "", False, origin())]
    found = tables([fault("a")], [check("look", cautions=["vapour", "soot"])], cautions=cautions)
    assert found.checks[0].hazards == 1


def test_conditions_and_gates_are_numbers() -> None:
    conditions = [condition("idle"), condition("cruise", after=["look"])]
    looks = [check("look"), check("drive", conditions=["cruise"], leaves="idle")]
    found = tables([fault("a")], looks, conditions=conditions)
    assert (found.checks[0].conditions, found.checks[1].conditions) == ((), (1,))
    assert found.checks[1].leaves == 0
    assert found.gates == ((), (0,))


def test_steady_is_what_stays_or_is_provoked() -> None:
    found = tables([fault("a")], [check("look"), check("code", sees="ever"), check("warm", provokes=True)])
    assert [c.steady for c in found.checks] == [False, True, True]


def test_origins_belong_to_their_rows() -> None:
    a, b = says({"odd": 0.8}), says({"odd": 0.3}, {"odd": 0.2})
    found = tables([fault("a", "cylinder"), fault("b", "cylinder")], [check("look", {"a": a, "b": b}, at="cylinder")])
    table = found.checks[0]
    assert len(table.origins) == len(table.rows) == 4
    assert table.origins[int(table.index[found.cause_number["b@cylinder-1"], 0])] is b.origin


# --- getting into a condition -----------------------------------------------------------------------------------------

SOAK = condition("hot-soak", 20.0, 30.0, {"warm-idle": (1.0, 30.0)})
RESTART = condition("hot-restart", 22.0, 30.0, {"hot-soak": (1.0, 0.0)})
WARM = condition("warm-idle", 15.0, 0.0, {"hot-restart": (5.0, 0.0)})


def reach(start: int, end: int) -> tuple[float, float]:
    minutes, wait = reach_table([SOAK, RESTART, WARM])[start, end]
    return float(minutes), float(wait)


def test_from_anywhere() -> None:
    assert reach(3, 2) == (15.0, 0.0)


def test_a_direct_way_is_taken_where_it_is_written() -> None:
    assert reach(0, 1) == (1.0, 0.0)


def test_a_shorter_way_leads_by_others() -> None:
    """To a hot restart from warm idle: 1 minute and 30 of waiting to the soak, then 1 minute."""
    assert reach(2, 1) == (2.0, 30.0)


def test_from_a_state_not_known_a_shorter_way_leads_by_others_too() -> None:
    """15 to warm idle, 1 + 30 to the soak, 1 to the restart: 17 + 30, shorter than the 22 + 30 written."""
    assert reach(3, 1) == (17.0, 30.0)


def test_the_same_again_is_what_is_written() -> None:
    """A hot restart once more: going out and straight back in makes no new spell, so no way round counts."""
    assert reach(1, 1) == (22.0, 30.0)


def test_the_same_again_may_be_written() -> None:
    table = reach_table([condition("restart", 22.0, 30.0, {"restart": (12.0, 20.0)})])
    assert tuple(table[0, 0]) == (12.0, 20.0)


def test_nothing_is_shorter_by_going_round() -> None:
    """Shortest ways: none by a third condition is shorter than the one in the table."""
    table = reach_table([SOAK, RESTART, WARM]).sum(axis=2)
    for start in range(4):
        for via in range(3):
            for end in range(3):
                if len({start, via, end}) == 3:
                    assert table[start, end] <= table[start, via] + table[via, end] + 1e-9


def test_with_every_named_cause_excluded_by_its_own_test_something_else_leads() -> None:
    """Twelve faults, each with a test of its own that comes out as on a sound part; all of them make the trim rich."""
    names = [f"fault-{i}" for i in range(12)]
    own = [check(f"test-{name}", {name: says({"odd": 0.9})}, {"odd": 0.02}) for name in names]
    rich = check("trim", {name: says({"odd": 0.9}) for name in names}, {"odd": 0.1})
    faults = [fault(name, "engine", 10.0) for name in names] + [fault("else", share=70.0, anything_else=True)]
    found = tables(faults, [rich, *own])
    answers = [
        Evidence(0, (reported_weights(1, 2, 0.98),)),
        *(Evidence(n + 1, (reported_weights(0, 2, 0.98),)) for n in range(12)),
    ]
    belief = believe(found, (Spell(None, tuple(answers)),))
    assert found.causes[int(belief.probability.argmax())].fault == "else"


@pytest.mark.parametrize("all_alike", [0.0, 0.4, 0.9])
@pytest.mark.parametrize("layout", ["inline 4", "V 6"])
def test_all_alike_counts_a_whole_set_as_one_thing(all_alike: float, layout: str) -> None:
    """A set of other injectors is seen at all cylinders or at none, with that chance; else at each by itself."""
    look = check("look", {"set": says({"odd": 0.3})}, {"odd": 0.1}, at="cylinder", sees="ever")
    found = tables([fault("set"), fault("rival")], [replace(look, all_alike=all_alike)], layout)
    plain = tables([fault("set"), fault("rival")], [look], layout)
    assert (found.checks[0].together, plain.checks[0].together) == (all_alike, 0.0)
    places = len(found.checks[0].places)

    def odds(table: Tables, seen: list[int]) -> float:
        weights = tuple((float(not odd), float(odd)) for odd in seen)
        chance = believe(table, (Spell(None, (Evidence(0, weights),)),)).probability
        return float(chance[table.cause_number["set"]] / chance[table.cause_number["rival"]])

    for seen, by_itself, as_one in (
        ([1] * places, 0.3**places, 0.3),
        ([0] * places, 0.7**places, 0.7),
        ([1] + [0] * (places - 1), 0.3 * 0.7 ** (places - 1), 0.0),
    ):
        wanted = 1 - all_alike + all_alike * as_one / by_itself
        assert odds(found, seen) / odds(plain, seen) == pytest.approx(wanted)


def test_all_alike_is_of_what_a_fault_does_to_all_places() -> None:
    """One cylinder's fault has its row at one place, so nothing of it is alike."""
    look = check("look", {"one": says({"odd": 0.3})}, {"odd": 0.1}, at="cylinder", sees="ever")
    faults = [fault("one", at="cylinder"), fault("rival")]
    weights = ((0.0, 1.0), (1.0, 0.0), (1.0, 0.0), (1.0, 0.0))
    found = [
        believe(tables(faults, [checked]), (Spell(None, (Evidence(0, weights),)),)).probability
        for checked in (look, replace(look, all_alike=0.9))
    ]
    assert found[0] == pytest.approx(found[1])
