"""A verdict and a reason as text: what stands where, in which widths, and that nothing typed or written does harm."""

from __future__ import annotations

import re
from dataclasses import replace
from io import StringIO

import pytest

from reasoner.report.text import times_text, write
from reasoner.session.concluding import verdict, why
from reasoner.session.document import Reason, SurpriseDoc, Verdict, Way
from tests.terminal.consoles import case
from tests.terminal.test_loop import leaking, settled


def as_text(document: object, width: int = 80, colour: bool = False) -> str:
    out = StringIO()
    write(document, out, width, colour)  # type: ignore[arg-type]
    return out.getvalue()


def flat(text: str) -> str:
    return " ".join(text.split())


FIRM = verdict(settled())
OPEN = verdict(leaking(), stopped=True)


def test_a_firm_verdict_says_cause_place_and_how_sure_first() -> None:
    text = as_text(FIRM)
    head = flat(text)[:300]
    assert "Injector leaks when shut, cylinder 3." in head
    assert re.search(r"9\d % \(\d+ to \d+ %\)", head)


def test_no_step_without_its_cautions() -> None:
    """The verdict names the work and its place; how it is done is on the sheet, each step after its cautions."""
    text = flat(as_text(replace(FIRM, wanted_first=("Plugs looked at once more",))))
    order = [text.index(part) for part in ("BEFORE ANYTHING IS REPLACED", "Plugs looked", "WHAT TO DO NEXT", "WHY")]
    assert order == sorted(order)
    assert "Replace the injector: cylinder 3." in text and "on the repair sheet" in text
    assert FIRM.repair_do not in text


def test_a_verdict_is_one_screen() -> None:
    assert as_text(FIRM).count("\n") <= 22 and as_text(OPEN).count("\n") <= 22


def test_a_verdict_that_is_not_firm_tells_nobody_to_replace_anything() -> None:
    text = as_text(OPEN)
    assert "REPLACE NOTHING ON THIS ALONE" in text
    assert "WHAT TO DO NEXT" not in text and "Fit a new" not in text


def test_the_place_is_said_to_be_open_where_it_is() -> None:
    text = flat(as_text(OPEN))
    assert ": Injector leaks when shut; its place is still open." in " ".join(text.split())
    assert OPEN.lead.fault == OPEN.fault.fault
    assert "If it turns out to be the likeliest one: Replace the injector." in text


def test_what_is_left_open_names_a_fault_once_with_its_places() -> None:
    first = OPEN.lead
    places = [replace(first, where=f"cylinder {n}", probability=0.04) for n in (1, 2)]
    other = replace(first, title="Purge valve sticks open", where="engine", probability=0.12)
    text = flat(as_text(replace(OPEN, open=(*places, other))))
    assert f"{first.title}, cylinder 1 (4 %), cylinder 2 (4 %); Purge valve sticks open (12 %)." in text


def test_the_strongest_few_in_words() -> None:
    reasons = tuple(Reason("c", f"answer {n}", float(n), "rules/x.yaml:1:1", "judgement", "") for n in range(7, 0, -1))
    text = as_text(replace(FIRM, spoke_for=reasons, spoke_against=()))
    assert [f"answer {n}" in text for n in range(1, 8)] == [False] * 5 + [True] * 2
    assert "WHY  w: 5 more answers" in text
    assert re.search(r"5 times as likely\s+answer 7", text)


@pytest.mark.parametrize(
    ("decibans", "word"),
    [
        (0.6, "a little likelier"),
        (-0.6, "a little less likely"),
        (2.0, "1.5 times as likely"),
        (3.0, "twice as likely"),
        (-3.0, "half as likely"),
        (6.0, "4 times as likely"),
        (-10.0, "10 times less likely"),
        (31.0, "over 100 times as likely"),
    ],
)
def test_how_much_in_words(decibans: float, word: str) -> None:
    assert times_text(decibans) == word


def test_answers_that_disagree_are_named_before_anything_is_done() -> None:
    clash = replace(FIRM, surprise=SurpriseDoc(2.5, False, ("Smell of fuel: no smell", "Plug colour: cylinder 3 wet")))
    text = as_text(clash)
    assert text.index("DO NOT FIT TOGETHER") < text.index("Smell of fuel: no smell") < text.index("WHAT TO DO NEXT")


@pytest.mark.parametrize(
    "found", [SurpriseDoc(-1.0, False, ("x",)), SurpriseDoc(2.0, True, ("x",)), SurpriseDoc(2.0, False, ())]
)
def test_no_conflict_is_claimed_where_there_is_none(found: SurpriseDoc) -> None:
    assert "DO NOT FIT TOGETHER" not in as_text(replace(FIRM, surprise=found))


def test_what_is_open_what_would_change_it_and_what_it_means_to_drive_on() -> None:
    far = Way("scope", "Scope on the injectors", "warm-idle", "warm idle", True, 3, None, 40.0, 480.0, 0.0, 1, 0.4)
    text = flat(as_text(replace(FIRM, would_change=(far,), out_of_reach=(far,))))
    assert (
        "WHAT COULD STILL CHANGE IT - Scope on the injectors (warm idle), 3 times: 40 min work and 8 h waiting" in text
    )
    assert text.index("WHAT TO DO NEXT") < text.index("WHAT COULD STILL CHANGE IT")
    assert "WOULD SAY MORE, WITH THE TOOL FOR IT - Scope" in text
    assert "DRIVING ON Short trips only" in text
    other = replace(FIRM.lead, title="Purge valve stays open", where="engine", probability=0.04)
    assert "LEFT OPEN Purge valve stays open (4 %)." in flat(as_text(replace(FIRM, open=(other,))))


def test_why_names_prior_rule_and_each_answers_weight() -> None:
    document = why(settled(), "leaky-injector@cylinder-3")
    text = flat(as_text(document))
    assert "Before any answer: 10 %. Leaks when hot." in text
    assert "rule: rules/tiny.yaml:57:3 (judgement)" in text
    assert re.search(r"\d\d times as likely Plug colour: cylinder 3 wet", text)
    assert "the same fault, wherever it sits" in text
    assert f"{document.suspect.probability:.0%}".replace("%", " %") in text


def test_why_without_answers() -> None:
    assert "No answer has moved it yet." in as_text(why(case(), "purge-open"))


@pytest.mark.parametrize("width", [40, 80, 140])
@pytest.mark.parametrize(
    "document", [FIRM, OPEN, why(settled(), "leaky-injector@cylinder-3")], ids=["firm", "open", "why"]
)
def test_it_keeps_to_its_width(document: object, width: int) -> None:
    lines = as_text(document, width).split("\n")
    assert max(len(line.rstrip()) for line in lines) <= min(width, 100)
    assert width < 80 or max(len(line.rstrip()) for line in lines) > min(width, 100) - 25


def test_without_colour_there_is_no_escape_and_with_it_nothing_else_changes() -> None:
    plain, coloured = as_text(FIRM), as_text(FIRM, colour=True)
    assert "\x1b" not in plain and "\x1b[" in coloured
    bare = re.sub(r"\x1b\[[0-9;]*m", "", coloured)
    assert [line.rstrip() for line in bare.split("\n")] == plain.split("\n")


def test_text_of_rules_does_no_harm() -> None:
    bad = "\x1b[2J\x1b]0;t\x07 [bold]x[/bold] \u202e \u2066 :smile: {0} %s"
    document: Verdict = replace(
        FIRM,
        sentence=bad,
        repair_do=bad,
        driving_on=bad,
        proof=(bad,),
        repair_cautions=(bad,),
        spoke_for=(Reason("c", bad, 3.0, bad, bad, bad),),
        lead=replace(FIRM.lead, title=bad),
    )
    text = as_text(document)
    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", text)
    assert "[bold]x[/bold]" in text and ":smile:" in text  # shown as written, not obeyed
