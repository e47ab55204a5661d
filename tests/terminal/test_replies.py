"""What a person types, read into outcomes and readings."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.rulebook.model import Band, Measure
from reasoner.session.document import OutcomeDoc
from reasoner.terminal.replies import Form, Reply, Unclear, read_reply
from reasoner.terminal.step import by_place
from tests.terminal.consoles import console_with

COLOURS = (
    OutcomeDoc("same", "the same as the rest"),
    OutcomeDoc("darker", "darker"),
    OutcomeDoc("wet", "wet with fuel"),
)
YES_NO = (OutcomeDoc("no", "no smell"), OutcomeDoc("yes", "smells of fuel"))
TRIM = Measure(
    "total fuel trim",
    "%",
    (Band("rich", None, -10.0), Band("normal", -10.0, 10.0), Band("lean", 10.0, None)),
    3.0,
    -100.0,
    100.0,
)
TRIMS = (OutcomeDoc("normal", "within 10 %"), OutcomeDoc("rich", "below -10 %"), OutcomeDoc("lean", "above 10 %"))
FOUR = {n: f"cylinder {n}" for n in range(1, 5)}
ENGINE = Form("engine", {0: "engine"}, COLOURS)
PLUGS = Form("cylinder", FOUR, COLOURS)
MISFIRE = Form("cylinder", FOUR, (OutcomeDoc("none", "runs even"), OutcomeDoc("some", "misfires")))
SMELL = Form("engine", {0: "engine"}, YES_NO)
BANKS = Form("bank", {1: "bank 1", 2: "bank 2"}, TRIMS, TRIM)
ONE_BANK = Form("bank", {1: "bank 1"}, TRIMS, TRIM)
THIRD = Form("cylinder", {3: "cylinder 3"}, COLOURS)


def colours(*letters: str) -> dict[int, str]:
    names = {"s": "same", "d": "darker", "w": "wet"}
    return {n: names[x] for n, x in enumerate(letters, start=1)}


@pytest.mark.parametrize(
    ("line", "outcome", "sure"),
    [
        ("1", "same", "sure"),
        ("3", "wet", "sure"),
        ("wet", "wet", "sure"),
        ("Wet with fuel", "wet", "sure"),
        ("dark", "darker", "sure"),
        ("fuel", "wet", "sure"),
        ("2 sure", "darker", "sure"),
        ("2 think so", "darker", "think so"),
        ("2 I think so", "darker", "think so"),
        ("2, think", "darker", "think so"),
        ("2 t", "darker", "think so"),
        ("2?", "darker", "think so"),
        ("2 ?", "darker", "think so"),
        ("2 guess", "darker", "guess"),
        ("2 g", "darker", "guess"),
        ("2??", "darker", "guess"),
        ("wet guess", "wet", "guess"),
        (" 2 . ", "darker", "sure"),
    ],
)
def test_an_answer_about_the_engine(line: str, outcome: str, sure: str) -> None:
    assert read_reply(line, ENGINE) == Reply({0: outcome}, sure=sure)


@pytest.mark.parametrize(("line", "outcome"), [("y", "yes"), ("n", "no"), ("yes", "yes"), ("No", "no")])
def test_yes_and_no(line: str, outcome: str) -> None:
    assert read_reply(line, SMELL).values == {0: outcome}
    code = Form("engine", {0: "engine"}, (OutcomeDoc("none", "no, or not used"), OutcomeDoc("present", "yes")))
    assert read_reply(line, code).values == {0: {"yes": "present", "no": "none"}[outcome]}


@pytest.mark.parametrize("line", ["0", "d", "can't tell", "can\u2019t tell", "Cant tell", "don't know", "no idea"])
def test_cant_tell(line: str) -> None:
    assert read_reply(line, PLUGS).cant_tell


@pytest.mark.parametrize(
    ("line", "values"),
    [
        ("3=2", colours("s", "s", "d", "s")),
        ("3=wet", colours("s", "s", "w", "s")),
        ("3=wet 2=darker", colours("s", "d", "w", "s")),
        ("2=darker, 3=wet with fuel", colours("s", "d", "w", "s")),
        ("3 = wet with fuel 2 = 2", colours("s", "d", "w", "s")),
        ("3:2", colours("s", "s", "d", "s")),
        ("cyl 3 wet", colours("s", "s", "w", "s")),
        ("Cylinder 3=2", colours("s", "s", "d", "s")),
        ("#3 wet", colours("s", "s", "w", "s")),
        ("1,3=2", colours("d", "s", "d", "s")),
        ("1, 3 = 2", colours("d", "s", "d", "s")),
        ("2+4=3", colours("s", "w", "s", "w")),
        ("all=1", colours("s", "s", "s", "s")),
        ("all = 3", colours("w", "w", "w", "w")),
        ("3=1 rest=2", colours("d", "d", "s", "d")),
        ("1=3, the rest = 2", colours("w", "d", "d", "d")),
        ("none", colours("s", "s", "s", "s")),
        ("same", colours("s", "s", "s", "s")),
        ("4=0", {1: "same", 2: "same", 3: "same"}),
        ("2=3 4=?", {1: "same", 2: "wet", 3: "same"}),
    ],
)
def test_an_answer_by_cylinder(line: str, values: dict[int, str]) -> None:
    assert read_reply(line, PLUGS) == Reply(values, read_back=True)


def test_sureness_holds_for_the_whole_answer() -> None:
    assert read_reply("3=2 4=2 think so", PLUGS).sure == "think so"
    assert read_reply("3=wet?", PLUGS) == Reply(colours("s", "s", "w", "s"), sure="think so", read_back=True)


def test_nothing_looked_at_is_no_answer() -> None:
    assert read_reply("1,2,3,4=0", PLUGS).cant_tell


def test_which_one_needs_no_outcome_where_there_is_only_one_to_have() -> None:
    third = Reply({1: "none", 2: "none", 3: "some", 4: "none"}, read_back=True)
    assert read_reply("3", MISFIRE) == read_reply("cyl 3", MISFIRE) == read_reply("cyl. 3 misfires", MISFIRE) == third
    assert read_reply("cylinder 1", MISFIRE).values == {1: "some", 2: "none", 3: "none", 4: "none"}


def test_one_place_only_is_answered_like_the_engine() -> None:
    assert read_reply("2", THIRD) == Reply({3: "darker"})


@pytest.mark.parametrize(
    ("line", "form", "numbers"),
    [
        ("-18", ONE_BANK, {1: -18.0}),
        ("\u221218 %", ONE_BANK, {1: -18.0}),
        ("-18,5", ONE_BANK, {1: -18.5}),
        ("1=-18 2=-2", BANKS, {1: -18.0, 2: -2.0}),
        ("bank 1 -18, bank 2 -2", BANKS, {1: -18.0, 2: -2.0}),
        ("2=-2", BANKS, {2: -2.0}),
        ("1=-12 + -6", ONE_BANK, {1: -18.0}),
        ("0", ONE_BANK, {1: 0.0}),
        ("2", ONE_BANK, {1: 2.0}),
    ],
)
def test_a_reading(line: str, form: Form, numbers: dict[int, float]) -> None:
    reply = read_reply(line, form)
    assert reply.numbers == numbers
    assert not reply.values


def test_a_reading_of_one_thing_by_number_alone_is_kept_as_typed() -> None:
    assert read_reply("-18", ONE_BANK).reading == "1: -18 %"
    assert not read_reply("-18", ONE_BANK).read_back


@pytest.mark.parametrize("line", ["0", "-12 + -6"])
def test_what_may_be_meant_otherwise_is_read_back(line: str) -> None:
    """A bare 0 may be meant as can't tell, and a sum was worked out: both are confirmed before they are kept."""
    assert read_reply(line, ONE_BANK).read_back


def test_a_reading_in_words() -> None:
    assert read_reply("rich", ONE_BANK) == Reply({1: "rich"})
    assert read_reply("rich guess", ONE_BANK) == Reply({1: "rich"}, sure="guess")
    assert read_reply("1=rich 2=normal", BANKS) == Reply({1: "rich", 2: "normal"}, read_back=True)
    assert read_reply("d", ONE_BANK).cant_tell


def test_a_number_and_a_word_side_by_side() -> None:
    reply = read_reply("1=-18 2=normal", BANKS)
    assert (reply.numbers, dict(reply.values)) == ({1: -18.0}, {2: "normal"})


@pytest.mark.parametrize(
    ("line", "form", "says"),
    [
        ("", ENGINE, "what the list says"),
        ("999", ENGINE, "999 is not on the list: 1 to 3"),
        ("99999999999999999999999999", ENGINE, "is not on the list"),
        ("purple", ENGINE, '"purple" is not on the list: 1 to 3, or 0 if you'),
        ("3=2", ENGINE, "whole engine"),
        ("999", PLUGS, "Which cylinder, and what? Such as 4=2 (answer 2 at cylinder 4, 1 at the rest), or all=1."),
        ("2", PLUGS, "Which cylinder, and what? Such as 2=2 (answer 2 at cylinder 2, 1 at the rest), or all=2."),
        ("4", PLUGS, "Such as 4=2 (answer 2 at cylinder 4, 1 at the rest), or all=1."),
        ("wet", PLUGS, "Which cylinder? Such as 4=2"),
        ("3=purple", PLUGS, '"purple" is not on the list'),
        ("3=9", PLUGS, "9 is not on the list: 1 to 3"),
        ("9=wet", PLUGS, "There is no cylinder 9 to be asked about here: 1 to 4."),
        ("3=", PLUGS, "What is it at 3?"),
        ("3=2 3=3", PLUGS, "Cylinder 3 is named twice."),
        ("all=1 all=2", PLUGS, "named twice"),
        ("wet 3=2", PLUGS, "not clear"),
        ("=2", PLUGS, "not clear"),
        ("-180", ONE_BANK, "-100 to 100"),
        ("-18 kPa", ONE_BANK, "a number in %"),
        ("-18", BANKS, "2 numbers"),
        ("3=-18", BANKS, "one of the places 1, 2"),
        ("-18 guess", ONE_BANK, 'leave "guess" out'),
        ("purple", ONE_BANK, "a number in %, or normal, rich, lean."),
        ("\U0001f697\U0001f525", ENGINE, "is not on the list"),
    ],
)
def test_what_cannot_be_taken_is_said_in_one_line(line: str, form: Form, says: str) -> None:
    with pytest.raises(Unclear) as caught:
        read_reply(line, form)
    text = str(caught.value)
    assert says in text
    assert "\n" not in text and len(text) < 200


@given(st.text(max_size=300), st.sampled_from([ENGINE, PLUGS, MISFIRE, BANKS, ONE_BANK, THIRD, SMELL]))
def test_whatever_is_typed_is_an_answer_or_one_short_line(line: str, form: Form) -> None:
    try:
        reply = read_reply(line, form)
    except Unclear as unclear:
        assert "\n" not in str(unclear) and len(str(unclear)) < 400
    else:
        places = set(reply.values) | set(reply.readings)
        assert places <= set(form.places)
        assert reply.cant_tell or places
        assert set(reply.values.values()) <= {o.name for o in form.outcomes}


@pytest.mark.parametrize(("line", "place"), [("3", 3), ("4", 4)])
def test_a_cylinder_alone_where_it_can_mean_nothing_else(line: str, place: int) -> None:
    found = read_reply(line, MISFIRE)
    assert found == Reply({p: "some" if p == place else "none" for p in FOUR}, read_back=True)


@pytest.mark.parametrize("place", FOUR)
@pytest.mark.parametrize("one_by_one", [False, True])
def test_the_hint_promises_what_is_taken_at_every_cylinder(place: int, one_by_one: bool) -> None:
    """`4=2 or cyl 4`, and what a cylinder that is not named is taken to have."""
    form = replace(MISFIRE, one_by_one=one_by_one)
    console = console_with([])
    hint = " ".join(line.strip() for line in console.rendered(by_place(form.at, {place: FOUR[place]}, 2, one_by_one)))
    assert f"such as {place}=2 or cyl {place}, or all=2" in hint
    unnamed = {} if "One not named was not tried" in hint else dict.fromkeys(FOUR, "none")
    for typed in (f"{place}=2", f"cyl {place}"):
        assert read_reply(typed, form).values == unnamed | {place: "some"}


@pytest.mark.parametrize("line", ["1", "2", "2 think so"])
def test_a_number_that_is_cylinder_and_answer_is_asked_back(line: str) -> None:
    """Beside "1 running evenly   2 misfiring" a bare 1 is more likely the answer than the cylinder."""
    with pytest.raises(Unclear) as found:
        read_reply(line, MISFIRE)
    number = line[0]
    assert str(found.value) == (
        f"{number} alone may be the cylinder or the answer. {number}=2: answer 2 at cylinder {number},"
        f" 1 at the rest. all={number}: answer {number} at all of them."
    )


SWAP = Form(
    "cylinder",
    FOUR,
    (OutcomeDoc("not-again", "not seen again"), OutcomeDoc("stays", "stayed"), OutcomeDoc("moved", "moved")),
    one_by_one=True,
)


@pytest.mark.parametrize(
    ("line", "values"),
    [
        ("4=moved", {4: "moved"}),
        ("4=3 1=1", {1: "not-again", 4: "moved"}),
        ("4=3 rest=1", {1: "not-again", 2: "not-again", 3: "not-again", 4: "moved"}),
        ("all=1", dict.fromkeys(FOUR, "not-again")),
    ],
)
def test_where_a_part_was_moved_at_one_cylinder_nothing_was_seen_of_the_others(
    line: str, values: dict[int, str]
) -> None:
    """Not seen again at a cylinder whose coil was never moved would speak against every other one's."""
    assert read_reply(line, SWAP).values == values


def test_what_is_done_place_by_place_says_so_in_its_example() -> None:
    with pytest.raises(Unclear) as found:
        read_reply("moved", SWAP)
    assert "answer 2 at cylinder 4, the rest not tried" in str(found.value)


@pytest.mark.parametrize("line", ["purple", "999", "3=purple", "3=", "wet 3=2", "1", "1=9"])
@pytest.mark.parametrize("outcomes", [2, 3, 9])
def test_no_text_of_an_answer_is_cut_short_in_a_mistakes_line(line: str, outcomes: int) -> None:
    """The texts stand in full on the screen: the line has their numbers."""
    long = "more than once or back within some days, and then for good, whatever anybody did to it"
    found = [OutcomeDoc(f"o{n}", f"{n} {long}") for n in range(1, outcomes + 1)]
    for places in ({0: "the engine"}, {n: f"cylinder {n}" for n in range(1, 5)}):
        try:
            read_reply(line, Form("cylinder", places, found))
        except Unclear as unclear:
            assert "..." not in str(unclear) and "more than once" not in str(unclear)


SIX = {n: f"cylinder {n}" for n in range(1, 7)}
V6 = Form("cylinder", SIX, COLOURS, banks={1: (1, 3, 5), 2: (2, 4, 6)})


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("bank 1 {}", {1, 3, 5}),
        ("bank 2={}", {2, 4, 6}),
        ("bank 1 {}, bank 2 {}", {1, 2, 3, 4, 5, 6}),
        ("cyl 3 {}", {3}),
    ],
)
def test_what_is_said_of_a_bank_is_said_of_each_of_its_cylinders(line: str, expected: set[int]) -> None:
    other = COLOURS[1].name
    values = read_reply(line.replace("{}", other), V6).values
    assert {place for place, value in values.items() if value == other} == expected
    assert set(values) == set(SIX)


def test_a_bank_that_is_not_there_is_said() -> None:
    with pytest.raises(Unclear, match="no bank 3"):
        read_reply(f"bank 3 {COLOURS[1].name}", V6)
