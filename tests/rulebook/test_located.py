"""YAML as a tree: every place right, nothing turned into anything else, every slip a message and never a traceback."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from reasoner import yaml_tree
from reasoner.mistake import Place
from reasoner.rulebook import located
from reasoner.rulebook.located import parse_bytes
from reasoner.rulebook.problem import Notebook, Problem, problem_text
from reasoner.yaml_tree import List, Map, Node, Text
from tests.trees import read_file, read_text

HERE = Path(__file__).parent
RULES = sorted((HERE / "small").glob("*.yaml")) + sorted((HERE.parents[1] / "rules").glob("*.yaml"))


def tree(text: str) -> Map:
    found, problems = read_text(text, "x.yaml")
    assert found is not None and not problems
    return found


def only(text: str) -> Problem:
    _, problems = read_text(text, "x.yaml")
    assert len(problems) == 1
    return problems[0]


def plainly(node: Node) -> object:
    if isinstance(node, Text):
        return node.value
    if isinstance(node, List):
        return [plainly(item) for item in node.items]
    return {key.value: plainly(value) for key, value in node.pairs}


@pytest.mark.parametrize("path", RULES, ids=lambda path: path.name)
def test_the_same_data_as_pyyaml_reads(path: Path) -> None:
    """Outside check: PyYAML's BaseLoader, which keeps every scalar as text, reads the same data from the same file."""
    found, problems = read_file(path)
    assert found is not None and not problems
    assert plainly(found) == yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)


@pytest.mark.parametrize("path", RULES, ids=lambda path: path.name)
def test_every_word_stands_where_it_says(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").split("\n")

    def walk(node: Node) -> int:
        if isinstance(node, Text):
            written = lines[node.place.line - 1][node.place.column - 1 :][: node.length]
            if not node.quoted and written:
                assert node.value.startswith(written.strip()), node
            return 1
        children = node.items if isinstance(node, List) else [part for pair in node.pairs for part in pair]
        return sum(walk(child) for child in children)

    found, _ = read_file(path)
    assert found is not None and walk(found) > 10


def test_words_stay_words() -> None:
    """YAML 1.1 (yaml.org/type/bool.html, int.html, timestamp.html) would make True, 750, 8 and a date of these."""
    words = ["yes", "no", "on", "off", "12:30", "010", "2024-01-02", "~", "null", "1e3", "0x1f", "true"]
    found = tree("a: [" + ", ".join(words) + "]")
    assert plainly(found) == {"a": words}


def test_places_count_characters_from_one() -> None:
    found = tree("é: {größe: ja}\nb:\n  - c")
    (_, first), (_, second) = found.pairs
    assert isinstance(first, Map) and isinstance(second, List)
    assert first.pairs[0][1] == Text("ja", Place("x.yaml", 1, 12), 2)
    assert second.items[0].place == Place("x.yaml", 3, 5)


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_line_endings_and_byte_order_mark(tmp_path: Path, ending: str) -> None:
    file = tmp_path / "a.yaml"
    file.write_bytes(b"\xef\xbb\xbf" + ending.join(["a: b", "c: d", "c: e"]).encode())
    found, problems = read_file(file, "a.yaml")
    assert found is not None and plainly(found) == {"a": "b", "c": "d"}
    assert [(p.place.line, p.kind, p.text_line) for p in problems] == [(3, "same-twice", "c: e")]


def test_a_key_written_twice_keeps_the_first_and_names_both() -> None:
    found, problems = read_text("a: 1\nb: 2\na: 3\na: 4\n", "x.yaml")
    assert found is not None and plainly(found) == {"a": "1", "b": "2"}
    assert [p.place.line for p in problems] == [3, 4]
    assert all("first on line 1" in p.message for p in problems)


def test_a_bomb_of_aliases_is_refused_at_once() -> None:
    """Nine levels of ten would be a thousand million texts."""
    bomb = "a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n" + "".join(
        f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 10)}]\n" for i in range(1, 10)
    )
    problem = only(bomb)
    assert problem.kind == "alias" and problem.place == Place("x.yaml", 1, 5)


@pytest.mark.parametrize("opening", ["[", "{a: ", "- ", "? "])
def test_a_hundred_thousand_levels_are_refused_at_once(opening: str) -> None:
    assert only(opening * 100_000).kind == "too-deep"


def test_too_large_a_file_is_not_read(tmp_path: Path) -> None:
    file = tmp_path / "large.yaml"
    with file.open("wb") as stream:
        stream.truncate(located.LARGEST_RULE_FILE + 1)
    found, (problem,) = read_file(file, "large.yaml")
    assert found is None and problem.kind == "too-large"
    assert only("a: " + "b" * (located.LARGEST_RULE_FILE + 1)).kind == "too-large"


def test_a_file_that_is_not_there() -> None:
    found, (problem,) = read_file(Path("no-such.yaml"))
    assert found is None
    assert (
        problem_text(problem) == "no-such.yaml:1:1: error: cannot be opened: no such file or directory   [cannot-open]"
    )


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    found, (problem,) = read_file(tmp_path, "folder")
    assert found is None and problem.kind == "cannot-open"


ANYTHING = st.text(alphabet=st.sampled_from("ab: -{}[],\"'|>#&*!%@`?\t\n\r\\~<=0.é\x07\u2028\ufeff\ud800"), max_size=60)


@settings(max_examples=400, deadline=None)
@given(ANYTHING | st.text(max_size=60))
def test_any_text_gives_a_tree_or_a_problem(text: str) -> None:
    found, problems = read_text(text, "x.yaml")
    assert found is not None or problems
    for problem in problems:
        assert problem_text(problem).startswith("x.yaml:")
        assert 1 <= problem.place.line <= len(yaml_tree.BREAK.split(text))


WORDS = st.text(alphabet="abyno0123456789 %:,.-", min_size=1, max_size=12).map(lambda text: f'"{text}"')
TREES = st.dictionaries(
    st.sampled_from("abcde"), WORDS | st.lists(WORDS, max_size=3).map(lambda w: f"[{', '.join(w)}]")
)
SOUND = TREES.map(lambda tree: "".join(f"{key}: {value}\n" for key, value in tree.items()))


def read_without_c(text: str) -> tuple[Map | None, tuple[Problem, ...]]:
    """As `read_text`, by the parser in Python."""
    fast = yaml_tree.Loader
    try:
        yaml_tree.Loader = yaml.SafeLoader
        return read_text(text, "x.yaml")
    finally:
        yaml_tree.Loader = fast


@settings(max_examples=60, deadline=None)
@given(SOUND)
def test_what_is_written_is_read_by_either_parser(text: str) -> None:
    kept, found = read_text(text, "x.yaml"), read_without_c(text)
    if not text:
        return
    assert kept[0] is not None and found[0] is not None and not kept[1] and not found[1]
    assert plainly(kept[0]) == plainly(found[0]) == yaml.safe_load(text)


@settings(max_examples=100, deadline=None)
@given(ANYTHING)
def test_without_the_parser_in_c(text: str) -> None:
    """Where PyYAML has no C parser its own in Python is used; its words are understood as well. It refuses some texts
    that the other takes, such as a tab after a colon."""
    (kept, _), (found, problems) = read_text(text, "x.yaml"), read_without_c(text)
    assert found is not None or problems
    if kept is not None and found is not None:
        assert plainly(kept) == plainly(found)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=40))
def test_any_bytes_give_a_tree_or_a_problem(content: bytes) -> None:
    notes = Notebook()
    assert parse_bytes(content, "x.yaml", notes) is not None or notes.problems
