"""`decide`, `sheet` and `prove` on a case on disk, from the choice to the closing."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from click.testing import CliRunner, Result

from reasoner.casebook.casefile import load
from reasoner.cli import exits
from reasoner.cli.main import cli

ROOT = Path(__file__).parents[2]


@pytest.fixture
def case(tmp_path: Path) -> Path:
    """A solved case of the invented shop, as it stood before the work."""
    path = tmp_path / "estate-hot-restart.yaml"
    text = (ROOT / "cases" / path.name).read_text(encoding="utf-8")
    path.write_text(text[: text.rindex("\n", 0, text.index('"event": "work"')) + 1], encoding="utf-8")
    return path


def run(*arguments: str, typed: str = "") -> Result:
    return CliRunner().invoke(cli, [*arguments], input=typed)


def test_decide(case: Path) -> None:
    found = run("decide", str(case))
    assert found.exit_code == exits.FINE
    assert "cylinder 3" in found.output and "WHAT IT HANGS ON" in found.output
    *page, last = found.output.splitlines()
    assert all(len(line) <= 80 for line in page) and last == f"To take it up: reasoner sheet {case} --take best"
    assert "(usual figure of the rules)" in found.output


def test_decide_as_json_is_the_same(case: Path) -> None:
    found = json.loads(run("decide", str(case), "--json").stdout)
    (best,) = [choice for choice in found["choices"] if choice["recommended"]]
    assert best["kind"] == "alone" and best["expected"] == min(c["expected"] for c in found["choices"])
    assert found["hinges"] and found["type"] == "decision"


def test_prices_change_the_choice(case: Path, tmp_path: Path) -> None:
    """What the shop says goes before the rules' usual figures, is marked as its own, and may turn the choice."""
    shop = tmp_path / "shop.yaml"
    shop.write_text("currency: EUR\nparts: {direct-injector: 95}\ncomeback costs: 400\n", encoding="utf-8")
    text = run("decide", str(case), "--prices", str(shop)).output
    assert "all four" in text.split("WHAT IT HANGS ON")[0] and "95 EUR" in text
    row = next(line for line in text.splitlines() if line.strip().startswith("direct injector"))
    assert "usual figure" not in row
    shop.write_text("hours: 3\n", encoding="utf-8")
    wrong = run("decide", str(case), "--prices", str(shop))
    assert wrong.exit_code == exits.PROBLEMS and 'did you mean "hour"?' in wrong.stderr


def test_no_such_case(tmp_path: Path) -> None:
    for command in ("decide", "sheet", "prove"):
        found = run(command, "nowhere", "--cases", str(tmp_path))
        assert found.exit_code == exits.CASE and found.stderr.startswith("Error:")


def test_first_things_first(case: Path) -> None:
    """No sheet without a choice, no proof without finished work; nothing is kept meanwhile."""
    before = case.read_bytes()
    for command in ("sheet", "prove"):
        found = run(command, str(case))
        assert found.exit_code == exits.PROBLEMS and "Error:" in found.stderr
    events = load(case).events
    assert [e for e in events if e["event"] not in ("rules",)] == [
        e for e in _events(before, case) if e["event"] not in ("rules",)
    ]


def _events(content: bytes, path: Path) -> tuple[dict[str, object], ...]:
    copy = path.with_name("before.yaml")
    copy.write_bytes(content)
    return load(copy).events  # type: ignore[return-value]


def test_from_the_choice_to_the_closing(case: Path, tmp_path: Path) -> None:
    page = tmp_path / "sheet.html"
    taken = run("sheet", str(case), "--take", "best", "--html", str(page))
    assert taken.exit_code == exits.FINE and page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    done = run("sheet", str(case), "--tick", "1", "--tick", "5 cylinder 3", "--figure", "2:rail pressure=0.4")
    assert "[x] 1." in done.output and "[x] cylinder 3" in done.output and "0.4" in done.output
    again = run("sheet", str(case))
    assert "2 of" in again.output.splitlines()[-1] and "0.4" in again.output  # saved as it goes
    typed = run("sheet", str(case), "--values", "--old", "3=QW12ER", typed="\n\nAB12CD\n\n\n\nAB21CD\n\n")
    assert "two characters next to each other look exchanged" in " ".join(typed.stdout.split())
    assert run("prove", str(case)).exit_code == exits.PROBLEMS  # not finished yet
    assert run("sheet", str(case), "--finished").exit_code == exits.FINE

    plan = run("prove", str(case), "--cleared")
    assert "IN ONE AND THE SAME DRIVE" in plan.output and "from memory" in plan.output
    assert "still there" in plan.output and "NOT MEANWHILE" in plan.output
    clean = json.loads(run("prove", str(case), "--clean", "hot-restart", "--clean", "hot-restart", "--json").stdout)
    assert clean["provocation"]["clean"] == 2
    tally = run("prove", str(case), "--drive", "engine-running=700,at-speed=320,idling-on=10")
    assert "10 of 30 s" in tally.output
    early = run("prove", str(case), "--close", "proven")
    assert early.exit_code == exits.PROBLEMS and "not proven yet" in early.stderr
    assert not [e for e in load(case).events if e["event"] == "closed"]
    cause = ("--fault", "injector-leaks-after-soak", "--where", "cylinder 3", "--confirmed-by", "wet tip")
    closed = run("prove", str(case), "--close", "cured but unproven", *cause)
    assert closed.exit_code == exits.FINE
    last = load(case).events[-1]
    assert (last["event"], last["state"], last["where"]) == ("closed", "cured but unproven", "cylinder 3")


def test_the_loop_goes_on_after_the_work(case: Path) -> None:
    """Once the work is finished the same case is about what may be wrong now: the diagnosis begins from there."""
    run("sheet", str(case), "--take", "alone", "--finished")
    found = json.loads(run("decide", str(case), "--json").stdout)
    assert {choice["kind"] for choice in found["choices"] if choice["recommended"]} == {"watch"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("sheet", "--tick", "99"), "no box"),
        (("sheet", "--figure", "2:nothing=3"), "no blank"),
        (("sheet", "--figure", "nonsense"), "STEP:WORDS=VALUE"),
        (("sheet", "--first", "three=AB"), "3=VALUE"),
        (("sheet", "--take", "bank"), "no such choice"),
        (("prove", "--clean", "hot-water"), "no condition is called"),
        (("prove", "--drive", "engine-running=long"), "name=number"),
        (("prove", "--drive", "driving=3"), "is not counted"),
        (("prove", "--close", "proven"), "not proven yet"),
    ],
)
def test_slips_are_told_and_nothing_is_kept(case: Path, arguments: tuple[str, ...], said: str) -> None:
    run("sheet", str(case), "--take", "alone")
    if arguments[0] == "prove":
        run("sheet", str(case), "--finished")
    before = load(case).events
    found = run(arguments[0], str(case), *arguments[1:])
    assert found.exit_code in (exits.PROBLEMS, exits.USAGE) and said in found.stderr
    assert load(case).events == before


def test_cases_stay_readable_by_the_list(case: Path) -> None:
    run("sheet", str(case), "--take", "best")
    found = run("cases", "--cases", str(case.parent))
    assert found.exit_code == exits.FINE and "estate-hot-restart" in found.output


def test_example_of_prices_is_one(tmp_path: Path, case: Path) -> None:
    shop = tmp_path / "shop.yaml"
    shop.write_text(run("decide", "--prices-example").output, encoding="utf-8")
    assert run("decide", str(case), "--prices", str(shop)).exit_code == exits.FINE
    shutil.rmtree(tmp_path)


def test_another_program_goes_on_with_the_same_case(case: Path, reasoner: Callable[..., CompletedProcess[str]]) -> None:
    """One line each way: what was taken up on the command line is on the sheet of the conversation, and the reverse."""
    run("sheet", str(case), "--take", "alone", "--tick", "1")
    lines = reasoner("diagnose", str(case), "--json", stdin='{"type": "sheet"}\n{"type": "tick", "boxes": ["2"]}\n')
    first, *_, last = [json.loads(line) for line in lines.stdout.splitlines()]
    assert first["type"] == "state" and (last["type"], last["done"]) == ("sheet", 2)
    assert "2 of" in run("sheet", str(case)).output.splitlines()[-1]
