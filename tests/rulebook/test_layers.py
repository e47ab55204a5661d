"""A shop's rules over others: what is replaced, what stays, where every value comes from, and what is refused.

The gallery `layered/` has one file for each mistake that only layers make, and the whole of what is said about it.
To write the texts anew (and then to read every difference): python -m tests.rulebook.test_layers
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reasoner.rulebook.entries import SECTIONS
from reasoner.rulebook.fields import RULE_NAME
from reasoner.rulebook.layers import text_of_value
from reasoner.rulebook.model import Rulebook
from reasoner.rulebook.problem import problem_text
from reasoner.rulebook.quantity import FREQUENCY_WORDS
from reasoner.rulebook.read import collect, read_rules
from tests.trees import read_text

HERE = Path(__file__).parent
SMALL = HERE / "small"
LAYERED = sorted((HERE / "layered").glob("*.yaml"))


@pytest.fixture
def shop(tmp_path: Path):  # type: ignore[no-untyped-def]
    """Rules with these texts of a shop laid over them, one layer each."""

    def over(*texts: str) -> Rulebook:
        paths = []
        for number, text in enumerate(texts, start=1):
            path = tmp_path / f"shop-{number}" / "own.yaml"
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")
            paths.append(path.parent)
        return read_rules([SMALL], tmp_path, paths)

    return over


def where(book: Rulebook, *trail: str) -> tuple[str, str, list[str]]:
    """A value as text, the file it stands in, and what it replaced."""
    value = book.written[trail]
    return value.text, value.place.file.split("/")[-1], [old.text for old in value.before]


# ---- what is laid over what ------------------------------------------------------------------------------------------


def test_one_value_of_a_fault(shop) -> None:  # type: ignore[no-untyped-def]
    before, book = shop(), shop("faults: {airflow-reads-high: {share: 200}}")
    own, base = book.faults["airflow-reads-high"], before.faults["airflow-reads-high"]
    assert own.share == {"port": 200, "direct": 200, "dual": 200}
    assert (own.title, own.shows, own.repair, own.origin) == (base.title, base.shows, base.repair, base.origin)
    assert [name for name in book.faults if book.faults[name] != before.faults[name]] == ["airflow-reads-high"]
    assert where(book, "faults", "airflow-reads-high", "share") == ("200", "own.yaml", ["10"])
    assert set(book.replaced) == {("faults", "airflow-reads-high", "share")}
    assert book.replaced["faults", "airflow-reads-high", "share"].before[0].place.file.endswith("small/things.yaml")


def test_statements_are_replaced_fault_by_fault(shop) -> None:  # type: ignore[no-untyped-def]
    book = shop("checks: {fuel-trim: {given: {leaks: {rich: 90 %}}}}")
    check = book.checks["fuel-trim"]
    assert {name: seen.value for name, seen in check.given["leaks"].here.items()} == {"rich": 0.9}
    assert check.given["airflow-reads-high"].here["rich"].written == "8 of 10"
    assert check.given["leaks"].origin.place.file.endswith("own.yaml")
    assert check.given["leaks"].origin.source == "practice"  # that of the check: the shop's statement names none
    assert list(check.given) == ["airflow-reads-high", "leaks"]


def test_a_statement_is_replaced_as_a_whole(shop) -> None:  # type: ignore[no-untyped-def]
    """Half of the old statement and half of the new would be nobody's opinion."""
    said = shop("checks: {rich-code: {given: {leaks: {listed: 40 %}}}}").checks["rich-code"].given["leaks"]
    assert (said.here["listed"].value, said.elsewhere, said.origin.source) == (0.4, None, "practice")


def test_a_new_statement_is_added(shop) -> None:  # type: ignore[no-untyped-def]
    check = shop("checks: {fuel-smell: {given: {airflow-reads-high: {yes: 1 %}}}}").checks["fuel-smell"]
    assert list(check.given) == ["leaks", "airflow-reads-high"]


@pytest.mark.parametrize(
    ("text", "trail", "seen"),
    [
        (
            "faults: {injector-leak: {shows: {any: never}}}",
            "shows",
            {"warm-idle": 7 / 9, "any": FREQUENCY_WORDS["never"]},
        ),
        ("faults: {injector-leak: {share: {direct: 41}}}", "share", {"port": 20, "direct": 41, "dual": 30}),
    ],
)
def test_maps_of_names_are_replaced_name_by_name(shop, text: str, trail: str, seen: dict) -> None:  # type: ignore
    found = getattr(shop(text).faults["injector-leak"], trail)
    values = {name: getattr(value, "value", value) for name, value in found.items()}
    assert values == pytest.approx(seen)


def test_lists_are_replaced_as_a_whole(shop) -> None:  # type: ignore[no-untyped-def]
    book = shop("checks: {plug-colour: {cautions: [petrol-vapour]}}\nrepairs: {replace-injector: {proof: [fuel-trim]}}")
    assert book.checks["plug-colour"].cautions == ("petrol-vapour",)
    assert book.repairs["replace-injector"].proof == ("fuel-trim",)


def test_settings_key_by_key(shop) -> None:  # type: ignore[no-untyped-def]
    before, book = shop().settings, shop("settings: {lead: 6, weights: {practice: 15}}").settings
    assert (book.lead, book.weights) == (6, {**before.weights, "practice": 15})
    assert (book.dominates, book.report_right) == (before.dominates, before.report_right)


def test_a_changed_weight_reaches_every_statement(shop) -> None:  # type: ignore[no-untyped-def]
    book = shop("settings: {weights: {practice: 15}}")
    assert book.checks["fuel-trim"].otherwise.origin.weight == 15


def test_codes_are_replaced(shop) -> None:  # type: ignore[no-untyped-def]
    book = shop("codes: {P0172: Rich on the left}\nchecks: {rich-code: {codes: {bank 2: [P0172]}}}")
    assert book.codes["P0172"].title == "Rich on the left"
    assert book.checks["rich-code"].codes == {1: ("P0172",), 2: ("P0172",)}
    assert where(book, "codes", "P0172") == ("Rich on the left", "own.yaml", ["System Too Rich (Bank 1)"])


def test_the_last_layer_wins_and_all_are_remembered(shop) -> None:  # type: ignore[no-untyped-def]
    book = shop(*(f"faults: {{airflow-reads-high: {{share: {n}}}}}" for n in (20, 30)))
    assert book.faults["airflow-reads-high"].share["port"] == 30
    assert where(book, "faults", "airflow-reads-high", "share") == ("30", "own.yaml", ["10", "20"])


def test_whole_new_entries_are_added_at_the_end(shop) -> None:  # type: ignore[no-untyped-def]
    book = shop("tools: {lamp: {name: a lamp}}\nfamilies: {odd: {name: odd, means: odd., source: practice}}")
    assert list(book.tools) == ["plug-socket", "gauge", "lamp"] and "odd" in book.families
    assert book.replaced == {} and {file.split("/")[-1] for file in book.over} == {"own.yaml"}


def test_a_share_for_each_injection_replaced_by_one(shop) -> None:  # type: ignore[no-untyped-def]
    book = shop("faults: {injector-leak: {share: 7}}")
    assert where(book, "faults", "injector-leak", "share") == ("7", "own.yaml", ["{port: 20, direct: 40, dual: 30}"])


def test_nothing_is_waived_twice_and_nothing_lost(shop) -> None:  # type: ignore[no-untyped-def]
    book = shop("faults: {airflow-reads-high: {waive: {dear-check: Cheap here.}, alike: {injector-leak: As here.}}}")
    waived = book.waived["faults", "airflow-reads-high"]
    assert waived == {"not-confirmed": "There is nothing to confirm it with.", "dear-check": "Cheap here."}
    assert book.faults["airflow-reads-high"].alike == {"injector-leak": "As here."}


# ---- stamp -----------------------------------------------------------------------------------------------------------


def test_the_stamp_tells_the_layers_apart(shop) -> None:  # type: ignore[no-untyped-def]
    one, two = "faults: {airflow-reads-high: {share: 20}}", "tools: {lamp: {name: a lamp}}"
    stamps = [shop().stamp, shop(one).stamp, shop(two).stamp, shop(one, two).stamp, shop(two, one).stamp]
    assert len(set(stamps)) == 5
    assert shop(one, two).stamp == stamps[3]
    assert shop().stamp == read_rules([SMALL]).stamp


# ---- every value with its place --------------------------------------------------------------------------------------


def test_every_value_of_the_shipped_rules_stands_where_it_says() -> None:
    root = HERE.parents[1]
    book = read_rules([root / "rules"], root)
    lines = {file: (root / file).read_text(encoding="utf-8").split("\n") for file in book.files}
    assert len(book.written) > 3000
    for trail, value in book.written.items():
        rest = lines[value.place.file][value.place.line - 1][value.place.column - 1 :]
        first = value.text.split()[0] if value.text.split() else ""
        if rest[:1] not in ("{", "[", "|", ">", '"', "'", "-") and not value.text.startswith("{"):
            assert rest.startswith(first), (trail, rest)
        elif rest[:1] in ("{", "["):
            assert value.text.startswith(rest[:1]), (trail, rest)
    assert {trail[0] for trail in book.written} == {"settings", *(name for name in SECTIONS if getattr(book, name))}


WORD = st.from_regex(RULE_NAME, fullmatch=True).filter(lambda word: len(word) < 9)
TREE = st.recursive(
    WORD, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORD, inner, max_size=3), max_leaves=8
)


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(WORD, TREE, min_size=1, max_size=3))
def test_a_value_as_text_reads_back_as_itself(data: dict) -> None:  # type: ignore[type-arg]
    def written(value: object) -> str:
        if isinstance(value, dict):
            return "{" + ", ".join(f"{key}: {written(inside)}" for key, inside in value.items()) + "}"
        return "[" + ", ".join(map(written, value)) + "]" if isinstance(value, list) else str(value)

    tree, problems = read_text("a: " + written(data), "x.yaml")
    assert tree is not None and not problems
    node = tree.get("a")
    assert node is not None and text_of_value(node) == written(data)


# ---- the gallery -----------------------------------------------------------------------------------------------------


def said_of(path: Path) -> str:
    book, problems = collect([SMALL], HERE, [path])
    assert (book is None) == bool(problems)
    return "\n\n".join(problem_text(problem) for problem in problems) + "\n"


def test_there_are_enough() -> None:
    assert len(LAYERED) >= 12
    assert {path.stem for path in (HERE / "layered").glob("*.txt")} == {path.stem for path in LAYERED}


@pytest.mark.parametrize("path", LAYERED, ids=lambda path: path.stem)
def test_the_whole_message(path: Path) -> None:
    said = said_of(path)
    assert said == path.with_suffix(".txt").read_text(encoding="utf-8")
    assert f"layered/{path.name}" in said


if __name__ == "__main__":
    for file in LAYERED:
        file.with_suffix(".txt").write_text(said_of(file), encoding="utf-8")
