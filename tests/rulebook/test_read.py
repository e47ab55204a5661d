"""Rule files to a Rulebook: every key read, defaults, weights, files, and all mistakes in one run."""

from __future__ import annotations

import hashlib
import random
import shutil
from pathlib import Path

import pytest

from reasoner.mistake import Place
from reasoner.rulebook.entries import SECTIONS, SETTINGS_KEYS
from reasoner.rulebook.model import At, Band, Filter, Reach, Rulebook, Sees, Within
from reasoner.rulebook.parts import PROPERTIES
from reasoner.rulebook.problem import RulesRefused, problem_text
from reasoner.rulebook.quantity import FREQUENCY_WORDS
from reasoner.rulebook.read import collect, read_rules
from reasoner.yaml_tree import Map, Node
from tests.trees import read_file

HERE = Path(__file__).parent
SMALL = HERE / "small"
RULES = HERE.parents[1] / "rules"


@pytest.fixture(scope="module")
def book() -> Rulebook:
    return read_rules([SMALL], shown_from=HERE)


def refused(path: Path) -> list[str]:
    with pytest.raises(RulesRefused) as caught:
        read_rules([path], shown_from=path.parent)
    return [problem_text(problem) for problem in caught.value.problems]


def changed(folder: Path, file: str, old: str, new: str) -> Path:
    """A copy of the small rules with one thing changed."""
    copy = folder / "copy"
    shutil.copytree(SMALL, copy)
    text = (copy / file).read_text(encoding="utf-8")
    assert text.count(old) >= 1
    (copy / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    return copy


# ---- what is read ----------------------------------------------------------------------------------------------------


def test_the_small_rules_use_every_key() -> None:
    """So that every reader runs on something right: a key that is added must be added there too."""
    used: set[str] = set()

    def walk(node: Node) -> None:
        if isinstance(node, Map):
            used.update(key.value for key, _ in node.pairs)
            for _, value in node.pairs:
                walk(value)
        elif not hasattr(node, "value"):
            for item in node.items:  # type: ignore[union-attr]
                walk(item)

    for path in SMALL.glob("*.yaml"):
        found, _ = read_file(path)
        assert found is not None
        walk(found)
    expected = {"format", "settings", *SECTIONS, *SETTINGS_KEYS, *PROPERTIES, "here", "elsewhere", "distance over"}
    expected |= {key for section in SECTIONS.values() for key in section.keys}
    assert expected <= used


def test_a_fault(book: Rulebook) -> None:
    fault = book.faults["injector-leak"]
    assert (fault.title, fault.at, fault.repair) == ("Injector leaks when shut", At.CYLINDER, "replace-injector")
    assert fault.share == {"port": 20, "direct": 40, "dual": 30}
    assert fault.only == Filter({"injection": ("port", "direct", "dual"), "layout": ("inline 4",)})
    older, younger = fault.more_likely
    assert (older.when, older.times) == (Filter({"injection": ("direct",)}, 160000.0), 2)
    assert younger.when.distance_under == pytest.approx(160934.4) and younger.times == 0.5
    assert fault.pairs is not None and fault.pairs.value == FREQUENCY_WORDS["sometimes"]
    assert (fault.shows["warm-idle"].value, fault.shows["warm-idle"].cases) == (pytest.approx(7 / 9), 9)
    assert (fault.shows["any"].written, fault.shows["any"].value) == ("12.5%", 0.125)
    assert (fault.acts_as, fault.confirmed_by) == (("leaks",), ("plug-colour",))
    assert book.faults["airflow-reads-high"].share == {"port": 10, "direct": 10, "dual": 10}


def test_a_condition_and_its_defaults(book: Rulebook) -> None:
    soak, idle = book.conditions["hot-soak"], book.conditions["warm-idle"]
    assert (soak.reach, soak.came_from, soak.engine_runs) == (Reach(16, 15), {"warm-idle": Reach(1, 15)}, False)
    assert (soak.needs, soak.cautions, soak.after) == (("plug-socket",), ("hot-parts",), ("fuel-smell",))
    assert (idle.reach, idle.came_from, idle.engine_runs) == (Reach(15, 0), {}, True)
    assert (idle.needs, idle.cautions, idle.after) == ((), (), ())


def test_a_check_and_its_defaults(book: Rulebook) -> None:
    plugs = book.checks["plug-colour"]
    assert [(o.name, o.text) for o in plugs.outcomes][2] == ("wet", "wet with fuel")
    assert plugs.how == "Take them out in order.\nLay them side by side."
    assert (plugs.at, plugs.sees, plugs.conditions) == (At.CYLINDER, Sees.NOW, ("hot-soak",))
    assert (plugs.minutes, plugs.wait, plugs.money) == (35, 10, 4)
    assert (plugs.stands_for, plugs.after, plugs.leaves) == (("fuel-smell",), ("rich-code",), "hot-soak")
    smell = book.checks["fuel-smell"]
    assert (smell.at, smell.sees, smell.conditions, smell.only) == (At.ENGINE, Sees.EVER, (), Filter())
    assert (smell.minutes, smell.wait, smell.money, smell.needs, smell.leaves) == (0, 0, 0, (), "")
    assert (smell.provokes, smell.codes, smell.measure, smell.how) == (False, {}, None, "")
    assert smell.words == ("smells", "petrol smell")
    assert book.checks["warm-one-injector"].provokes
    assert (plugs.elsewhere_in, smell.elsewhere_in) == ("bank", "engine")
    assert (plugs.all_alike, smell.all_alike) == (0.5, 0.0)
    assert book.checks["rich-code"].codes == {1: ("P0172",), 2: ("P0175",)}


def test_worked_out(book: Rulebook) -> None:
    computed = book.checks["plug-colour"].computed
    assert computed is not None
    assert (computed.by, computed.rest, computed.spread) == ("plug ranks", "same", 0)
    assert computed.outcomes == {"darker": (Within("rank", 1.5, 4.5),), "wet": (Within("rank", 4.5, None),)}


def test_a_measure(book: Rulebook) -> None:
    measure = book.checks["fuel-trim"].measure
    assert measure is not None
    assert (measure.quantity, measure.unit, measure.spread) == ("total fuel trim", "%", 3)
    assert (measure.least, measure.most) == (-100, 100)
    assert measure.bands == (Band("rich", None, -10), Band("normal", -10, 10), Band("lean", 10, None))


def test_only_what_was_written_is_in_a_statement(book: Rulebook) -> None:
    said = book.checks["rich-code"].given["leaks"]
    assert {name: seen.value for name, seen in said.here.items()} == {"listed": FREQUENCY_WORDS["often"]}
    assert said.elsewhere is not None and said.elsewhere["listed"].value == FREQUENCY_WORDS["rarely"]
    assert book.checks["plug-colour"].given["injector-leak"].elsewhere is None
    assert book.checks["plug-colour"].otherwise.here.keys() == {"darker"}


def test_weights(book: Rulebook) -> None:
    """Stated, else counted, else by the kind of source; a statement's source is the check's unless it has its own."""

    def weight(check: str, subject: str = "") -> tuple[str, float]:
        rule = book.checks[check]
        said = rule.given[subject].origin if subject else rule.otherwise.origin
        return said.source, said.weight

    assert weight("fuel-trim") == ("practice", 20)
    assert weight("fuel-trim", "airflow-reads-high") == ("practice", 10)  # 8 of 10
    assert weight("fuel-trim", "leaks") == ("judgement", 8)
    assert weight("rich-code", "leaks") == ("made-up", 9)
    assert weight("fuel-smell") == weight("fuel-smell", "leaks") == ("practice", 12)  # the check states its weight
    assert book.faults["airflow-reads-high"].origin.weight == 40
    assert book.cautions["hot-parts"].origin.weight == 30
    assert book.checks["fuel-smell"].given["leaks"].origin.because == "Owners notice."
    assert book.checks["rich-code"].given["leaks"].origin.because == "Counted."


def test_settings(book: Rulebook) -> None:
    settings = book.settings
    assert settings.report_right == {"sure": 0.98, "think so": 0.8, "guess": 0.6}
    assert settings.weights == {"published": 40, "practice": 20, "judgement": 8}
    assert (settings.unlikeliest, settings.dominates, settings.waiting_counts) == (0.005, 0.9, 0.15)
    assert settings.shows_unless_said.value == FREQUENCY_WORDS["seldom"]


def test_places(book: Rulebook) -> None:
    fault = book.faults["injector-leak"]
    line = (SMALL / "things.yaml").read_text(encoding="utf-8").splitlines()[fault.origin.place.line - 1]
    assert fault.origin.place == Place("small/things.yaml", fault.origin.place.line, 3) and "injector-leak" in line
    seen = fault.shows["any"].place
    line = (SMALL / "things.yaml").read_text(encoding="utf-8").splitlines()[seen.line - 1]
    assert line[seen.column - 1 :].startswith("12.5%")
    assert book.codes["P0172"].title == "System Too Rich (Bank 1)" and book.codes["P0172"].place.column == 3


# ---- files -----------------------------------------------------------------------------------------------------------


def test_files_and_stamp(book: Rulebook, tmp_path: Path) -> None:
    assert book.files == ("small/checks.yaml", "small/settings.yaml", "small/things.yaml")
    elsewhere = tmp_path / "somewhere"
    shutil.copytree(SMALL, elsewhere)
    assert read_rules([elsewhere]).stamp == book.stamp
    digest = hashlib.sha256()
    for path in sorted(SMALL.glob("*.yaml")):
        content = path.read_bytes()
        digest.update(f"{path.name}\0{len(content)}\0".encode() + content)
    assert book.stamp == digest.hexdigest()
    changed_file = elsewhere / "settings.yaml"
    changed_file.write_bytes(changed_file.read_bytes() + b"\n")
    assert read_rules([elsewhere]).stamp != book.stamp


def test_a_file_named_twice_is_read_once(book: Rulebook) -> None:
    assert read_rules([SMALL, SMALL / "things.yaml", SMALL]).stamp == book.stamp


def test_files_one_by_one(book: Rulebook) -> None:
    again = read_rules(sorted(SMALL.glob("*.yaml")), shown_from=HERE)
    assert again == book


def test_never_silent(tmp_path: Path) -> None:
    assert collect([])[1][0].message == "no rule files were named"
    assert refused(tmp_path) == [
        f"{tmp_path.name}:1:1: error: no rule files in this folder   [no-rules]\n   rule files are *.yaml"
    ]
    assert "there is no such file" in refused(tmp_path / "gone")[0]
    (tmp_path / "a.yml").write_text("format: 1\n", encoding="utf-8")
    assert any("the names of rule files end in .yaml" in text for text in refused(tmp_path))


def test_one_unreadable_file_does_not_blame_the_others(tmp_path: Path) -> None:
    """What it would have defined is not known, so nothing is said about names."""
    copy = changed(tmp_path, "things.yaml", "means: Idling, fully warm.", "means: 'Idling, fully warm.")
    assert [text.split("[")[-1].split("]")[0] for text in refused(copy)] == ["unclosed"]


# ---- mistakes --------------------------------------------------------------------------------------------------------


def test_all_mistakes_in_one_run_sorted_by_place(tmp_path: Path) -> None:
    copy = changed(tmp_path, "things.yaml", "repair: replace-meter", "repair: replace-metre")
    for file, old, new in [
        ("checks.yaml", "otherwise: {yes: seldom}", "otherwise: {yes: seldomly, no: 0.3}"),
        ("checks.yaml", "minutes: 35", "minutes: 35 min"),
        ("settings.yaml", "lead: 4", "leed: 4"),
        ("things.yaml", "engine: runs", "engine: run"),
    ]:
        text = (copy / file).read_text(encoding="utf-8")
        (copy / file).write_text(text.replace(old, new, 1), encoding="utf-8")
    said = refused(copy)
    kinds = [text.split("[")[1].split("]")[0] for text in said]
    assert kinds == ["bad-frequency", "bad-frequency", "bad-number", "unknown-key", "bad-choice", "unknown-name"]
    assert [text.split(":")[0] for text in said] == ["copy/checks.yaml"] * 3 + ["copy/settings.yaml"] + [
        "copy/things.yaml"
    ] * 2


def test_no_settings(tmp_path: Path) -> None:
    shutil.copy(SMALL / "things.yaml", tmp_path / "things.yaml")
    assert "no file has `settings`" in refused(tmp_path)[0]


def test_nothing_else_is_never_certain(tmp_path: Path) -> None:
    copy = changed(tmp_path, "things.yaml", "    anything else: yes\n", "    at: engine\n")
    assert refused(copy) == [
        "copy/checks.yaml:1:1: error: no fault stands for anything else   [missing-key]\n"
        "    1 | format: 1\n      | ^\n   add a fault with the line\n     anything else: yes"
    ]


def test_every_settings_key_is_needed(tmp_path: Path) -> None:
    for number, key in enumerate(name for name, key in SETTINGS_KEYS.items() if key.paste):
        folder = tmp_path / str(number)
        folder.mkdir()
        copy = changed(folder, "settings.yaml", f"\n  {key}: ", f"\n  {key}x: ")
        (said,) = refused(copy)
        assert f'"{key}x"' in said and f'did you mean "{key}"?' in said


@pytest.mark.parametrize("seed", range(150))
def test_damaged_rules_are_read_or_refused(tmp_path: Path, seed: int) -> None:
    """Any damage gives rules or messages, never a traceback: lines lost, doubled, moved, words swapped, bits cut."""
    rng = random.Random(seed)
    copy = tmp_path / "copy"
    shutil.copytree(SMALL, copy)
    for path in sorted(copy.glob("*.yaml")):
        lines = path.read_text(encoding="utf-8").splitlines()
        for _ in range(rng.randint(0, 3)):
            at, to = rng.randrange(len(lines)), rng.randrange(len(lines))
            words = lines[at].split(" ")
            damage = rng.choice(["lose", "double", "move", "shift", "word", "cut", "flow"])
            if damage == "lose":
                del lines[at]
            elif damage == "double":
                lines.insert(to, lines[at])
            elif damage == "move":
                lines.insert(to, lines.pop(at))
            elif damage == "shift":
                lines[at] = " " * rng.choice([1, 2, 4]) + lines[at]
            elif damage == "word":
                words[rng.randrange(len(words))] = rng.choice(lines[to].split() or ["x"])
                lines[at] = " ".join(words)
            elif damage == "cut":
                lines[at] = lines[at][: rng.randint(0, len(lines[at]))]
            else:
                key = lines[at].partition(":")[0]
                lines[at] = f"{key}: {rng.choice(['[]', '{}', '[[a]]', '{a: {b: c}}', '', '[a, {b: c}]', '~', '-1'])}"
        path.write_text("\n".join(lines), encoding="utf-8")
    found, problems = collect([copy])
    assert (found is None) == bool(problems)
    assert all(problem_text(problem) for problem in problems)


# ---- the rules themselves --------------------------------------------------------------------------------------------


def test_the_rule_base_is_read() -> None:
    """Without a mistake; `tests/bench/bench_limits.py` times it."""
    found, problems = collect([RULES], shown_from=RULES.parent)
    assert found is not None, "\n".join(problem_text(problem) for problem in problems)
    assert len(found.checks) > 50


@pytest.mark.parametrize(
    ("section", "entry", "is_a"),
    [
        ("checks", "name: Seat the hose\n    do: Push it on.\n    minutes: 5", "repair"),
        ("repairs", "name: Hose off\n    means: It came off.\n    share: 5\n    acts as: [whole]", "fault"),
    ],
)
def test_an_entry_in_another_section_is_one_mistake(section: str, entry: str, is_a: str, tmp_path: Path) -> None:
    """Not one for each key that the section wants and that such an entry never has."""
    (tmp_path / "own.yaml").write_text(f"{section}:\n  seat-hose:\n    {entry}\n", encoding="utf-8")
    mine = [said for said in refused(tmp_path) if "own.yaml:2:3" in said]
    [said] = mine
    assert f"this reads as a {is_a}, and is written under `{section}`" in said and f"`{is_a}s:`" in said
