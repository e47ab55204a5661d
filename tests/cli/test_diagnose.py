"""`reasoner diagnose` from outside: script, conversation, refusals, and what is left on disk."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from reasoner.casebook.events import Concluded
from reasoner.casebook.shape import load_sound
from reasoner.cli import exits
from reasoner.cli.diagnose import Wish, _meant, ways_on
from reasoner.history.trace import vehicle_of
from reasoner.repair.prices import Shop, usual
from reasoner.session.workup import begin
from tests.cli.conftest import Run
from tests.shipped import garage
from tests.terminal.consoles import console_with, shown, tiny

ROOT = Path(__file__).parent.parent.parent
CASES = ROOT / "cases"
SCHEMA = json.loads((ROOT / "reasoner" / "session" / "protocol.schema.json").read_text(encoding="utf-8"))


def said(kind: str, thing: Any) -> None:
    """A message of one side holds to the documented schema."""
    jsonschema.validate(thing, {"$ref": f"#/$defs/{kind}", "$defs": SCHEMA["$defs"]})


def lines_of(found: subprocess.CompletedProcess[str]) -> list[dict[str, Any]]:
    return [json.loads(line) for line in found.stdout.splitlines()]


def talk(reasoner: Run, *messages: dict[str, Any], case: str = "c") -> list[dict[str, Any]]:
    for message in messages:
        said("said", message)
    found = reasoner("diagnose", case, "--json", stdin="".join(json.dumps(m) + "\n" for m in messages))
    replies = lines_of(found)
    for reply in replies:
        said("told", reply)
    return replies


def events_of(environ: dict[str, str], case: str = "c") -> list[dict[str, Any]]:
    text = Path(environ["REASONER_CASES"], f"{case}.yaml").read_text(encoding="utf-8")
    found: list[dict[str, Any]] = yaml.safe_load(text)["events"] or []
    return found


def test_a_script_is_played_to_its_verdict(reasoner: Run, environ: dict[str, str]) -> None:
    found = reasoner("diagnose", "--answers", str(CASES / "estate-hot-restart.yaml"))
    assert found.returncode == exits.FINE, found.stderr
    assert "cylinder 3" in found.stdout
    assert "WHAT TO DO NEXT" in found.stdout
    assert len(list(Path(environ["REASONER_CASES"]).glob("*.yaml"))) == 1


def test_without_a_terminal_it_refuses(reasoner: Run) -> None:
    found = reasoner("diagnose")
    assert found.returncode == exits.NO_TERMINAL
    assert found.stderr.count("\n") == 1
    assert "--answers FILE" in found.stderr
    assert "--json" in found.stderr


def test_conversation_holds_to_the_schema(reasoner: Run) -> None:
    replies = talk(
        reasoner,
        {"type": "complaint", "text": "runs rich now and then"},
        {"type": "codes", "codes": [{"code": "P0172", "states": ["pending", "permanent"]}]},
        {"type": "condition", "condition": "warm-idle"},
        {"type": "answer", "check": "trim-idle", "numbers": {"1": -3}},
        {"type": "why", "cause": "injector-leaks@cylinder-3"},
        {"type": "undo"},
        {"type": "pass", "why": "cant-tell"},
        {"type": "tools", "at hand": ["borescope"]},
        {"type": "note", "text": "customer waits"},
        {"type": "go on"},
        {"type": "verdict"},
        {"type": "stop"},
    )
    assert [r["type"] for r in replies] == ["state"] * 5 + ["why"] + ["state"] * 5 + ["verdict", "stopped"]


def test_belief_covers_every_cause_and_sums_to_one(reasoner: Run) -> None:
    state = talk(reasoner)[0]
    assert sum(state["belief"]["all"].values()) == pytest.approx(1.0)
    assert len(state["belief"]["all"]) > 60


def test_undo_brings_the_belief_back(reasoner: Run, environ: dict[str, str]) -> None:
    first, after, undone = talk(
        reasoner, {"type": "answer", "check": "smell-of-fuel", "outcome": "yes"}, {"type": "undo"}
    )
    assert after["belief"]["all"] != first["belief"]["all"]
    assert undone["belief"]["all"] == first["belief"]["all"]
    assert [e["event"] for e in events_of(environ)] == ["answer", "undo"]  # recorded, not erased


def test_resuming_goes_on_where_it_was(reasoner: Run) -> None:
    last = talk(reasoner, {"type": "answer", "check": "smell-of-fuel", "outcome": "yes"})[-1]
    again = talk(reasoner)[0]
    assert again["belief"]["all"] == last["belief"]["all"]
    assert again["next"] == last["next"]


@pytest.mark.parametrize(
    ("message", "words"),
    [
        ('{"type": "answer", "check": "no-such-check", "outcome": "x"}', "no check is called"),
        ('{"type": "answer", "check": "trim-idle", "values": {"7": "rich"}}', "no bank 7"),
        ('{"type": "answer", "check": "smell-of-fuel", "outcome": "purple"}', "no outcome"),
        ('{"type": "answer", "check": "trim-idle", "numbers": {"1": 4000}}', "no possible"),
        ('{"type": "answer", "check": "trim-idle", "numbers": {"1": NaN}}', "no "),
        ('{"type": "answer", "check": "smell-of-fuel"}', "has one of"),
        ('{"type": "condition", "condition": "on the moon"}', "no condition"),
        ('{"type": "dance"}', "no message"),
        ('{"type": "undo"}', "nothing to take back"),
        ("[1, 2]", "a message is an object"),
        ("not json", "no JSON"),
        ('{"type": "answer", "values": {"three": "wet"}}', "is no number of a place"),
        ("[" * 100_000, "no JSON"),
    ],
)
def test_nonsense_is_refused_and_changes_nothing(
    reasoner: Run, environ: dict[str, str], message: str, words: str
) -> None:
    found = reasoner("diagnose", "c", "--json", stdin=message + '\n{"type": "state"}\n')
    first, error, then = lines_of(found)
    said("told", error)
    assert error["type"] == "error"
    assert words in error["message"]
    assert then["belief"] == first["belief"]
    assert events_of(environ) == []
    assert "Traceback" not in found.stderr


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (b'{"type": "note", "text": "\xff\xfe"}', "can't decode"),
        (b'{"type": "note", "text": "' + b"x" * 1_200_000 + b'"}', "more than 1000000 bytes"),
        (b"x" * 1_000_000 + b'{"type": "undo"}', "more than 1000000 bytes"),  # its end is no message of its own
        (b"x" * 3_000_003, "more than 1000000 bytes"),
        (b'{"type": "answer", "check": "trim-idle", "values": {"1": {"rich": NaN}}}', "no number that JSON"),
        (b'{"type": "state", "type": "undo"}', "a key stands twice"),
    ],
)
def test_a_line_that_is_no_message_gets_one_error(
    environ: dict[str, str], line: bytes, words: str, reasoner: Run
) -> None:
    """And the case opens again as it was."""
    said = b'{"type": "answer", "check": "smell-of-fuel", "outcome": "yes"}\n' + line + b'\n{"type": "state"}\n'
    found = reasoner("diagnose", "c", "--json", stdin=said.decode("utf-8", "surrogateescape"))
    _, before, error, then = map(json.loads, found.stdout.splitlines())
    assert error["type"] == "error" and words in error["message"]
    assert then["belief"] == before["belief"] == talk(reasoner)[0]["belief"]
    assert (found.returncode, found.stderr) == (exits.FINE, "")
    assert [e["event"] for e in events_of(environ)] == ["answer"]


def test_control_characters_in_text_are_kept_harmless(reasoner: Run, environ: dict[str, str]) -> None:
    nasty = "a\x1b[2Jb\x00c\u2028d\u202ee\ud83d\ude80"
    talk(reasoner, {"type": "note", "text": nasty.encode("utf-16", "surrogatepass").decode("utf-16")})
    raw = Path(environ["REASONER_CASES"], "c.yaml").read_bytes()
    assert b"\x1b" not in raw
    assert b"\x00" not in raw
    assert events_of(environ)[0]["text"].startswith("a\x1b[2Jb\x00c")


@pytest.mark.parametrize("name", ["../up", "a/b", "con", "x" * 200, "bad\x1bname"])
def test_names_no_file_should_have_are_refused(reasoner: Run, name: str) -> None:
    found = reasoner("diagnose", name, "--json")
    assert found.returncode == exits.CASE_UNUSABLE
    assert found.stdout == ""
    assert found.stderr.startswith("Error: ")
    assert "Traceback" not in found.stderr


def test_an_unwritable_folder_is_said_before_anything_is_asked(reasoner: Run, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    found = reasoner("diagnose", "--json", REASONER_CASES=str(blocked / "cases"))
    assert found.returncode == exits.CASE_UNUSABLE
    assert found.stdout == ""
    assert "Error: " in found.stderr


def test_a_full_disk_is_said_before_anything_is_asked(reasoner: Run) -> None:
    """A limit on the size of files stands in for a full disk."""
    resource = pytest.importorskip("resource")
    code = (
        "import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN);"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (64, 64));"
        "sys.argv = ['reasoner', 'diagnose', '--json']; from reasoner.cli.main import main; main()"
    )
    assert resource
    folder = Path(os.environ.get("TMPDIR", "/tmp")) / f"full-{os.getpid()}"
    found = subprocess.run(
        [sys.executable, "-c", code],
        input="",
        capture_output=True,
        text=True,
        env={**os.environ, "REASONER_CASES": str(folder)},
    )
    assert found.returncode == exits.CASE_UNUSABLE
    assert found.stdout == ""
    assert found.stderr.count("\n") <= 2
    assert "Traceback" not in found.stderr


def test_two_programs_on_one_case_are_refused(environ: dict[str, str], reasoner: Run) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "reasoner", "diagnose", "c", "--json"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environ,
    ) as first:  # fmt: skip
        assert first.stdout is not None
        first.stdout.readline()
        second = reasoner("diagnose", "c", "--json")
        first.kill()
    assert second.returncode == exits.CASE_UNUSABLE
    assert "another program has this case open" in second.stderr
    assert reasoner("diagnose", "c", "--json").returncode == exits.FINE  # a lock dies with its program


def test_a_torn_last_line_is_healed(reasoner: Run, environ: dict[str, str]) -> None:
    before = talk(reasoner, {"type": "answer", "check": "smell-of-fuel", "outcome": "yes"})[-1]
    path = Path(environ["REASONER_CASES"], "c.yaml")
    with path.open("ab") as file:
        file.write(b'- {"event": "answer", "check": "trim-i')
    again = talk(reasoner, {"type": "note", "text": "after"})
    assert again[0]["belief"]["all"] == before["belief"]["all"]
    assert any("cut off" in note for note in again[0]["notes"])
    assert [e["event"] for e in events_of(environ)] == ["answer", "note"]


def test_rules_with_mistakes_are_refused_whole(reasoner: Run, tmp_path: Path) -> None:
    bad = tmp_path / "rules"
    bad.mkdir()
    (bad / "mine.yaml").write_text("faults:\n  my-fault:\n    nmae: Typo\n")
    found = reasoner("diagnose", "--json", "--rules", str(bad))
    assert found.returncode == exits.RULES
    assert "mine.yaml:3:5" in found.stderr
    assert 'did you mean "name"' in found.stderr or "name" in found.stderr
    assert "Traceback" not in found.stderr


def test_a_bad_vehicle_file_is_refused_with_its_place(reasoner: Run, tmp_path: Path) -> None:
    car = tmp_path / "car.yaml"
    car.write_text("layout: inline 4\ninjection: carburettor\n")
    found = reasoner("diagnose", "--json", "--vehicle", str(car))
    assert found.returncode == exits.PROBLEMS
    assert "car.yaml:2:12" in found.stderr
    assert "port, direct, dual" in found.stderr


def test_a_case_of_a_newer_form_is_refused(reasoner: Run, environ: dict[str, str]) -> None:
    talk(reasoner)
    path = Path(environ["REASONER_CASES"], "c.yaml")
    path.write_text(path.read_text().replace("format: 1", "format: 99", 1))
    found = reasoner("diagnose", "c", "--json")
    assert found.returncode == exits.CASE_UNUSABLE
    assert "99" in found.stderr


def test_a_case_from_other_rules_says_so_and_goes_on(reasoner: Run, environ: dict[str, str]) -> None:
    talk(reasoner, {"type": "answer", "check": "smell-of-fuel", "outcome": "yes"})
    path = Path(environ["REASONER_CASES"], "c.yaml")
    text = path.read_text()
    stamp = yaml.safe_load(text)["rules"]
    path.write_text(text.replace(stamp, "0" * 64).replace("smell-of-fuel", "check-of-the-future"))
    state = talk(reasoner)[0]
    assert any("rules have changed" in n for n in state["notes"])
    assert any("check-of-the-future" in n for n in state["notes"])


def kills(environ: dict[str, str], times: int, seed: int) -> int:
    """Kill the program at random moments of a conversation; every answer it acknowledged must be on disk."""
    chance = random.Random(seed)
    checks = ["smell-of-fuel", "hard-hot-start", "short-trips", "oil-level-rising", "happens-after-refuelling"]
    acknowledged = 0
    kept = 0
    for _ in range(times):
        with subprocess.Popen(
            [sys.executable, "-m", "reasoner", "diagnose", "k", "--json"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environ, text=True,
        ) as child:  # fmt: skip
            assert child.stdin is not None
            assert child.stdout is not None
            child.stdout.readline()
            deadline = time.monotonic() + chance.random() * 0.4
            while time.monotonic() < deadline:
                outcome = chance.choice(["no", "yes"])
                message = {"type": "answer", "check": chance.choice(checks), "outcome": outcome}
                child.stdin.write(json.dumps(message) + "\n")
                child.stdin.flush()
                if chance.random() < 0.15:
                    time.sleep(chance.random() * 0.02)
                    break
                child.stdout.readline()
                acknowledged += 1
            child.send_signal(signal.SIGKILL)
        kept = sum(e["event"] == "answer" for e in events_of(environ, "k"))
        assert kept >= acknowledged, f"{acknowledged} answers were acknowledged, {kept} are on disk"
        acknowledged = kept  # one that was kept but not yet acknowledged counts from here on
    return kept


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
def test_killing_it_loses_no_answered_question(environ: dict[str, str]) -> None:
    """Short form; the long one: REASONER_KILLS=500 python -m pytest tests/cli/test_diagnose.py -k killing."""
    assert kills(environ, int(os.environ.get("REASONER_KILLS", "8")), seed=1) > 0


def test_tables_let_another_program_recompute_a_belief(reasoner: Run, tmp_path: Path) -> None:
    """From the answers alone, with nothing but the printed tables and the printed formula."""
    tables = json.loads(reasoner("rules", "tables", "--json").stdout)
    messages = [
        {"type": "condition", "condition": "warm-idle"},
        {"type": "answer", "check": "trim-idle", "values": {"1": "rich"}},
        {"type": "answer", "check": "smell-of-fuel", "outcome": "yes"},
    ]
    belief = talk(reasoner, *messages)[-1]["belief"]["all"]
    right = tables["report right"]["sure"]
    checks = {c["name"]: c for c in tables["checks"]}

    def weight(check: dict[str, Any], row: list[float], outcome: str) -> float:
        count, number = len(row), check["outcomes"].index(outcome)
        return sum(p * (right if i == number else (1 - right) / (count - 1)) for i, p in enumerate(row))

    weights = {}
    for cause in tables["causes"]:
        trim, smell = checks["trim-idle"], checks["smell-of-fuel"]
        rows = [r["probabilities"] for r in trim["rows"]]
        showing = weight(trim, rows[trim["showing"][cause["name"]][0]], "rich")
        quiet = weight(trim, trim["quiet"], "rich")
        smells = weight(smell, smell["rows"][smell["showing"][cause["name"]][0]]["probabilities"], "yes")
        shows = cause["shows"]["warm-idle"]
        weights[cause["name"]] = cause["prior"] * (shows * showing + (1 - shows) * quiet) * smells
    total = sum(weights.values())
    for name, found in belief.items():
        assert found == pytest.approx(weights[name] / total, abs=1e-9)


def test_the_beginning_of_another_cases_name_is_a_new_name_to_a_program(reasoner: Run, environ: dict[str, str]) -> None:
    """Another car's case must not be gone on with because its name begins alike."""
    talk(reasoner, {"type": "note", "text": "the other car"}, case="van-2")
    (state,) = talk(reasoner, case="van")
    assert state["case"] == "van"
    assert [e["event"] for e in events_of(environ, "van")] == []
    assert [e["event"] for e in events_of(environ, "van-2")] == ["note"]


def test_a_vehicle_named_for_a_case_that_has_one_is_said_not_to_be_used(
    reasoner: Run, environ: dict[str, str], tmp_path: Path
) -> None:
    talk(reasoner, case="van")
    car = tmp_path / "v8.yaml"
    car.write_text("layout: V 8\n", encoding="utf-8")
    found = reasoner("diagnose", "van", "--json", "--vehicle", str(car), stdin="")
    assert "--vehicle was not used" in lines_of(found)[0]["notes"][0]


@pytest.mark.parametrize(
    ("typed", "lines", "goes_on", "asked"),
    [
        ("van", [""], True, 1),
        ("van", ["y"], True, 1),
        ("van", ["q", "n"], False, 2),  # what is neither is asked again: nobody lands in another car's case
        ("van-2", [], True, 0),
        ("van-2.yaml", [], True, 0),
    ],
)
def test_a_person_says_which_case_is_meant(typed: str, lines: list[str], goes_on: bool, asked: int) -> None:
    console = console_with(lines)
    wish = Wish(Path("shop"), "", typed, Path("shop/van-2.yaml"), tiny(), None, "time", (), Shop(prices=usual(tiny())))
    assert (_meant(wish, console).path is not None) is goes_on
    assert shown(console).count("No case is called") == asked


def test_a_settled_verdict_is_left_with_the_way_to_its_sheet() -> None:
    """Before the work the sheet comes first; where nothing is settled there is only the choice, after it the proof."""
    case = load_sound(ROOT / "cases" / "six-crossed-plugs.yaml")
    at = next(i for i, event in enumerate(case.events) if isinstance(event, Concluded))
    told, said = case.events[:at], case.events[at]
    assert isinstance(said, Concluded)
    workup = begin(garage().book, vehicle_of(case), [*told, replace(said, what="settled")])
    first, second = ways_on(workup.record, "six", False)
    assert "reasoner sheet six --take best" in first and "reasoner decide six" in second
    open_ = begin(garage().book, vehicle_of(case), [*told, replace(said, what="nothing-worth")])
    assert [line.split(": ")[1] for line in ways_on(open_.record, "six", False)] == ["reasoner decide six"]
    assert "reasoner prove six" in ways_on(workup.record, "six", True)[-1]
    assert ways_on(begin(garage().book, vehicle_of(case), told[:1]).record, "six", False) == []
