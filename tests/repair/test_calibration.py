"""Calibration values typed in twice: every slip of the usual kinds is caught, and nothing is said of what is right."""

from __future__ import annotations

import string

from hypothesis import assume, given
from hypothesis import strategies as st

from reasoner.repair.calibration import plain_value, slips, transposed

FOUR = (1, 2, 3, 4)
ORDER = (1, 3, 4, 2)
CODES = st.text(string.digits + "ABCDEFGHJKLMNPQRSTUVWXYZ", min_size=4, max_size=10)
SETS = st.lists(CODES, min_size=4, max_size=4, unique=True).map(lambda codes: dict(zip(FOUR, codes, strict=True)))


def kinds(*args: object, **more: object) -> list[tuple[str, tuple[int, ...]]]:
    return [(slip.kind, slip.cylinders) for slip in slips(*args, **more)]  # type: ignore[arg-type]


@given(SETS)
def test_what_is_right_is_let_through(values: dict[int, str]) -> None:
    assert kinds(values, values, FOUR) == []
    spaced = {c: f" {value[:2]} {value[2:].lower()}-" for c, value in values.items()}
    assert kinds(values, spaced, FOUR, firing_order=ORDER) == []


@given(SETS, st.sampled_from(FOUR), st.data())
def test_transposition(values: dict[int, str], cylinder: int, data: st.DataObject) -> None:
    code = values[cylinder]
    at = data.draw(st.integers(0, len(code) - 2))
    swapped = code[:at] + code[at + 1] + code[at] + code[at + 2 :]
    assume(swapped not in values.values())
    assert ("transposed", (cylinder,)) in kinds(values, {**values, cylinder: swapped}, FOUR)
    # and against what was stored before: typed in wrong both times
    wrong = {**values, cylinder: swapped}
    assert ("transposed", (cylinder,)) in kinds(wrong, wrong, FOUR, old=values)


@given(SETS, st.sampled_from(FOUR), st.sampled_from(["first", "second", "both"]))
def test_omission(values: dict[int, str], cylinder: int, which: str) -> None:
    short = {c: value for c, value in values.items() if c != cylinder}
    first = short if which in ("first", "both") else values
    second = short if which in ("second", "both") else values
    assert ("missed", (cylinder,)) in kinds(first, second, FOUR)
    assert ("missed", (cylinder,)) in kinds({**first, cylinder: "  "}, second, FOUR)


@given(SETS, st.permutations(FOUR))
def test_duplicate(values: dict[int, str], order: list[int]) -> None:
    one, other = sorted(order[:2])
    same = {**values, other: values[one]}
    assert ("equal", (one, other)) in kinds(same, same, FOUR)


@given(SETS, st.permutations(FOUR))
def test_two_cylinders_exchanged(values: dict[int, str], order: list[int]) -> None:
    one, other = sorted(order[:2])
    moved = {**values, one: values[other], other: values[one]}
    for order_known in ((), ORDER):  # two exchanged are not typed in firing order, where most places would differ
        assert kinds(values, moved, FOUR, firing_order=order_known) == [("exchanged", (one, other))]
    assert kinds(moved, moved, FOUR, old=values) == [("old order", (one, other))]


@given(SETS)
def test_typed_in_firing_order(values: dict[int, str]) -> None:
    """1-3-4-2: what was typed for the second cylinder is the third's."""
    by_firing = {slot: values[cylinder] for slot, cylinder in zip(FOUR, ORDER, strict=True)}
    assert kinds(values, by_firing, FOUR, firing_order=ORDER) == [("firing order", (2, 3, 4))]
    assert kinds(by_firing, values, FOUR, firing_order=ORDER) == [("firing order", (2, 3, 4))]


@given(SETS, st.sampled_from(FOUR), CODES)
def test_any_difference_is_seen(values: dict[int, str], cylinder: int, other: str) -> None:
    assume(plain_value(other) != plain_value(values[cylinder]) and other not in values.values())
    assert any(cylinder in where for _, where in kinds(values, {**values, cylinder: other}, FOUR))


def test_letters_read_for_digits() -> None:
    values = dict(zip(FOUR, ("A0B1", "C5D8", "EE22", "7777"), strict=True))
    assert kinds(values, {**values, 1: "AOB1"}, FOUR) == [("alike", (1,))]
    assert kinds(values, {**values, 2: "C9D8"}, FOUR) == [("differs", (2,))]


def test_only_the_new_ones_have_to_be_typed_in() -> None:
    """One injector changed: the others may be left out, but not typed in once only."""
    assert kinds({3: "AB12"}, {3: "AB12"}, FOUR, needed=[3]) == []
    assert kinds({3: "AB12", 2: "CD34"}, {3: "AB12"}, FOUR, needed=[3]) == [("missed", (2,))]
    assert kinds({3: "AB12", 9: "CD34"}, {3: "AB12", 9: "CD34"}, FOUR, needed=[3]) == [("stranger", (9,))]


def test_new_values_are_no_slip_of_the_old_ones() -> None:
    """Two injectors changed: neither the old set in another order nor one of its values misread."""
    old = dict(zip(FOUR, ("A0B1", "C5D8", "EE22", "7777"), strict=True))
    new = {**old, 2: "K3L4", 3: "M5N6"}
    assert kinds(new, new, FOUR, old=old) == []


def test_transposed() -> None:
    assert transposed("AB12", "BA12") and transposed("AB12", "AB21")
    assert not transposed("AB12", "AB12") and not transposed("AB12", "2B1A") and not transposed("AB12", "AB1")
    assert not transposed("AABB", "BBAA")
