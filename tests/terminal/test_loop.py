"""Whole sittings over a tiny rule base: every command, every kind of answer, every way to leave."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from io import StringIO
from typing import Any

import numpy as np
import pytest

from reasoner.casebook.events import (
    Answered,
    CodeRead,
    CodesRead,
    Concluded,
    ConditionMet,
    Event,
    PassedOver,
    RichSeen,
    ToolsSaid,
)
from reasoner.casebook.trouble import Refused
from reasoner.network.vehicle import vehicle_from
from reasoner.rulebook.model import At
from reasoner.session import acts
from reasoner.session.document import FactDoc
from reasoner.session.finding import find_checks
from reasoner.session.protocol import Talk, hear
from reasoner.session.workup import Workup, begin
from reasoner.terminal.console import Console
from reasoner.terminal.telling import _value
from tests.events import as_written
from tests.shipped import book, garage
from tests.terminal.consoles import RESUME, Kept, case, console_with, shown, sit, tiny

ALL_CODES = CodesRead(step=1, codes=(CodeRead("P0172", ("stored",)),))
WARM = ConditionMet(step=2, condition="warm-idle")


def asking(name: str, layout: str = "inline 4") -> Workup:
    """A case whose next question is this check: everything else is passed over."""
    others = [n for n in tiny().checks if n != name]
    events: list[Event] = [WARM, *(PassedOver(step=3, check=n, why="not-now") for n in others)]
    return case(layout, events)


def answers(kept: Kept) -> list[dict[str, Any]]:
    return [e for e in as_written(kept.events) if e["event"] == "answer"]


# ---- answers ---------------------------------------------------------------------------------------------------------


def test_an_answer_by_number_is_kept_before_the_next_question_is_shown() -> None:
    console = console_with(["2"])
    kept = Kept(asking("smell"))
    screens: list[int] = []
    kept.before = lambda events: screens.append(shown(console).count("LIKELIEST NOW"))
    from reasoner.report.text import RichPages
    from reasoner.terminal.loop import run_loop

    run_loop(kept.workup, kept, console, RichPages())
    assert answers(kept)[0]["values"] == {"0": "yes"}
    assert screens[0] == 1  # one question had been shown when it was kept
    assert "Kept: Smell of fuel: smells of fuel" in shown(console)


@pytest.mark.parametrize(
    ("typed", "sure"), [("2", "sure"), ("2 think so", "think so"), ("y t", "think so"), ("2??", "guess")]
)
def test_sureness(typed: str, sure: str) -> None:
    kept, _, _ = sit(typed, workup=asking("smell"))
    assert (answers(kept)[0]["values"], answers(kept)[0]["sure"]) == ({"0": "yes"}, sure)


def test_cylinders_are_read_back_and_kept_on_enter() -> None:
    kept, text, _ = sit("3=wet 2=2", "", workup=asking("plugs"))
    assert "Understood: cylinder 2 darker, cylinder 3 wet with fuel, the rest like the others." in flat(text)
    assert answers(kept)[0]["values"] == {"1": "same", "2": "darker", "3": "wet", "4": "same"}


def test_a_wrong_read_back_can_be_typed_again_or_refused() -> None:
    kept, text, _ = sit("3=wet", "2=wet", "n", "4=wet", "", workup=asking("plugs"))
    assert "Not kept" in text
    assert len(answers(kept)) == 1
    assert answers(kept)[0]["values"]["4"] == "wet"


def test_a_reading_is_weighed_near_its_bands() -> None:
    kept, text, _ = sit("-18", workup=asking("trim"))
    given = answers(kept)[0]
    assert given["reading"] == "1: -18 %"
    assert given["values"]["1"]["rich"] == 1.0 > given["values"]["1"]["normal"]
    assert "Kept: Fuel trim at idle: bank 1 below -10 %" in text


def test_readings_of_two_banks() -> None:
    kept, text, _ = sit("1=-18 2=-2", "", workup=asking("trim", "V 6"))
    assert "Understood: bank 1 -18 % (below -10 %), bank 2 -2 % (within 10 %)" in flat(text)
    assert set(answers(kept)[0]["values"]) == {"1", "2"}


def test_a_sum_is_read_back() -> None:
    _, text, _ = sit("-12 + -6", "", workup=asking("trim"))
    assert "sum of -12 % and -6 %" in text


@pytest.mark.parametrize("typed", ["0", "d", "can't tell"])
def test_cant_tell_is_no_evidence_and_is_not_asked_again(typed: str) -> None:
    kept, text, _ = sit(typed, workup=asking("smell"))
    assert [e.why for e in kept.events if isinstance(e, PassedOver) and e.check == "smell"] == ["cant-tell"]
    assert not answers(kept)
    assert "Smell of fuel: can't tell" in text
    assert text.count("Does the owner smell raw fuel?") == 1


@pytest.mark.parametrize(
    ("name", "typed", "says"),
    [
        ("smell", "", "An answer is what the list says"),
        ("smell", "999", "999 is not on the list: 1 to 2, or 0 if you can't tell."),
        ("smell", "3=2", "whole engine"),
        ("smell", "\U0001f697\U0001f697", "is not on the list"),
        ("smell", "x" * 5000, "is not on the list"),
        ("smell", "\x1b]0;title\x07", "is not on the list"),
        ("plugs", "3=purple", '"purple" is not on the list'),
        ("plugs", "9=wet", "There is no cylinder 9 to be asked about here: 1 to 4."),
        ("trim", "-180", "-100 to 100"),
        ("trim", "-18 furlongs", "a number in %"),
    ],
)
def test_a_wrong_entry_gets_one_line_and_loses_nothing(name: str, typed: str, says: str) -> None:
    kept, text, _ = sit(typed, workup=asking(name))
    lines = text.split("\n")
    first = next(i for i, line in enumerate(lines) if re.fullmatch(r"(h: help )?> .*", line))
    answer = "\n".join(lines[first + 1 :]).split("\n>")[0].split("\nh: help >")[0].split("\nEnter:")[0]
    assert says in flat(answer)
    assert len(answer) < 200
    assert kept.kinds()[-1] == "stop" and not answers(kept)
    assert "\x1b" not in text.replace(typed, "") and "Traceback" not in text


def flat(text: str) -> str:
    return " ".join(text.split())


def test_text_of_rules_is_shown_harmlessly_everywhere() -> None:
    bad = "\x1b[2J\x1b]0;t\x07\u202e"
    book = tiny()
    spoilt = replace(
        book,
        checks={
            n: replace(
                c,
                title=bad + c.title,
                ask=bad + c.ask,
                how=bad + c.how,
                outcomes=tuple(replace(o, text=bad + o.text) for o in c.outcomes),
                measure=c.measure and replace(c.measure, quantity=bad),
            )
            for n, c in book.checks.items()
        },
        conditions={n: replace(c, title=bad + c.title, means=bad, bring_about=bad) for n, c in book.conditions.items()},
        faults={n: replace(f, title=bad + f.title, driving_on=bad) for n, f in book.faults.items()},
        cautions={n: replace(c, say=bad + c.say) for n, c in book.cautions.items()},
        tools={n: replace(t, title=bad + t.title) for n, t in book.tools.items()},
        repairs={n: replace(r, title=bad, do=bad) for n, r in book.repairs.items()},
    )
    vehicle = case().vehicle
    kept, text, _ = sit(
        *("2", "", "0", "h", "o", "", "c", "", "k", "", "w", "1", "", "t smell", "1", "2", "x", "", "v", "", "t sooty"),
        *("1", "", "3=2", "", "care", "s"),
        workup=begin(spoilt, vehicle),
    )
    assert len(answers(kept)) >= 2 and "correct" in kept.kinds()  # the smell is told again
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e]", text)


# ---- can't do --------------------------------------------------------------------------------------------------------


def test_no_tool_leaves_out_what_needs_it() -> None:
    kept, text, _ = sit("x", "1", workup=asking("plugs"))
    assert "1 this shop has no plug socket at all   2 leave out this check only" in text
    assert "Kept: no plug socket. All that needs it is left out; k puts it back." in text
    assert next(e for e in as_written(kept.events) if e["event"] == "tools")["lacking"] == ["plug-socket"]
    assert "plug-socket" in kept.workup.record.lacking


def test_which_of_two_tools_is_missing_is_asked() -> None:
    have = ToolsSaid(step=4, at_hand=("gauge",))
    start = asking("pressure").after([have])
    kept, text, _ = sit("", "x", "1", "2", workup=start)
    assert "1 fuel pressure gauge   2 plug socket" in flat(text).replace(" 2 ", "   2 ")
    assert kept.workup.record.lacking == {"plug-socket", "scope"}


def test_not_now_and_a_condition_that_cannot_be_had() -> None:
    kept, _, _ = sit("x", "9", "", "x", "2", workup=asking("plugs"))
    assert kept.workup.record.passed["plugs"] == "not-now"
    fresh = asking("plugs").after([ConditionMet(step=5, condition="engine-off")])
    kept, text, _ = sit("x", "3", workup=fresh)
    assert "3 hot restart can't be brought about" in flat(text)
    assert next(e for e in as_written(kept.events) if e["event"] == "avoid")["condition"] == "hot-restart"


def only(name: str) -> Workup:
    """A case under the shipped rules whose next question is this check."""
    vehicle, _ = vehicle_from({"injection": "port"})
    assert vehicle is not None
    passed = (PassedOver(step=3, check=n, why="not-now") for n in book().checks if n != name)
    return garage().begin(vehicle, [ALL_CODES, ConditionMet(step=2, condition="warm-idle"), *passed])


def test_that_the_car_has_none_is_offered_where_the_check_needs_something() -> None:
    _, text, _ = sit("", "x", "", workup=only("regulator-hose"))
    assert "this car has none" in text
    _, text, _ = sit("", "x", "", workup=only("oil-smell"))
    assert "Why not?" in text and "this car has none" not in text
    _, text, _ = sit("t plugs-in-a-bill", "1", "x", "", workup=only("oil-smell"))
    assert "Answer, Enter: leave it" in text and "NONE OF WHAT" not in text
    assert "needs nothing that a car may be without" in flat(text)


# ---- commands --------------------------------------------------------------------------------------------------------


def test_back_takes_the_last_step_back_and_says_which() -> None:
    kept, text, _ = sit("t smell", "1", "2", "b", workup=case(events=[ALL_CODES]))
    assert "Taken back: Smell of fuel: smells of fuel" in text
    assert kept.kinds()[-3:] == ["answer", "undo", "stop"]
    assert not kept.workup.record.given


def test_back_with_nothing_to_take_back() -> None:
    _, text, _ = sit("b")
    assert "There is nothing to take back." in text


@pytest.mark.parametrize("typed", [("w", "2", ""), ("why 2", ""), ("W", "9", "2", "")])
def test_why_this_question_and_why_a_suspect(typed: tuple[str, ...]) -> None:
    _, text, _ = sit("2", *typed, workup=case(events=[ALL_CODES]))
    assert "WHY IT STANDS WHERE IT STANDS" in text
    assert "rules/tiny.yaml:" in text
    assert "Before any answer:" in text


def test_tell_finds_by_words_and_asks_when_it_was_seen() -> None:
    kept, text, _ = sit("t sooty plugs", "1", "3", "3=2", "", workup=case(events=[ALL_CODES]))
    assert "WHICH OF THESE?" in text and "Plug colour: Which plugs are darker" in text
    given = answers(kept)[0]
    assert (given["check"], given["condition"]) == ("plugs", "hot-restart")
    assert kept.workup.record.condition is None  # the car is where it was


def test_a_state_that_is_not_named_is_said_to_leave_nothing() -> None:
    kept, text, _ = sit("t sooty plugs", "1", "", workup=case(events=[ALL_CODES]))
    assert "Nothing kept: what is seen now and then counts only with the state it was seen in." in flat(text)
    assert not answers(kept)


def test_what_is_seen_in_one_state_only_was_seen_in_it() -> None:
    start = only("oil-smell")
    known = [c for c in book().checks.values() if c.name in start.tables.check_number]
    alone = next(c for c in known if len(c.conditions) == 1 and c.at is At.ENGINE and c.measure is None)
    state = book().conditions[alone.conditions[0]].title
    kept, text, _ = sit(f"t {alone.name}", "1", "", "2", "", workup=start)
    assert f"Its number. Enter: {state} >" in flat(text)
    given = answers(kept)[0]
    assert (given["check"], given["condition"]) == (alone.name, alone.conditions[0])


def test_what_is_so_for_ever_is_told_without_a_condition() -> None:
    kept, text, _ = sit("t", "stench", "1", "2", workup=case(events=[ALL_CODES]))
    assert "WHEN WAS IT SEEN" not in text
    assert answers(kept)[0]["check"] == "smell"


def test_told_again_it_says_what_was_answered() -> None:
    _, text, _ = sit("t smell", "1", "2", "t smell", "1", "1", workup=case(events=[ALL_CODES]))
    assert "Answered before: Smell of fuel: smells of fuel. A new answer takes its place." in text


def test_told_again_it_takes_the_place_of_what_was_told_though_that_was_surer() -> None:
    typed = ("t smell", "1", "2", "t smell", "1", "1 guess")
    kept, text, _ = sit(*typed, workup=case(events=[ALL_CODES]))
    (given,) = kept.workup.record.given
    assert max(given.values[0], key=given.values[0].__getitem__) == "no" and given.sure == "guess"
    assert "In the place of what was told before; b takes that back." in flat(text)
    kept, text, _ = sit(*typed, "b", workup=case(events=[ALL_CODES]))
    assert "Taken back: Smell of fuel as it was told again" in text
    (given,) = kept.workup.record.given
    assert given.sure == "sure"


@pytest.mark.parametrize(("which", "kept_apart"), [("1", 1), ("2", 2)])
def test_told_again_of_the_same_state_it_is_asked_whether_it_was_another_time(which: str, kept_apart: int) -> None:
    """`t plugs`, seen at a hot restart, twice: a slip put right, or two occasions."""
    once = ("t sooty plugs", "1", "3")
    kept, text, _ = sit(*once, "3=2", "", *once, which, "2=2", "", workup=case(events=[ALL_CODES]))
    assert "1 this takes its place 2 it was another time: both count" in flat(text)
    given = kept.workup.record.given
    assert len(given) == kept_apart and max(given[-1].values[2], key=given[-1].values[2].__getitem__) != "same"
    left, _, _ = sit(*once, "3=2", "", *once, "", workup=case(events=[ALL_CODES]))
    assert len(left.workup.record.given) == 1


def test_tell_what_nothing_speaks_of_can_be_noted() -> None:
    kept, text, _ = sit("t a zebra in the yard", "n", workup=case(events=[ALL_CODES]))
    assert 'Nothing here speaks of "a zebra in the yard"' in text
    assert kept.workup.record.notes == ("a zebra in the yard",)


def test_tell_takes_codes_read_later() -> None:
    kept, _, _ = sit("t p0175 pending", "n", workup=case("V 6"))
    assert dict(kept.workup.record.codes) == {"P0175": ("pending",)}
    assert not kept.workup.record.codes_complete


def test_a_question_about_a_code_takes_the_whole_list() -> None:
    kept, text, _ = sit("o 2", "P0172 pending, P0172 permanent", "")  # the rich code, chosen from the list
    assert "It answers them all at once" in flat(text)
    assert dict(kept.workup.record.codes) == {"P0172": ("pending", "permanent")}
    assert kept.workup.record.codes_complete
    assert not answers(kept)


def test_other_chooses_from_the_ranking_and_back_returns() -> None:
    kept, text, _ = sit("o", "99", "2", "b", workup=case(events=[ALL_CODES, WARM]))
    assert "OTHER CHECKS" in text and "99 is not on the list" in text
    titles = re.findall(r"^NEXT  (.*)$", text, re.M)
    assert titles[0] == titles[2] != titles[1]
    assert kept.kinds()[-1] == "stop" and "undo" not in kept.kinds()


def test_other_is_chosen_by_words_in_its_list_too() -> None:
    _, text, _ = sit("o", "zebra", "plug", workup=case(events=[ALL_CODES, WARM]))
    assert '"zebra" is not on the list' in text or "zebra is not on the list" in text
    assert re.findall(r"^NEXT  (.*)$", text, re.M)[-1] == "Plug colour"


@pytest.mark.parametrize(
    ("typed", "condition"),
    [(("c", "3"), "hot-restart"), (("c 3",), "hot-restart"), (("c", "0"), "warm-idle"), (("changed", "4"), None)],
)
def test_changed_begins_a_new_spell(typed: tuple[str, ...], condition: str | None) -> None:
    seen = Answered(step=3, check="trim", values={1: "normal"})
    kept, _, _ = sit(*typed, workup=case(events=[ALL_CODES, WARM, seen]))
    assert kept.workup.record.spells[-1] == condition
    assert len(kept.workup.record.spells) == 2


def test_note_keeps_the_question() -> None:
    kept, text, _ = sit("o", "2", "note the fan never runs", workup=case(events=[ALL_CODES, WARM]))
    assert kept.workup.record.notes == ("the fan never runs",)
    titles = re.findall(r"^NEXT  (.*)$", text, re.M)
    assert titles[1] == titles[2]


@pytest.mark.parametrize("typed", [("k", "3"), ("kit 3",), ("tools", "7", "3")])
def test_kit_switches_tools(typed: tuple[str, ...]) -> None:
    kept, text, _ = sit(*typed, workup=case(events=[ALL_CODES]))
    assert "gauge" not in kept.workup.record.lacking
    assert "Kept: fuel pressure gauge: at hand." in text
    assert "scope" not in text  # nothing here needs it


def test_help_care_again_and_verdict_show_and_keep_nothing() -> None:
    kept, text, _ = sit("h", "?", "r", "care", "v", "", workup=asking("plugs"))
    assert "WHAT YOU CAN TYPE" in text
    assert "so far, after 0 answers" in text
    assert "REPLACE NOTHING ON THIS ALONE" in text
    assert kept.kinds()[-1] == "stop" and len(kept.events) == len(asking("plugs").events) + 1


def test_no_command_letter_is_taken_twice() -> None:
    from reasoner.terminal.commands import STEP_COMMANDS
    from reasoner.terminal.step import ALL_LETTERS

    assert len(set(ALL_LETTERS.values())) == len(ALL_LETTERS) - 1  # h and ? are the same
    assert set(ALL_LETTERS.values()) <= {*STEP_COMMANDS, "stop"}
    assert all(word.startswith(letter) for letter, word in ALL_LETTERS.items() if letter != "?")


# ---- cautions and fresh conditions -----------------------------------------------------------------------------------


def test_what_to_bring_about_and_its_cautions_come_before_the_steps() -> None:
    _, text, _ = sit("", workup=asking("trim").after([ConditionMet(step=5, condition="engine-off")]))
    order = [
        text.index(part)
        for part in ("First bring about:", "TAKE CARE FIRST", "Hot parts burn", "BRING IT ABOUT", "HOW", "Let it idle")
    ]
    assert order == sorted(order)


def test_a_caution_read_before_is_recalled_by_its_first_sentence() -> None:
    _, text, _ = sit("3=2", "", "b", "care", workup=asking("plugs"))
    first, second = text.split("Taken back", 1)
    assert "let the exhaust cool" in flat(first)
    assert "TAKE CARE FIRST  (in full: care)" in second.split("> care")[0]
    assert "let the exhaust cool" not in flat(second.split("> care")[0])
    assert "let the exhaust cool" in flat(second.split("> care")[1])


def test_several_times_is_explained() -> None:
    start = asking("trim").after([ConditionMet(step=5, condition="engine-off")])
    _, text, _ = sit("", workup=start)
    times = re.search(r"Worth doing (\d) times", flat(text))
    assert times and "one look that finds nothing says little" in flat(text)


# ---- verdict ---------------------------------------------------------------------------------------------------------


def leaking() -> Workup:
    return case(
        events=[
            ALL_CODES,
            ConditionMet(step=2, condition="hot-restart"),
            Answered(step=3, check="smell", values={0: "yes"}),
            Answered(step=4, check="trim", values={1: "rich"}),
        ]
    )


def test_the_verdict_is_shown_kept_and_can_be_asked_past() -> None:
    kept, text, _ = sit("w 1", "", "g", workup=settled())
    said = kept.events[-2]
    assert isinstance(said, Concluded) and (said.what, said.cause) == ("settled", "leaky-injector@cylinder-3")
    assert text.index("WHAT TO DO NEXT") < text.index("WHY") < text.index("DRIVING ON")
    assert "WHAT COULD STILL CHANGE IT" not in text  # nothing left could turn it
    assert "-- past the verdict -- the car: " in text
    assert kept.kinds().count("verdict") == 1


def test_what_to_do_comes_before_what_could_still_change_it() -> None:
    """As long as something could: a smell that is a guess, and a plug that is dark but not wet."""
    darker = {1: "same", 2: "same", 3: "darker", 4: "same"}
    start = case(
        events=[
            ALL_CODES,
            ConditionMet(step=2, condition="hot-restart"),
            Answered(step=3, check="smell", values={0: "yes"}, sure="guess"),
            Answered(step=4, check="trim", values={1: "rich"}),
            Answered(step=5, check="plugs", values=darker),
            Answered(step=6, check="pressure", values={0: "falls"}),
        ]
    )
    _, text, _ = sit("g", workup=start)
    assert text.index("IF SOMETHING IS TO BE DONE NOW") < text.index("WHAT COULD STILL CHANGE IT")


def settled() -> Workup:
    wet = {1: "same", 2: "same", 3: "wet", 4: "same"}
    return leaking().after(
        [
            Answered(step=5, check="plugs", values=wet),
            Answered(step=6, check="pressure", values={0: "falls"}),
        ]
    )


def test_back_from_the_verdict_reopens_the_question() -> None:
    kept, text, _ = sit("b", workup=settled())
    assert kept.kinds()[-3:] == ["verdict", "undo", "stop"]
    assert "LIKELIEST NOW" in text


def test_at_the_verdict_anything_else_gets_one_line() -> None:
    kept, text, _ = sit("purple", "", "s", workup=settled())
    assert text.count("One of the letters: g, b, h, w, t, l, k, c, n or s.") == 2
    assert kept.kinds()[-1] == "stop"


# ---- leaving ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("typed", [("s",), ("stop",), ("quit",), ()])
def test_leaving_says_how_to_go_on(typed: tuple[str, ...]) -> None:
    kept, text, console = sit("2", *typed)
    assert text.endswith(f"Everything answered is kept. To go on: {RESUME}\n")
    assert console.left == ("stop" if typed else "end of input")
    assert kept.kinds()[-2:] == ["answer", "stop"]


class _Raising(StringIO):
    def __init__(self, lines: str, error: BaseException) -> None:
        super().__init__(lines)
        self.error = error

    def readline(self, *size: int) -> str:  # type: ignore[override]
        line = super().readline()
        if not line:
            raise self.error
        return line


@pytest.mark.parametrize(
    ("error", "how"), [(KeyboardInterrupt(), "interrupt"), (OSError(5, "Input/output error"), "hang-up")]
)
@pytest.mark.parametrize("lines", ["", "2\n", "t smell\n", "o\n", "c\n", "k\n", "w\n", "2\nv\n", "x\n", "P0172\n"])
def test_leaving_from_anywhere_keeps_what_was_answered(lines: str, error: BaseException, how: str) -> None:
    console = Console(_Raising(lines, error), StringIO(), StringIO(), size=(80, 24), resume=RESUME)
    kept, text, _ = sit(console=console)
    assert console.left == how
    assert kept.kinds()[-1] == "stop"
    assert len(answers(kept)) == (1 if lines.startswith("2") else 0)
    assert text.endswith(f"To go on: {RESUME}\n")


def test_a_keeper_that_fails_is_the_callers_to_handle() -> None:
    class FullError(Exception):
        pass

    def full(events: Sequence[Event]) -> Workup:
        raise FullError

    from reasoner.report.text import RichPages
    from reasoner.terminal.loop import run_loop

    with pytest.raises(FullError):
        run_loop(case(), full, console_with(["2"]), RichPages())


# ---- nobody is asked twice -------------------------------------------------------------------------------------------


def test_nothing_is_asked_twice_in_a_whole_case() -> None:
    """Answering the first outcome throughout, no question comes up again for the same occasion."""
    workup = case("V 6")
    kept = Kept(workup)
    from reasoner.report.text import RichPages
    from reasoner.session.document import Question
    from reasoner.session.protocol import Talk
    from reasoner.terminal.loop import run_loop

    for _ in range(12):
        document = Talk(kept.workup).next()
        if not isinstance(document, Question):
            break
        line = "all=1" if len(document.places) > 1 else "1"
        if document.reading:
            line = " ".join(f"{p}=0" for p in document.places) if len(document.places) > 1 else "0"
        console = console_with([line, "", "s"])
        run_loop(kept.workup, kept, console, RichPages())
    seen = [(g.check, g.spell, tuple(g.values)) for g in kept.workup.record.given]
    assert len(seen) >= 4
    assert len(set(seen)) == len(seen)


def test_the_step_is_laid_out_anew_for_a_screen_of_another_size() -> None:
    class Resized(StringIO):
        def readline(self, size: int | None = -1, /) -> str:
            console.size = (48, 24)
            return super().readline()

    console = console_with([])
    console.source = Resized("r\n")
    _, text, _ = sit(workup=asking("plugs"), console=console)
    before, _, after = text.partition("> r\n")
    assert max(map(len, before.splitlines())) == 80
    assert after.startswith("-- ") and max(map(len, after.partition("Enter: ")[0].splitlines())) == 48


def test_cautions_are_read_before_an_answer_is_taken() -> None:
    """On the page before the answers only commands are heard; the answers' page comes at Enter."""
    console = console_with(["2", "h", "", "4=2", ""], through=False)
    kept, text, _ = sit(workup=asking("plugs"), console=console)
    assert "Nothing is taken here" in text and "WHAT YOU CAN TYPE" in text
    assert text.index("TAKE CARE FIRST") < text.index("ANSWER")
    assert len(answers(kept)) == 1


@pytest.mark.parametrize("line", ["w", "t smell", "t zebra", "o", "c", "n", "k", "x", "v", "4=2"])
def test_back_and_help_at_every_prompt(line: str) -> None:
    """b leaves what was begun with nothing kept, h explains it and asks again, q leaves the program."""
    workup = asking("plugs")
    kept, text, _ = sit(line, "h", "b", workup=workup)
    assert kept.kinds() == [*(e.kind for e in workup.events), "stop"]
    assert "keep everything and leave" in flat(text)
    kept, text, console = sit(line, "q", "1", workup=workup)
    assert not answers(kept) and console.left == "stop"


# ---- is it rich now? -------------------------------------------------------------------------------------------------


def at_warm_idle() -> Workup:
    """The shipped rules, a warm idle, and what needs a rich mixture there."""
    vehicle, _ = vehicle_from({"injection": "port", "metering": "airflow"})
    assert vehicle is not None
    return garage().begin(vehicle, [ALL_CODES, WARM])


def to_a_rich_one(workup: Workup) -> tuple[list[str], str]:
    """What is typed to come to a check that needs a rich mixture, and its name: nothing where it is proposed first."""
    names = [workup.tables.checks[option.check].name for option in workup.ranked]
    needs = [bool(book().checks[name].while_rich) and not o.fresh for name, o in zip(names, workup.ranked, strict=True)]
    if needs[0]:
        return [], names[0]
    number = needs.index(True)
    return [f"o {number + 1}"], names[number]


def not_seen(workup: Workup) -> list[str]:
    """What is typed to come to the first question, whether or not that needs a rich mixture."""
    return [] if to_a_rich_one(workup)[0] else [""]


def test_whether_it_is_rich_is_one_key_and_an_answer_where_it_is_not() -> None:
    workup = at_warm_idle()
    typed, name = to_a_rich_one(workup)
    kept, text, _ = sit(*typed, "purple", "n", "", "s", workup=workup)
    now = kept.workup
    assert "Is it rich now (warm idle)? y: yes, n: no, Enter: can't tell" in " ".join(text.split())
    assert "purple is not clear" in text and "Kept: it is not rich now." in text
    [given] = [g for g in now.record.given if g.check == name]
    [weights] = given.values.values()
    assert max(weights, key=weights.__getitem__) == book().checks[name].while_rich and now.rich_now is False
    needs = {n for name, n in now.tables.check_number.items() if book().checks[name].while_rich}
    assert needs and all((n, None) in now.situation.done for n in needs)
    assert not any(o.check in needs and not o.fresh for o in now.ranked)
    changed = now.after(acts.change_condition(now, "long-idle"))
    assert changed.rich_now is None and not all((n, None) in changed.situation.done for n in needs)
    back = now.after(acts.undo(now))
    assert back.rich_now is None and not back.record.given


def test_a_number_is_no_answer_about_the_car() -> None:
    """Typed ahead for the next question it would take suspects away."""
    fact = FactDoc("gas recirculation", "EGR", "Is there one?", "", ("yes", "no"))
    assert [_value(line, fact) for line in ("y", "No", "2", "1", "", "0")] == ["yes", "no", None, None, "", ""]


def test_where_it_is_asked_whether_it_is_rich_commands_work_as_at_any_question() -> None:
    workup = at_warm_idle()
    typed, _ = to_a_rich_one(workup)
    kept, text, _ = sit(*typed, "l idle +1 -18", "", "s", workup=workup)
    assert "is not clear" not in text and kept.workup.rich_now is True
    assert text.count("Is it rich now") == 1


def test_live_values_of_another_state_take_the_car_there_where_it_is_there() -> None:
    workup = at_warm_idle()
    for said, condition in (("y", "cruise"), ("", "warm-idle")):
        kept, text, _ = sit(*not_seen(workup), "l cruise +1 -18", said, "", "s", workup=workup)
        assert "Is the car at steady cruise now?" in " ".join(text.split())
        assert kept.workup.record.condition == condition
        assert {read.readings["long-term trim, bank 1"] for read in kept.workup.record.live} == {"-18 %"}


def test_rich_is_remembered_for_as_long_as_the_car_does_the_same() -> None:
    workup = at_warm_idle()
    kept, text, _ = sit(*to_a_rich_one(workup)[0], "y", "2", "s", workup=workup)
    assert kept.workup.record.rich and kept.workup.rich_now is True
    again = replace(kept.workup)
    _, text, _ = sit(*to_a_rich_one(again)[0], "s", workup=again)
    assert "Is it rich now" not in text


@pytest.mark.parametrize("said", ["", "d"])
def test_who_cannot_tell_is_not_asked_again_and_nothing_is_weighed_by_it(said: str) -> None:
    """Enter says nothing that was not seen. That it was asked is kept, so that it is not asked after a break either."""
    workup = at_warm_idle()
    typed = to_a_rich_one(workup)[0]
    kept, text, _ = sit(*typed, said, "s", workup=workup)
    now = kept.workup
    assert text.count("Is it rich now") == 1 and now.record.rich == {now.record.present: None}
    assert now.rich_now is None and now.record.answers == workup.record.answers
    assert np.array_equal(now.belief.probability, workup.belief.probability)
    kept, text, _ = sit(*to_a_rich_one(now)[0], "s", workup=now)
    assert "Is it rich now" not in text
    for condition in ("warm-idle", "cruise"):
        assert not now.after(acts.change_condition(now, condition)).record.rich, "it does something else: asked again"
    assert not now.after(acts.undo(now)).record.rich


def test_that_it_is_not_rich_holds_no_longer_once_the_car_does_something_else() -> None:
    """Also where nothing else was seen meanwhile, as another program may tell it."""
    workup = at_warm_idle()
    calm = workup.after([RichSeen(step=workup.record.steps + 1, rich=False)])
    assert calm.rich_now is False
    assert calm.after(acts.change_condition(calm, "cruise")).rich_now is None


def test_values_are_taken_on_the_page_before_the_answers_too() -> None:
    workup = at_warm_idle()
    number = 1 + next(n for n, option in enumerate(workup.ranked) if option.fresh)
    console = console_with(["", f"o {number}", "3", "2500 0 -14 maf 9.8", "", "", "s"], through=False)
    kept, text, _ = sit(workup=workup, console=console)
    assert text.count("Nothing is taken here") == 1  # of an answer it is said, of values it is not
    assert kept.workup.record.live


def test_what_was_said_is_not_said_again_on_the_same_page() -> None:
    _, text, _ = sit("n the hose is old", "h", "how", "s", workup=asking("plugs"))
    assert text.count("Noted: the hose is old") == 1


def test_why_is_asked_at_what_would_be_concluded() -> None:
    _, text, _ = sit("", "v", "w 1", "", "", "s", workup=asking("plugs"))
    assert "WHY IT STANDS WHERE IT STANDS" in text and "Enter: back to the question, w why" in text
    _, text, _ = sit("", "v", "undo", "s", workup=asking("plugs").after(acts.note(asking("plugs"), "a")))
    assert "Taken back: a note" in text  # what is no word of that page answers the question


@pytest.mark.parametrize("typed", ["long idle", "cruise", "under load", "something else"])
def test_a_state_is_named_by_its_words(typed: str) -> None:
    kept, text, _ = sit("", f"c {typed}", "s", workup=at_warm_idle())
    expected = {"long idle": "long-idle", "cruise": "cruise", "under load": "load"}.get(typed)
    assert kept.workup.record.condition == expected and "Kept: the car is now" in text


def test_words_of_several_states_are_asked_back() -> None:
    kept, text, _ = sit("", "c idle clearing open", "", "s", workup=at_warm_idle())
    assert "is not on the list" in text and kept.workup.record.condition == "warm-idle"


def test_another_program_says_it_too() -> None:
    talk, events, _ = hear(Talk(at_warm_idle()), {"type": "rich", "rich": False})
    assert talk.workup.rich_now is False and [type(e).__name__ for e in events] == ["RichSeen"]
    with pytest.raises(Refused):
        hear(talk, {"type": "rich"})


def test_other_checks_by_a_word() -> None:
    workup = at_warm_idle()
    _, text, _ = sit(*not_seen(workup), "o purge", "", "o zebra", "s", workup=workup)
    listed = text.split("OTHER CHECKS")[1].split("Its number")[0]
    assert "Purge hose pinched" in listed and "Oil level" not in listed
    assert 'None of the checks to choose from speaks of "zebra"' in flat(text)


def test_a_frame_is_told_at_any_question() -> None:
    workup = at_warm_idle()
    kept, _, _ = sit(*not_seen(workup), "t P0172 stft -12 ltft -14 purge 0", "", "s", workup=workup)
    assert {given.check for given in kept.workup.record.given} == {"frame-trims", "frame-purge"}


@pytest.mark.parametrize("line", ["f P0172 stft -12 ltft -14 purge 0", "frame stft -12 ltft -14 purge 0"])
def test_a_frame_is_typed_after_its_letter_at_any_question(line: str) -> None:
    workup = at_warm_idle()
    kept, _, _ = sit(*not_seen(workup), line, "", "s", workup=workup)
    assert {given.check for given in kept.workup.record.given} == {"frame-trims", "frame-purge"}
    _, alone, _ = sit(*not_seen(workup), "f", "stft -12 ltft -14", "", "", "s", workup=workup)
    assert "FREEZE FRAME" in alone and "Kept: all that the frame says." in alone
    _, wrong, _ = sit(*not_seen(workup), "f sunshine", "", "s", workup=workup)
    assert '"sunshine" is not clear' in wrong
    # The arrow key brings the line back with its letter.
    again, _, _ = sit(*not_seen(workup), "f load 240", line, "", "", "s", workup=workup)
    assert {given.check for given in again.workup.record.given} == {"frame-trims", "frame-purge"}


def test_what_was_said_of_the_car_is_taken_back_by_name() -> None:
    vehicle, _ = vehicle_from({"injection": "port"})
    assert vehicle is not None
    workup = garage().begin(vehicle, [ALL_CODES, WARM])
    kept, text, _ = sit("", "car model year 2014", "b", "s", workup=workup)
    assert "Kept: model year: 2014" in text and "Taken back: the car: model year: 2014" in text
    assert "model year" not in kept.workup.vehicle.fields


def test_that_it_has_no_turbo_can_be_said_later() -> None:
    """Nothing said of it in the first line: what only a charged engine can have is a suspect until it is said."""
    vehicle, _ = vehicle_from({"injection": "port"})
    assert vehicle is not None
    workup = garage().begin(vehicle, [ALL_CODES, WARM])
    kept, text, _ = sit("", "car charging natural", "s", workup=workup)
    assert "Kept: charging: natural" in text
    assert kept.workup.tables.check_number.keys() < workup.tables.check_number.keys()
    _, text, _ = sit("", "car charging perhaps", "s", workup=workup)
    assert "one of: natural, charged" in text


def test_how_and_cautions_stay_on_a_terminal_until_enter() -> None:
    console = console_with(["", "how", "care", "h", "", "3=2", "", "s"], tty=True, through=False)
    kept, text, _ = sit(workup=asking("plugs"), console=console)
    assert text.count("Enter: back to the question, h help > ") >= 2
    assert len(answers(kept)) == 1
    for page in ("HOW  ", "TAKE CARE FIRST"):
        assert "Enter: back to the question" in text.split(page)[-1]


def test_american_words_find_what_the_rules_call_otherwise() -> None:
    """The README says that both may be typed."""
    workup = at_warm_idle()
    for typed, ours in (("hood", "bonnet"), ("ground", "earth"), ("gasoline smell", "petrol smell")):
        assert find_checks(workup, typed) == find_checks(workup, ours) != ()
