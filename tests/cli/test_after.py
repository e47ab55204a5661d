"""`decide`, `sheet` and `prove` on a case on disk, from the choice to the closing."""

from __future__ import annotations

import json
import shlex
import shutil
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from click.testing import CliRunner, Result

from reasoner.casebook.casefile import load_case
from reasoner.casebook.journal import resume
from reasoner.casebook.trouble import Refused
from reasoner.cli import exits
from reasoner.cli.main import cli
from reasoner.cli.shop import SETTINGS_VARIABLE
from reasoner.repair.proof import ProofDoc, may_close

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
    assert "cylinder 3" in found.output and "WHAT WOULD CHANGE THAT" in found.output
    *page, last = found.output.splitlines()
    assert all(len(line) <= 80 for line in page) and last == f"To take it up: reasoner sheet {case} --take best"
    assert "(the rules' usual figure)" in found.output


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
    assert "all four" in text.split("WHAT WOULD CHANGE THAT")[0] and "95 EUR" in text
    row = next(line for line in text.splitlines() if line.strip().startswith("direct injector"))
    assert "usual figure" not in row
    shop.write_text("hours: 3\n", encoding="utf-8")
    wrong = run("decide", str(case), "--prices", str(shop))
    assert wrong.exit_code == exits.PROBLEMS and 'did you mean "hour"?' in wrong.stderr


def test_no_such_case(tmp_path: Path) -> None:
    for command in ("decide", "sheet", "prove"):
        found = run(command, "nowhere", "--cases", str(tmp_path))
        assert found.exit_code == exits.CASE_UNUSABLE and found.stderr.startswith("Error:")


def test_first_things_first(case: Path) -> None:
    """No sheet without a choice, no proof without finished work; nothing is kept meanwhile."""
    before = case.read_bytes()
    for command in ("sheet", "prove"):
        found = run(command, str(case))
        assert found.exit_code == exits.PROBLEMS and "Error:" in found.stderr
    events = load_case(case).events
    assert [e for e in events if e["event"] not in ("rules",)] == [
        e for e in _events(before, case) if e["event"] not in ("rules",)
    ]


def _events(content: bytes, path: Path) -> tuple[dict[str, object], ...]:
    copy = path.with_name("before.yaml")
    copy.write_bytes(content)
    return load_case(copy).events  # type: ignore[return-value]


def test_from_the_choice_to_the_closing(case: Path, tmp_path: Path) -> None:
    page = tmp_path / "sheet.html"
    taken = run("sheet", str(case), "--take", "best", "--html", str(page))
    assert taken.exit_code == exits.FINE and page.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    done = run("sheet", str(case), "--tick", "1", "--tick", "4 cylinder 3", "--figure", "5:rail pressure=0.4")
    assert "2 of" in done.output.splitlines()[0]  # and then the next open step
    page = run("sheet", str(case)).output
    assert "0.4" in page and page.index("goes through skin") < page.index("Let the rail pressure down")
    again = run("sheet", str(case))
    assert "[x] 1." in again.output and "[x] cylinder 3" in again.output
    assert "2 of" in again.output.splitlines()[-1] and "0.4" in again.output  # saved as it goes
    typed = run("sheet", str(case), "--values", "--old", "3=QW12ER", typed="AB12CD\nAB21CD\n\n")
    assert "two characters next to each other look swapped" in " ".join(typed.stdout.split())
    assert "--first 3=VALUE" in typed.stdout
    right = run("sheet", str(case), "--second", "3=AB12CD")
    assert "nothing looks wrong" in right.stdout and "QW12ER" in right.stdout
    assert run("prove", str(case)).exit_code == exits.PROBLEMS  # not finished yet
    finished = run("sheet", str(case), "--finished")
    assert finished.exit_code == exits.FINE and "Not ticked: step 2, 3, 5" in finished.output
    assert f"reasoner prove {case}" in finished.output

    plan = run("prove", str(case), "--cleared")
    assert plan.output.index("WHAT TO TYPE") < plan.output.index("SOURCES")
    assert "IN ONE AND THE SAME DRIVE" in plan.output and "from memory" in plan.output
    assert "still there" in plan.output and "UNTIL THEN, DO NOT DO THIS" in plan.output
    clean = json.loads(run("prove", str(case), "--clean", "hot-restart", "--clean", "hot-restart", "--json").stdout)
    assert clean["provocation"]["clean"] == 2
    tally = run("prove", str(case), "--drive", "engine-running=700,at-speed=320,idling-on=10")
    assert "10 of 30 s" in tally.output
    early = run("prove", str(case), "--close", "proven")
    assert early.exit_code == exits.PROBLEMS and "not proven yet" in early.stderr
    assert not [e for e in load_case(case).events if e["event"] == "closed"]
    cause = ("--fault", "injector-leaks-after-soak", "--where", "cylinder 3", "--confirmed-by", "wet tip")
    closed = run("prove", str(case), "--close", "cured but unproven", *cause)
    assert closed.exit_code == exits.FINE
    last = load_case(case).events[-1]
    assert (last["event"], last["state"], last["where"]) == ("closed", "cured but unproven", "cylinder 3")


def test_the_lines_to_type_are_right_as_they_stand(case: Path) -> None:
    """The drive that is printed brings all that one drive can; what must be met in one drive is named whole, also where
    part of it was met before."""
    run("sheet", str(case), "--take", "alone", "--finished")
    run("prove", str(case), "--cleared", "--drive", "engine-running=700,at-speed=20,idling-on=40")
    plan = run("prove", str(case)).output
    line = next(line.strip() for line in plan.splitlines() if "--drive" in line)
    assert "engine-running=600,at-speed=300,idling-on=30" in line and "pending-empty=1," in line
    told = run(*shlex.split(line)[1:]).output
    assert "Pending list empty: 1 of 2 drives so far" in told and "one drive: " not in told


def test_a_condition_is_typed_as_it_is_shown(case: Path) -> None:
    run("sheet", str(case), "--take", "alone", "--finished")
    for said in ("hot-restart", "Hot restart", "steady cruise", "steady-cruise"):
        assert run("prove", str(case), "--clean", said).exit_code == exits.FINE
    twice = run("prove", str(case), "--clean", "cruise", "--clean", "cruise")
    assert "Note: told as 2 tries. Each counts only if it was brought about anew." in twice.stderr
    assert not run("prove", str(case), "--back").exit_code
    told = [event["condition"] for event in events_of(case, "provoked")][:4]
    assert told == ["hot-restart", "hot-restart", "cruise", "cruise"]


def test_every_condition_that_is_still_to_be_tried_has_its_line_to_type(tmp_path: Path) -> None:
    """Where the owner said that it happens in several, what each line tells counts."""
    copy = tmp_path / "estate.yaml"
    copy.write_text((ROOT / "cases" / "estate-pinched-return.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    plan = json.loads(run("prove", str(copy), "--json").stdout)
    for also in plan["also"]:
        line = f"reasoner prove {copy} --clean {also['condition']}"
        assert line in run("prove", str(copy)).output
        told = run("prove", str(copy), "--clean", also["condition"])
        assert "that is counted, not" not in told.stderr
    assert plan["also"]


def test_what_is_missing_is_counted_in_words_that_agree() -> None:
    for missing, said in (((), ""), (("b",), "1 thing more is"), (("b", "c"), "2 things more are")):
        with pytest.raises(Refused) as refused:
            may_close(ProofDoc("", "", None, (), (), (), (), None, "cured but unproven", ("a", *missing)), "proven")
        assert refused.value.message == "not proven yet: a" and refused.value.mend.startswith(said)
        assert bool(refused.value.mend) == bool(said)


def test_the_loop_goes_on_after_the_work(case: Path) -> None:
    """Once the work is finished the same case is about what may be wrong now: the diagnosis begins from there."""
    run("sheet", str(case), "--take", "alone", "--finished")
    found = json.loads(run("decide", str(case), "--json").stdout)
    assert {choice["kind"] for choice in found["choices"] if choice["recommended"]} == {"test"}


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
    before = load_case(case).events
    found = run(arguments[0], str(case), *arguments[1:])
    assert found.exit_code in (exits.PROBLEMS, exits.USAGE) and said in found.stderr
    assert load_case(case).events == before


def test_cases_stay_readable_by_the_list(case: Path) -> None:
    run("sheet", str(case), "--take", "best")
    found = run("cases", "--cases", str(case.parent))
    assert found.exit_code == exits.FINE and "estate-hot-restart" in found.output


def test_settings_are_used_without_being_named(
    case: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, reasoner: Callable[..., CompletedProcess[str]]
) -> None:
    """`diagnose`, `decide`, `sheet` and `report` reckon with the shop's prices, wherever they are said."""
    monkeypatch.delenv(SETTINGS_VARIABLE)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setenv("APPDATA", str(tmp_path))
    before = run("decide", str(case)).output
    shop = tmp_path / "reasoner" / "settings.yaml"
    shop.parent.mkdir()
    shop.write_text("currency: EUR\nparts: {direct-injector: 95}\ncomeback costs: 400\n", encoding="utf-8")
    found = run("decide", str(case)).output
    first, second = (text.split("WHAT WOULD CHANGE THAT")[0] for text in (before, found))
    assert "all four" in second and "all four" not in first
    assert "money in EUR" in found
    said = reasoner("diagnose", str(case), "--json", stdin='{"type": "decide"}\n', REASONER_SETTINGS=str(shop))
    state, decision = said.stdout.splitlines()
    assert json.loads(decision)["currency"] == "EUR" and json.loads(state)["type"] == "state"
    assert json.loads(decision)["sentence"].split(".")[0] in " ".join(found.split())
    run("report", str(case), "--html", str(tmp_path / "r.html"))
    assert "EUR" in (tmp_path / "r.html").read_text(encoding="utf-8")
    run("sheet", str(case), "--take", "best")
    assert next(e for e in load_case(case).events if e["event"] == "work")["kind"] == "all"


def test_a_new_case_begins_with_the_shops_car_and_tools(
    tmp_path: Path, reasoner: Callable[..., CompletedProcess[str]]
) -> None:
    shop = tmp_path / "settings.yaml"
    shop.write_text("car: V6 port 2014\ntools: [smoke-machine]\ntools missing: [multimeter]\n", encoding="utf-8")
    told = '{"type": "stop"}\n'
    reasoner("diagnose", "new", "--json", "--cases", str(tmp_path), stdin=told, REASONER_SETTINGS=str(shop))
    found = load_case(tmp_path / "new.yaml")
    assert found.head["vehicle"]["layout"] == "v6" and found.head["vehicle"]["model year"] == "2014"
    first = found.events[0]
    assert (first["event"], first["at hand"], first["lacking"]) == ("tools", ["smoke-machine"], ["multimeter"])


def test_settings_shown_and_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    shop = tmp_path / "deep" / "settings.yaml"
    monkeypatch.setenv(SETTINGS_VARIABLE, str(shop))
    assert run("settings").exit_code == exits.PROBLEMS  # named, and not there
    assert run("settings", "--write").exit_code == exits.FINE and shop.exists()
    again = run("settings", "--write")
    assert again.exit_code == exits.USAGE and "is there already" in again.stderr
    assert "usual car                    asked for each car" in run("settings").output
    shop.write_text("hour: 85\ncar: V6 port\ntools: [smoke-machine]\nparts: {canister: 180}\n", encoding="utf-8")
    text = run("settings").output
    assert "an hour of work              85 (line 1)" in text and "smoke machine (line 3)" in text
    assert "canister 180; 10 at the rules' usual price" in text and "300 (the rules' usual figure)" in text
    told = json.loads(run("settings", "--json").stdout)
    assert {"name": "an hour of work", "value": "85", "line": 1} in told["settings"] and told["file"] == str(shop)


@pytest.mark.parametrize("command", [["settings"], ["decide"], ["sheet"], ["report", "--html", "r.html"], ["diagnose"]])
def test_a_mistake_in_the_settings_is_said_with_its_line(command: list[str], case: Path, tmp_path: Path) -> None:
    shop = tmp_path / "shop.yaml"
    shop.write_text("hour: 85\ntools: [smoke-machin]\n", encoding="utf-8")
    named = [] if command == ["settings"] else [str(case)]
    more = ["--json"] if command == ["diagnose"] else []
    found = run(command[0], *named, *command[1:], "--settings", str(shop), *more)
    assert found.exit_code == exits.PROBLEMS and "shop.yaml:2:9: error" in found.stderr
    assert 'did you mean "smoke-machine"?' in found.stderr


def test_settings_that_are_named_and_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, case: Path) -> None:
    monkeypatch.setenv(SETTINGS_VARIABLE, str(tmp_path / "nowhere.yaml"))
    found = run("decide", str(case))
    assert found.exit_code == exits.PROBLEMS and "cannot be opened" in found.stderr


def test_another_program_goes_on_with_the_same_case(case: Path, reasoner: Callable[..., CompletedProcess[str]]) -> None:
    """One line each way: what was taken up on the command line is on the sheet of the conversation, and the reverse."""
    run("sheet", str(case), "--take", "alone", "--tick", "1")
    lines = reasoner("diagnose", str(case), "--json", stdin='{"type": "sheet"}\n{"type": "tick", "boxes": ["2"]}\n')
    first, *_, last = [json.loads(line) for line in lines.stdout.splitlines()]
    assert first["type"] == "state" and (last["type"], last["done"]) == ("sheet", 2)
    assert "2 of" in run("sheet", str(case)).output.splitlines()[-1]


def events_of(case: Path, kind: str) -> list[dict[str, object]]:
    return [dict(event) for event in load_case(case).events if event["event"] == kind]


def test_step_by_step_saved_as_it_goes(case: Path) -> None:
    """Enter ticks a step off, a blank is asked for at its step, b takes a mark back; torn off, it goes on there."""
    run("sheet", str(case), "--take", "alone")
    first = run("sheet", str(case), "--steps", typed="\n\nl\n\nb\nb\n\n\n0.4\n\ns\n").output
    assert first.index("goes through skin") < first.index("Let the rail pressure down")
    four = "4 cylinder 3"
    assert [e["boxes"] for e in events_of(case, "tick")] == [["1"], ["2"], [four], [four], ["3"], [four], ["5"]]
    assert [e["value"] for e in events_of(case, "figure")] == ["0.4"]
    torn = run("sheet", str(case), "--steps", typed="\n")  # the end of input, as Ctrl-C
    assert torn.exit_code == 1 and [e["boxes"] for e in events_of(case, "tick")][-1] == ["6"]
    again = run("sheet", str(case), "--steps", typed="s\n").output
    assert "7. Open the first joint" in again and "6 of" in again and "5. Let the rail" not in again


def test_help_and_back_at_every_prompt_of_the_sheet(case: Path) -> None:
    """h says what is wanted and asks again, b goes back, q leaves; none of them is ever kept as an answer."""
    run("sheet", str(case), "--take", "all")
    steps = run("sheet", str(case), "--steps", typed="h\nfoo\nq\n")
    assert "takes its tick away" in " ".join(steps.stderr.split()) and '"foo" is not clear' in steps.stderr
    assert not events_of(case, "tick")
    run("sheet", str(case), "--values", typed="h\nA1B2\nb\nA1B3\nC3D4\nq\n")
    typed = [event["first"] for event in events_of(case, "values")]
    assert typed == [{"1": "A1B2"}, {"1": "A1B3"}, {"2": "C3D4"}]


def test_blanks_are_spoken_of_where_there_are_any(case: Path) -> None:
    run("sheet", str(case), "--take", "alone")
    sheet = run("sheet", str(case)).stdout
    assert ("Blanks are for the maker's own figures." in " ".join(sheet.split())) == ("____" in sheet)


def test_values_torn_off_half_way(case: Path) -> None:
    run("sheet", str(case), "--take", "all")
    run("sheet", str(case), "--values", typed="A1B2\nC3D4\n")
    assert len(events_of(case, "values")) == 2
    rest = "E5F6\nG7H8\n" + "A1B2\nC3D4\nE56F\nG7H8\n" + "E5F6\n"  # the third, third time: off the part once more
    done = run("sheet", str(case), "--values", typed=rest)
    assert "cylinder 3: E5F6, then E56F" in done.stderr and "nothing looks wrong" in done.stdout
    two = run("sheet", str(case), "--first", "4=A1B2", "--second", "4=A1B2").stdout
    assert "cylinders 1 and 4 have the same value" in " ".join(two.split())
    gone = run("sheet", str(case), "--second", "2=").stdout
    assert "cylinder 2: not typed in twice" in gone
    old = run("sheet", str(case), "--first", "2=G7H8,4=C3D4", "--second", "2=G7H8,4=C3D4", "--old", "2=C3D4,4=G7H8")
    assert "the stored values in another order" in " ".join(old.stdout.split())


def test_taking_the_same_work_again_loses_no_mark(case: Path) -> None:
    run("sheet", str(case), "--take", "alone")
    run("sheet", str(case), "--tick", "1, 2")
    again = run("sheet", str(case), "--take", "alone").output
    assert len(events_of(case, "work")) == 1 and "2 of" in again.splitlines()[-1]


def test_what_is_told_together_is_kept_together(case: Path) -> None:
    """One slip, and nothing of it is kept: told again in full, nothing counts twice."""
    run("sheet", str(case), "--take", "alone")
    assert run("sheet", str(case), "--tick", "1", "--figure", "2:nothing=3").exit_code == exits.PROBLEMS
    assert not events_of(case, "tick")
    run("sheet", str(case), "--finished")
    assert run("prove", str(case), "--clean", "hot-restart", "--drive", "x=1").exit_code == exits.PROBLEMS
    assert not events_of(case, "provoked")


def test_a_state_that_was_begun_is_not_taken_for_its_opposite(case: Path) -> None:
    run("sheet", str(case), "--take", "alone", "--finished")
    wrong = run("prove", str(case), "--close", "cured")
    assert "Did you mean 'cured but unproven'?" in wrong.stderr


def test_how_a_try_was_made_is_told_with_it(case: Path) -> None:
    run("sheet", str(case), "--take", "alone", "--finished")
    alone = run("prove", str(case), "--made-so")
    assert alone.exit_code == exits.PROBLEMS and "together with --clean" in alone.stderr
    run("prove", str(case), "--clean", "hot-restart", "--made-so")
    [told] = events_of(case, "provoked")
    assert told["made so"] is True
    run("prove", str(case), "--clean", "hot-restart")
    assert "made so" not in events_of(case, "provoked")[-1]


def test_finished_by_mistake(case: Path) -> None:
    run("sheet", str(case), "--take", "alone", "--finished")
    run("prove", str(case), "--clean", "hot-restart")
    back = run("prove", str(case), "--back")
    assert "Taken back: provoked, hot-restart" in back.stderr
    taken = run("sheet", str(case), "--back", "--tick", "1")
    assert "Taken back: finished" in taken.stderr and "1 of" in taken.output
    assert run("prove", str(case)).exit_code == exits.PROBLEMS  # not finished any more


@pytest.mark.parametrize("command", [("decide",), ("sheet",), ("prove",), ("sheet", "--json"), ("prove", "--json")])
def test_looking_writes_nothing(tmp_path: Path, command: tuple[str, ...]) -> None:
    """Not even that the rules have changed since; and a case is looked at while another program has it open."""
    path = tmp_path / "estate-hot-restart.yaml"
    shutil.copyfile(ROOT / "cases" / path.name, path)
    path.write_text(path.read_text(encoding="utf-8").replace("rules: ", "rules: older-", 1), encoding="utf-8")
    before = path.read_bytes()
    with resume(path):
        found = run(command[0], str(path), *command[1:])
    assert found.exit_code in (exits.FINE, exits.PROBLEMS) and found.stdout, found.output
    assert path.read_bytes() == before and sorted(tmp_path.iterdir()) == [path]


def test_the_day_of_a_try_and_the_mileage_of_clearing(case: Path) -> None:
    run("sheet", str(case), "--take", "alone", "--finished")
    assert "together with --clean" in " ".join(run("prove", str(case), "--on", "2026-04-01").stderr.split())
    assert "give it with --cleared" in run("prove", str(case), "--clean", "hot-restart", "--km", "5").stderr
    told = run("prove", str(case), "--clean", "hot-restart", "--cleared", "--on", "2026-04-01", "--km", "90500")
    assert told.exit_code in (exits.FINE, exits.PROBLEMS), told.output
    [tried], [cleared] = events_of(case, "provoked"), events_of(case, "cleared")
    assert tried["on"] == cleared["on"] == "2026-04-01" and cleared["km"] == 90500
    assert "Codes cleared: 2026-04-01, at 90500 km." in run("prove", str(case)).stdout
