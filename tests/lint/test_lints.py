"""Every lint: silent about the good tiny book of its docstring, and every word of what it says about the bad one.

Each tiny book lies over the small rules of `base/`. To write the books out of the docstrings and the texts anew (and
then to read every difference): python -m tests.lint.test_lints
"""

from __future__ import annotations

import re
from pathlib import Path
from textwrap import dedent

import pytest

from reasoner.lint.context import Context, LintFinding, context_of
from reasoner.lint.run import IDLE_WAIVER, LINTS, run_lints
from reasoner.rulebook.problem import Notebook, Problem, problem_text
from reasoner.rulebook.read import gather

HERE = Path(__file__).parent
BOOKS = HERE / "books"
TRIED = frozenset(
    {"leak", "meter-high", "meter-dirty", "pump-high", "trim", "airflow", "plugs", "sooty-pipe", "line-off", "flame"}
    | {"seal-leaks", "thin-oil"}
)


def opened(*over: Path) -> tuple[Context, Notebook]:
    notes = Notebook()
    book = gather([HERE / "base"], HERE, over, notes)
    assert book is not None, "\n".join(map(problem_text, notes.problems))
    return context_of(book, {"a case": TRIED}), notes


def warned(*over: Path, strict: bool = True) -> tuple[Problem, ...]:
    looked_at, notes = opened(*over)
    return run_lints(looked_at, notes.lines, strict)


def snippets(name: str) -> tuple[str, str]:
    """The good and the bad book in a lint's docstring."""
    found = re.fullmatch(r".*?\nGood:\n\n(.*?)\nBad:\n\n(.*)", LINTS[name].manual, re.S)
    assert found, f"{name}: a docstring ends with Good:, a book, Bad:, a book"
    return dedent(found[1]), dedent(found[2])


def test_the_base_is_clean() -> None:
    assert [problem_text(problem) for problem in warned()] == []


def test_every_lint_has_its_books() -> None:
    assert {path.name for path in BOOKS.iterdir()} == {*LINTS, IDLE_WAIVER}


@pytest.mark.parametrize("name", LINTS)
def test_the_books_are_those_of_the_docstring(name: str) -> None:
    written = tuple((BOOKS / name / f"{which}.yaml").read_text(encoding="utf-8") for which in ("good", "bad"))
    assert written == snippets(name)


@pytest.mark.parametrize("name", [*LINTS, IDLE_WAIVER])
def test_nothing_is_said_about_the_good_book(name: str) -> None:
    assert [problem_text(problem) for problem in warned(BOOKS / name / "good.yaml")] == []


@pytest.mark.parametrize("name", [*LINTS, IDLE_WAIVER])
def test_the_whole_of_what_is_said_about_the_bad_book(name: str) -> None:
    found = warned(BOOKS / name / "bad.yaml")
    assert {problem.kind for problem in found} == {name}
    assert {problem.severity for problem in found} == {"warning"}
    assert said(found) == (BOOKS / name / "bad.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", LINTS)
def test_what_is_waived_is_not_said(name: str, tmp_path: Path) -> None:
    """A waiver, with its reason, on each entry that is warned of leaves nothing."""
    bad = BOOKS / name / "bad.yaml"
    looked_at, _ = opened(bad)
    found = list(LINTS[name].check(looked_at))
    lines: list[str] = []
    for section in dict.fromkeys(finding.section for finding in found):
        lines += [f"{section}:", *(f"  {n}: {{waive: {{{name}: On purpose.}}}}" for n in named(found, section))]
    waiver = tmp_path / "waiver.yaml"
    waiver.write_text("\n".join(lines), encoding="utf-8")
    assert warned(bad, waiver) == ()


def named(found: list[LintFinding], section: str) -> list[str]:
    return list(dict.fromkeys(finding.name for finding in found if finding.section == section))


def test_only_strictness_minds_what_no_case_has_tried() -> None:
    bad = BOOKS / "not-in-a-case" / "bad.yaml"
    assert warned(bad, strict=False) == ()
    assert len(warned(bad)) == 1


# ---- what a good and a bad book do not reach -------------------------------------------------------------------------


def kinds(tmp_path: Path, text: str) -> list[str]:
    """What is warned of when this lies over the base: the messages."""
    path = tmp_path / "own.yaml"
    path.write_text(dedent(text), encoding="utf-8")
    return [f"{problem.kind}: {problem.message}" for problem in warned(path)]


def test_an_alike_that_is_not_is_said(tmp_path: Path) -> None:
    (found,) = kinds(tmp_path, "faults: {leak: {alike: {meter-high: They look the same.}}}")
    assert found.startswith(
        'cannot-tell-apart: "leak" and "meter-high" can be told apart: the best, airflow, brings 0.'
    )


def test_alike_holds_both_ways(tmp_path: Path) -> None:
    other = tmp_path / "other.yaml"
    other.write_text("faults: {meter-high: {alike: {meter-dirty: The same part.}}}", encoding="utf-8")
    bad = BOOKS / "cannot-tell-apart" / "bad.yaml"
    assert len(warned(bad)) == 1 and warned(bad, other) == ()


def test_faults_that_no_vehicle_can_have_both_need_no_telling_apart(tmp_path: Path) -> None:
    bad = (BOOKS / "cannot-tell-apart" / "bad.yaml").read_text(encoding="utf-8")
    only = bad.replace("    share: 10", "    only: {return line: yes}\n    share: 10")
    both = only.replace("faults:", "faults:\n  meter-high: {only: {return line: no}}")
    assert kinds(tmp_path, both) == []


def test_a_single_place_is_compared_with_the_whole_engine(tmp_path: Path) -> None:
    """One at a cylinder and one at all of them are told apart by looking at another cylinder."""
    text = """
        faults:
          all-leak:
            name: All injectors leak
            means: They drip.
            at: engine
            share: 10
            acts as: [rich]
            repair: new-injector
            confirmed by: [plugs]
            driving on: Fuel gets into the oil.
            source: judgement
        checks:
          plugs: {given: {all-leak: {darker: often}}}
    """
    assert kinds(tmp_path, text) == ['not-in-a-case: no solved case ends with "all-leak"']


def test_a_check_made_where_its_fault_does_not_act_tells_nothing(tmp_path: Path) -> None:
    """Looked at with the engine off, in which the leak acts one time in a hundred, the plugs are as they always are."""
    found = kinds(tmp_path, "faults: {leak: {shows: {stands: never, any: often}}}")
    assert [said.partition(" tells")[0] for said in found if "tells-nothing" in said] == ['tells-nothing: "plugs"']
    assert kinds(tmp_path, "faults: {leak: {shows: {stands: often, any: never}}}") == []


def test_an_outcome_without_a_band_is_said(tmp_path: Path) -> None:
    text = """
        checks:
          trim:
            outcomes: {normal: near nothing, rich: far below, stuck: it does not move}
            otherwise: {rich: seldom, stuck: rarely}
            given: {leak: {rich: usually, stuck: sometimes}}
            measure: {quantity: trim, unit: "%", bands: {rich: below -10, normal: above -10}, spread: 3}
    """
    assert kinds(tmp_path, text) == ['unlikely-outcome: no reading gives the outcome "stuck" of "trim"']


def test_a_new_statement_under_a_published_source_is_borrowed(tmp_path: Path) -> None:
    borrowed = kinds(tmp_path, "checks: {trim: {source: a-study}}")
    assert borrowed == []  # whoever names the source means it
    study = "checks: {trim: {source: a-study, given: {leak: {rich: often}}}}"
    path, over = tmp_path / "study.yaml", tmp_path / "over.yaml"
    path.write_text(study, encoding="utf-8")
    over.write_text("checks: {trim: {given: {meter-high: {rich: often}}}}", encoding="utf-8")
    assert [problem.message for problem in warned(path, over)][:1] == [
        '`given: meter-high` of "trim" is changed here, and would stand under a-study'
    ]
    over.write_text("checks: {trim: {given: {meter-high: {rich: often, source: practice}}}}", encoding="utf-8")
    assert "borrowed-source" not in {problem.kind for problem in warned(path, over)}


def test_a_statement_that_silences_a_family_is_no_repetition(tmp_path: Path) -> None:
    """`rich` would speak of the meter; saying what `otherwise` says keeps it from being heard."""
    assert kinds(tmp_path, "checks: {trim: {given: {meter-high: {rich: seldom}}}}") == []


def test_a_source_named_in_a_reason_is_used(tmp_path: Path) -> None:
    text = """
        sources: {a-book: {cite: "Nobody, A book that was never written", seen: from memory}}
        faults: {leak: {because: As a-book says.}}
    """
    assert kinds(tmp_path, text) == []


def test_a_caution_of_the_condition_counts(tmp_path: Path) -> None:
    """It has been shown when the condition was brought about."""
    text = """
        conditions: {stands: {cautions: [vapour]}}
        checks: {plugs: {how: Take the fuel line off first., cautions: []}}
    """
    assert kinds(tmp_path, text) == []


@pytest.mark.parametrize("word", ["coil", "petrol", "stands", "hot air"])
def test_no_caution_is_asked_for_what_is_only_told(tmp_path: Path, word: str) -> None:
    text = f"""
        checks:
          sooty-pipe:
            name: Told
            kind: told
            ask: Was the {word} off lately, or the fuel line, or a coil?
            sees: ever
            outcomes: {{no: it was not, yes: it was}}
            otherwise: {{yes: seldom}}
            given: {{leak: {{yes: often}}}}
            source: practice
    """
    assert kinds(tmp_path, text) == []


# ---- the shipped rules -----------------------------------------------------------------------------------------------


def test_the_shipped_rules_are_clean() -> None:
    """No warning that is not waived, and every waiver says why in more than a word."""
    notes = Notebook()
    book = gather([HERE.parents[1] / "rules"], HERE.parents[1], (), notes)
    assert book is not None
    assert [problem_text(problem) for problem in run_lints(context_of(book), notes.lines)] == []
    reasons = [reason for waived in book.waived.values() for reason in waived.values()]
    reasons += [reason for fault in book.faults.values() for reason in fault.alike.values()]
    # Few beside the 280 faults and checks; one more than there were, for a car with nothing wrong any more.
    assert all(len(reason.split()) >= 2 for reason in reasons) and len(reasons) < 26


def test_a_share_of_more_than_a_third_of_all_is_said(tmp_path: Path) -> None:
    own, notes, rules = tmp_path / "own.yaml", Notebook(), HERE.parents[1] / "rules"
    for share, warnings in ((100, 0), (900, 1)):
        own.write_text(f"faults: {{thermostat-open: {{share: {share}, source: practice}}}}", encoding="utf-8")
        book = gather([rules], rules.parent, [own], notes)
        assert book is not None
        found = list(LINTS["out-of-proportion"].check(context_of(book)))
        assert len(found) == warnings and all("of all shares" in one.message for one in found)


def test_every_fault_and_check_of_the_shipped_rules_is_looked_at() -> None:
    notes = Notebook()
    book = gather([HERE.parents[1] / "rules"], HERE.parents[1], (), notes)
    assert book is not None
    looked_at = context_of(book)
    assert {fault for car in looked_at.cars for fault in car.cause_of} == set(book.faults)
    assert {table.name for car in looked_at.cars for table in car.tables.checks} == set(book.checks)


def said(found: tuple[Problem, ...]) -> str:
    return "\n\n".join(map(problem_text, found)) + "\n"


if __name__ == "__main__":
    for lint in LINTS:
        (BOOKS / lint).mkdir(parents=True, exist_ok=True)
        for which, text in zip(("good", "bad"), snippets(lint), strict=True):
            (BOOKS / lint / f"{which}.yaml").write_text(text, encoding="utf-8")
    for folder in BOOKS.iterdir():
        (folder / "bad.txt").write_text(said(warned(folder / "bad.yaml")), encoding="utf-8")
