"""`reasoner cases` and all that is below it, as a person runs it."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from reasoner.casebook.events import Closed
from reasoner.casebook.shape import load_sound
from reasoner.cli import exits, workers
from reasoner.cli.main import CASES_COMMANDS, cli
from tests.cli.conftest import Run
from tests.shipped import CASES, some

ROOT = Path(__file__).parent.parent.parent
CASE = "hatchback-after-filling"


@pytest.fixture
def shop(environ: dict[str, str]) -> Path:
    """The shipped cases as the shop's own."""
    folder = Path(environ["REASONER_CASES"])
    folder.mkdir()
    for path in CASES:
        shutil.copy(path, folder)
    return folder


@pytest.fixture
def several(environ: dict[str, str]) -> list[Path]:
    """Every ninth of them, and two that are named: what works over all cases takes a second for each."""
    folder = Path(environ["REASONER_CASES"])
    folder.mkdir()
    named = {ROOT / "cases" / "estate-hot-restart.yaml", ROOT / "cases" / "old-coupe-never-showed.yaml"}
    return [Path(shutil.copy(path, folder)) for path in sorted({*some(0, 9), *named})]


@pytest.fixture
def few(environ: dict[str, str]) -> Path:
    folder = Path(environ["REASONER_CASES"])
    folder.mkdir()
    for name in (CASE, "saloon-short-trips", "old-coupe-never-showed"):
        shutil.copy(ROOT / "cases" / f"{name}.yaml", folder)
    return folder


@pytest.fixture
def process(environ: dict[str, str]) -> Run:
    """A process of its own, for what hangs on one."""

    def run(*arguments: str, **more: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "reasoner", *arguments]
        env = {**environ, **more}
        return subprocess.run(command, capture_output=True, text=True, timeout=300, env=env, encoding="utf-8")

    return run


@pytest.fixture
def reasoner(environ: dict[str, str]) -> Run:
    """In this process, which is many times as quick."""

    def run(*arguments: str) -> subprocess.CompletedProcess[str]:
        found = CliRunner(env=environ).invoke(cli, arguments, catch_exceptions=False)
        return subprocess.CompletedProcess(arguments, found.exit_code, found.stdout, found.stderr)

    return run


# ---- the group -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", CASES_COMMANDS)
def test_every_command_has_help_with_an_example(reasoner: Run, name: str) -> None:
    found = reasoner("cases", name, "--help")
    assert found.returncode == exits.FINE
    assert f"Example: reasoner cases {name}" in " ".join(found.stdout.split())


def test_alone_it_lists(reasoner: Run, few: Path) -> None:
    alone, listed = reasoner("cases"), reasoner("cases", "list")
    assert alone.stdout == listed.stdout and alone.stdout.count("\n") == 3
    lines = reasoner("cases", "--json").stdout.splitlines()
    assert [json.loads(line)["case"] for line in lines] == sorted(p.stem for p in few.glob("*.yaml"))


def test_the_folder_may_be_said_before_or_after(reasoner: Run) -> None:
    before = reasoner("cases", "--cases", str(ROOT / "cases"), "find", "purge")
    after = reasoner("cases", "find", "purge", "--cases", str(ROOT / "cases"))
    assert before.stdout == after.stdout != ""


def test_a_misspelt_command_is_answered_with_the_near_one(reasoner: Run) -> None:
    found = reasoner("cases", "reply")
    assert found.returncode == exits.USAGE and "replay" in found.stderr


# ---- find and show ---------------------------------------------------------------------------------------------------


def test_found_by_everything_that_can_be_said(reasoner: Run, shop: Path) -> None:
    found = reasoner("cases", "find", "filling", "--state", "proven", "--fault", "purge valve", "--code", "P0172")
    assert found.returncode == exits.FINE and found.stdout.startswith(CASE)
    found = reasoner("cases", "find", "--vehicle", "V 8, port", "--json")
    assert json.loads(found.stdout)["fault"] == "port-injector-leaks"
    none = reasoner("cases", "find", "no such words")
    assert none.returncode == exits.PROBLEMS and none.stdout == "" and f"none of {len(CASES)}" in none.stderr


def test_what_cannot_be_looked_for_is_said(reasoner: Run, few: Path) -> None:
    for option in ("--since", "--until"):
        off = reasoner("cases", "find", option, "yesterday")
        assert off.returncode == exits.USAGE and "2026-03-09" in off.stderr
    state = reasoner("cases", "find", "--state", "solved")
    assert state.returncode == exits.PROBLEMS and "there are: given up, proven" in state.stderr
    assert "there are" not in reasoner("cases", "find", "no such words", "--state", "prov").stderr


def test_the_story_of_a_case(reasoner: Run, few: Path) -> None:
    found = reasoner("cases", "show", CASE[:5])
    assert found.returncode == exits.FINE
    for word in ("Purge valve leaks or sticks open", "Confirmed by:", "IN HINDSIGHT", "after refuelling", "P0172"):
        assert word in found.stdout, word
    assert max(map(len, found.stdout.splitlines())) <= 80
    told = json.loads(reasoner("cases", "show", CASE, "--json").stdout)
    assert told["found"] == [["Purge valve leaks or sticks open", "proven"]]
    assert len(told["parts"][0]["moments"]) > 20


def test_answers_that_moved_nothing_are_named_together_unless_all_are_wanted(reasoner: Run, few: Path) -> None:
    short, whole = (reasoner("cases", "show", CASE, *more).stdout for more in ((), ("--all",)))
    assert "nothing moved:" in short and "nothing moved:" not in whole
    assert short.count("\n") < whole.count("\n")
    assert not re.search(r"(\d+) to \1, nothing", short)
    events = load_sound(few / f"{CASE}.yaml").events
    steps = [str(e.step) for e in events if e.kind == "answer"]
    assert [step for step in steps if not re.search(rf"^ +{step} ", whole, re.MULTILINE)] == []


def test_pictures_are_plain_where_the_screen_is(reasoner: Run, process: Run, few: Path) -> None:
    rich = reasoner("cases", "show", CASE)
    plain = process("cases", "show", CASE, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    assert "█" in rich.stdout and "█" not in plain.stdout and "##" in plain.stdout and "?" not in plain.stdout[:400]


def test_asked_again_says_what_the_loop_would_have_done(reasoner: Run, few: Path) -> None:
    assert "Asked again by today's rules" in " ".join(reasoner("cases", "show", CASE, "--asked-again").stdout.split())


# ---- replay ----------------------------------------------------------------------------------------------------------

WORSE = "faults:\n  oil-diluted: {share: {direct: 2}}\n"
BETTER = "faults:\n  oil-diluted: {share: {direct: 75}}\n"


def test_replay_of_a_folder_and_its_status(reasoner: Run, few: Path, tmp_path: Path) -> None:
    today = reasoner("cases", "replay")
    assert today.returncode == exits.FINE and "today's rules" in today.stdout
    rules = tmp_path / "rules"
    rules.mkdir()
    (rules / "shop.yaml").write_text(WORSE, encoding="utf-8")
    worse = reasoner("cases", "replay", "--rules", str(rules))
    assert worse.returncode == exits.PROBLEMS
    text = " ".join(worse.stdout.split())
    assert "Worse than before: saloon-short-trips." in text and "WORSE" in text
    assert "oil-diluted: share: direct: 70 > 2" in text and "shop.yaml:2:" in "".join(worse.stdout.split())
    (rules / "shop.yaml").write_text(BETTER, encoding="utf-8")
    assert reasoner("cases", "replay", "--rules", str(rules)).returncode == exits.FINE


def test_replay_under_the_same_rules_is_the_same_to_the_last_bit(reasoner: Run, few: Path, tmp_path: Path) -> None:
    (tmp_path / "same.yaml").write_text("faults:\n  oil-diluted: {name: Diluted oil}\n", encoding="utf-8")
    found = reasoner("cases", "replay", "--rules", str(tmp_path / "same.yaml"), "--json")
    assert found.returncode == exits.FINE
    assert [json.loads(line)["same"] for line in found.stdout.splitlines()] == [True, True, True]


def test_the_shop_rule_that_made_the_difference(reasoner: Run) -> None:
    where = ("--cases", str(ROOT / "cases"))
    found = reasoner("cases", "replay", "six-in-line", *where, "--rules", str(ROOT / "cases" / "shop-rules"))
    assert found.returncode == exits.FINE
    assert "better" in found.stdout and "Vent hose blown through" in found.stdout
    alone = reasoner("cases", "replay", "six-in-line", *where)
    assert alone.returncode == exits.PROBLEMS and "Not in today's rules" in " ".join(alone.stdout.split())


def test_what_is_no_case_is_not_called_damaged(reasoner: Run, few: Path) -> None:
    found = reasoner("cases", "replay", "no/such/folder")
    assert found.returncode == exits.CASE_UNUSABLE and 'no case and no folder "no/such/folder"' in found.stderr


def test_many_cases_are_spread_over_processes_with_the_same_result(
    reasoner: Run, environ: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two at a time, so that each process has some, and what comes back is put in order."""
    folder = Path(environ["REASONER_CASES"])
    folder.mkdir()
    once = [path for path in CASES if path.read_text(encoding="utf-8").count('"event": "finished"') == 1]
    for number in range(7):
        shutil.copy(once[number % 3], folder / f"case-{number:02d}.yaml")
    monkeypatch.setattr(workers, "FEW", 6)
    monkeypatch.setattr(workers, "CASES_AT_ONCE", 2)
    pieces, pooled = list[int](), workers.pooled

    def counted(several: Any, given: Sequence[Any], *more: Any) -> Iterator[Any]:
        pieces.append(len(given))
        return pooled(several, given, *more)

    monkeypatch.setattr(workers, "pooled", counted)
    found = [json.loads(line) for line in reasoner("cases", "replay", "--json").stdout.splitlines()]
    assert pieces == [4]
    assert [one["case"] for one in found] == [f"case-{n:02d}" for n in range(7)]
    for one in found[3:]:
        assert {**one, "case": ""} == {**found[int(one["case"][5:]) % 3], "case": ""}
    single = reasoner("cases", "replay", "case-00", "--json")
    assert json.loads(single.stdout) == found[0]
    assert pieces == [4]  # one case is worked on here


# ---- alike, review, learn --------------------------------------------------------------------------------------------


def test_alike(reasoner: Run, several: list[Path]) -> None:
    found = reasoner("cases", "alike", "estate-hot-restart", "--most", "2")
    assert found.returncode == exits.FINE and " ".join(found.stdout.split()).count("seen in both") == 2
    assert "WHAT THEY TURNED OUT TO BE" in found.stdout
    plain = json.loads(reasoner("cases", "alike", "old-coupe", "--json").stdout)
    assert plain["case"] == "old-coupe-never-showed" and len(plain["nearest"]) == 5
    assert all(one["fault"] for one in plain["nearest"])


def test_review(reasoner: Run, several: list[Path]) -> None:
    found = reasoner("cases", "review")
    assert found.returncode == exits.FINE
    closed = [[e for e in load_sound(path).events if isinstance(e, Closed)] for path in several]
    proven = sum(events[-1].state == "proven" for events in closed)
    for word in (f"{proven} proven", "1 given up", "Brier score", "Murphy 1973", "TIME BY FAULT"):
        assert word in " ".join(found.stdout.split()), word
    assert json.loads(reasoner("cases", "review", "--json").stdout)["judged"] == sum(
        bool(e.fault) for events in closed for e in events
    )


def test_learn_changes_nothing_without_being_told(reasoner: Run, few: Path, tmp_path: Path) -> None:
    before = {path: path.read_bytes() for path in (*few.iterdir(), *(ROOT / "rules").iterdir())}
    found = reasoner("cases", "learn")
    assert found.returncode == exits.FINE and "Nothing is changed." in found.stdout
    assert {path: path.read_bytes() for path in (*few.iterdir(), *(ROOT / "rules").iterdir())} == before
    assert "2 cases: few to learn from" in found.stdout
    assert "WOULD THEY HAVE HELPED" in found.stdout and "1 case left out, nothing was found" in found.stdout


def test_what_was_learned_is_rules_and_is_not_learned_from_twice(reasoner: Run, few: Path, tmp_path: Path) -> None:
    file = tmp_path / "learned.yaml"
    first = reasoner("cases", "learn", "--write", str(file))
    assert first.returncode == exits.FINE and str(file) in first.stdout
    assert reasoner("rules", "check", "--rules", str(file)).returncode == exits.FINE
    tried = reasoner("cases", "replay", CASE, "--rules", str(file))
    assert tried.returncode == exits.FINE and "they look better than they are" in tried.stderr  # the same cases
    again = reasoner("cases", "learn", "--rules", str(file), "--json")
    once = reasoner("cases", "learn", "--json")
    assert "put aside" in again.stderr
    assert json.loads(again.stdout)["learned"] == json.loads(once.stdout)["learned"]
    refused = reasoner("cases", "learn", "--write", str(file))
    assert refused.returncode == exits.CASE_UNUSABLE and "already" in refused.stderr


# ---- import, correct, close, anonymise -------------------------------------------------------------------------------

TABLE_TEXT = """\
Job,Test,Result,When
12,What it is doing when it happens,idle,
12,Trim at idle,rich,warm idle
12,Trim at idle,purple,warm idle
"""
AS_SAID = ("--column", "case=Job", "--column", "check=Test", "--column", "outcome=Result", "--column", "condition=When")


def test_import_refuses_line_by_line_and_keeps_the_rest(reasoner: Run, environ: dict[str, str], tmp_path: Path) -> None:
    table = tmp_path / "jobs.csv"
    table.write_text(TABLE_TEXT, encoding="utf-8")
    tried = reasoner("cases", "import", str(table), *AS_SAID, "--try")
    assert tried.returncode == exits.PROBLEMS and not Path(environ["REASONER_CASES"]).exists()
    found = reasoner("cases", "import", str(table), *AS_SAID)
    assert found.returncode == exits.PROBLEMS
    assert found.stdout == "12: 2 answers from 3 lines\n"
    assert f'{table}:4: refused: "purple" is no outcome of trim-idle' in found.stderr
    assert "12" in reasoner("cases").stdout
    again = reasoner("cases", "import", str(table), *AS_SAID)
    assert "already" in again.stderr
    example = reasoner("cases", "import", "--example")
    assert example.returncode == exits.FINE and "columns:" in example.stdout
    assert reasoner("cases", "import").returncode == exits.USAGE


def test_an_answer_is_put_right_and_both_stay_in_the_file(reasoner: Run, few: Path) -> None:
    path = few / f"{CASE}.yaml"
    before = path.read_text(encoding="utf-8")
    step = next(e.step for e in load_sound(path).events if getattr(e, "check", "") == "smell-of-fuel")
    wrong = reasoner("cases", "correct", CASE, "--step", str(step), "--answer", "purple", "--because", "x")
    assert wrong.returncode == exits.CASE_UNUSABLE and "one of: no, yes" in wrong.stderr
    assert path.read_text(encoding="utf-8") == before
    done = reasoner(
        "cases", "correct", CASE, "--step", str(step), "--answer", "no", "--because", "that was the other car"
    )
    assert done.returncode == exits.FINE
    text = path.read_text(encoding="utf-8")
    assert text.startswith(before) and "that was the other car" in text
    shown = reasoner("cases", "show", CASE).stdout
    assert "Smell of fuel: no smell" in shown and "that was the other car" in shown
    assert (
        reasoner("cases", "correct", CASE, "--step", str(step), "--take-back", "--because", "not asked").returncode == 0
    )
    assert "Smell of fuel" not in reasoner("cases", "show", CASE).stdout.split("PUT RIGHT")[0]
    assert reasoner("cases", "correct", CASE, "--because", "x").returncode == exits.USAGE
    off = reasoner("cases", "correct", CASE, "--vehicle", "layout=inline 9", "--because", "x")
    assert off.returncode == exits.CASE_UNUSABLE and "inline 9" in off.stderr
    assert reasoner("cases", "correct", CASE, "--vehicle", "distance=12000 km", "--because", "misread").returncode == 0
    assert json.loads(reasoner("cases", "find", "--vehicle", "12000", "--json").stdout)["case"] == CASE


def test_closing(reasoner: Run, few: Path) -> None:
    refused = reasoner("cases", "close", "old-coupe", "--state", "proven", "--fault", "airflow-meter-intermitent")
    assert refused.returncode == exits.CASE_UNUSABLE and "airflow-meter-intermittent" in refused.stderr
    done = reasoner(
        "cases", "close", "old-coupe", "--state", "cured but unproven", "--fault", "airflow-meter-intermittent"
    )
    assert done.returncode == exits.FINE
    assert "cured but unproven" in reasoner("cases", "find", "coupe").stdout
    assert reasoner("cases", "close", "old-coupe", "--state", "given up").returncode == exits.FINE
    assert "given up" in reasoner("cases", "find", "coupe").stdout
    assert reasoner("cases", "close", "old-coupe", "--state", "mended").returncode == exits.USAGE


def test_a_copy_to_give_away(reasoner: Run, few: Path, tmp_path: Path) -> None:
    to = tmp_path / "given.yaml"
    done = reasoner("cases", "anonymise", CASE, "--to", str(to))
    assert done.returncode == exits.FINE and "left out: the vehicle's name" in done.stdout
    text = to.read_text(encoding="utf-8")
    assert "hatchback" not in text.lower() and "2026" not in text and "Smells and idles" not in text
    again = reasoner("cases", "anonymise", CASE, "--to", str(to))
    assert again.returncode == exits.CASE_UNUSABLE and to.read_text(encoding="utf-8") == text
    assert "Purge valve leaks or sticks open" in reasoner("cases", "show", str(to)).stdout


# ---- damage ----------------------------------------------------------------------------------------------------------

Spoil = Callable[[bytes], bytes]
LINE = b'\n- {"at": "2026-01-19T09:09:00+00:00", "event": "condition"'
DAMAGE: dict[str, Spoil] = {
    "truncated in the head": lambda data: data[:90],
    "truncated in an event": lambda data: data[: data.rindex(b"\n", 0, -2000) + 40] + b"\n" + data[-2000:],
    "empty": lambda data: b"",
    "merge marks": lambda data: data.replace(LINE, b"\n<<<<<<< us" + LINE + b"\n=======" + LINE + b"\n>>>>>>> them"),
    "an answer without its outcome": lambda data: data.replace(b'"values": {"0": "idle"}', b'"value": {"0": "idle"}'),
    "an undo of nothing": lambda data: data + b'- {"event": "undo", "step": 99}\n',
    "words for numbers": lambda data: data.replace(b'"step": 5,', b'"step": "five",'),
    "foreign YAML": lambda data: b"kind: Deployment\nspec: {replicas: 3}\n",
    "a bomb of aliases": lambda data: b"a: &a [x,x]\n" + b"".join(
        b"%c: &%c [*%c,*%c]\n" % (i, i, i - 1, i - 1) for i in range(98, 123)
    ),
    "control characters": lambda data: data.replace(b"Driven three", b"\x1b[2J\x07Driven three"),
    "not UTF-8": lambda data: data.replace(b"Driven", b"\xff\xfe"),
    "a picture": lambda data: b"\x89PNG\r\n\x1a\n" + bytes(range(256)),
    "a vehicle that is none": lambda data: data.replace(b"layout: inline 4", b"layout: inline 99"),
}  # fmt: skip


def test_damage_is_one_clear_line_and_good_ones_beside_still_work(reasoner: Run, few: Path) -> None:
    """All of them in one folder, each as a case of its own."""
    sound = (few / "saloon-short-trips.yaml").read_bytes()
    names = {damage: damage.replace(" ", "-") for damage in DAMAGE}
    for damage, name in names.items():
        spoilt = DAMAGE[damage](sound)
        assert spoilt != sound, damage
        (few / f"{name}.yaml").write_bytes(spoilt)
    for command in ("replay", "review", "learn"):
        found = reasoner("cases", command)
        told = [line for line in found.stderr.splitlines() if "damaged" in line]
        for name in names.values():
            assert sum(f"{name}.yaml" in line for line in told) == 1, (command, name, found.stderr)
        assert len(told) == len(names)
        assert found.returncode == exits.PROBLEMS
        assert "\x1b" not in found.stdout + found.stderr
        assert found.stdout
    for name in names.values():
        shown = reasoner("cases", "show", name)
        assert shown.returncode == exits.CASE_UNUSABLE and shown.stderr.startswith("Error: "), (name, shown.stderr)
        assert "\x1b" not in shown.stderr
    assert reasoner("cases", "show", CASE).returncode == exits.FINE
    listed = reasoner("cases", "list")
    assert CASE in listed.stdout and listed.returncode == exits.PROBLEMS
    for damage, name in names.items():  # a list looks at no vehicle
        assert listed.stderr.count(f"{name}.yaml") == (damage != "a vehicle that is none"), (name, listed.stderr)


def test_hostile_words_do_nothing_to_the_screen(reasoner: Run, few: Path) -> None:
    """Escaped in the file, so that it is a sound one; made harmless wherever it is shown."""
    path = few / "saloon-short-trips.yaml"
    text = path.read_text(encoding="utf-8").replace("Lamp in the cold", r"\u001b[2J\u202eLamp in the cold")
    path.write_text(text.replace('name: "Saloon', r'name: "\e[31mSaloon'), encoding="utf-8")
    for command in (("show", "saloon"), ("list",), ("find", "lamp"), ("alike", CASE), ("list", "--json")):
        found = reasoner("cases", *command)
        assert found.returncode == exits.FINE, (command, found.stderr)
        assert "\x1b" not in found.stdout + found.stderr and "\u202e" not in found.stdout


def test_listing_and_finding_among_two_thousand(process: Run, environ: dict[str, str]) -> None:
    """`tests/bench/bench_cases.py` times ten thousand."""
    folder = Path(environ["REASONER_CASES"])
    folder.mkdir()
    text = (ROOT / "cases" / f"{CASE}.yaml").read_text(encoding="utf-8")
    for number in range(2000):
        (folder / f"case-{number}.yaml").write_text(text.replace("121000", f"{100 + number}000"), encoding="utf-8")
    time.sleep(2.1)
    assert process("cases", "list").stdout.count("\n") == 2000
    found = process("cases", "find", "--vehicle", "1234000")
    assert found.stdout.startswith("case-1134 ")
