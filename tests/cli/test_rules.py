"""`reasoner rules`: what each command prints, and the status it ends with."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import jsonschema
import networkx as nx
import pytest

from reasoner.cli import exits
from reasoner.lint.run import LINTS
from reasoner.rulebook.fields import ONE
from reasoner.rulebook.read import read_rules
from tests.cli.conftest import Run

ROOT = Path(__file__).parent.parent.parent
SMALL = ROOT / "tests" / "rulebook" / "small"
BOOKS = ROOT / "tests" / "lint"


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A shop's folder with one change in it."""
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / "numbers.yaml").write_text("faults: {purge-valve-leaks: {share: 200}}\n", encoding="utf-8")
    return folder


# ---- which rules -----------------------------------------------------------------------------------------------------


def share(reasoner: Run, *arguments: str, **environ: str) -> str:
    found = reasoner("rules", "show", "purge-valve-leaks", "--json", *arguments, **environ)
    assert found.returncode == exits.FINE, found.stderr
    return str(json.loads(found.stdout)["faults"].get("share", {}).get("value"))


def test_named_rules_lie_over_the_shipped_ones(reasoner: Run, own: Path) -> None:
    assert share(reasoner) != "200"
    assert share(reasoner, "--rules", str(own)) == "200"


def test_rules_named_by_the_environment(reasoner: Run, own: Path) -> None:
    assert share(reasoner, REASONER_RULES=str(own)) == "200"


@pytest.mark.skipif(os.name == "nt" or sys.platform == "darwin", reason="XDG is for the others")
def test_rules_in_the_default_place(environ: dict[str, str], own: Path, tmp_path: Path) -> None:
    place = tmp_path / "settings" / "reasoner" / "rules"
    place.parent.mkdir(parents=True)
    own.rename(place)
    del environ["REASONER_RULES"]
    command = [sys.executable, "-m", "reasoner", "rules", "list"]
    bare = {**environ, "XDG_CONFIG_HOME": str(tmp_path / "settings")}
    found = subprocess.run(command, env=bare, capture_output=True, text=True, timeout=300, cwd=ROOT)
    assert "\n* purge-valve-leaks" in found.stdout


def test_a_standing_folder_that_is_not_there_is_said(reasoner: Run) -> None:
    found = reasoner("rules", "list", REASONER_RULES="no-such-folder")
    assert found.returncode == exits.RULES
    assert "no-such-folder:1:1: error: there is no such file or folder" in found.stderr
    assert "none of them is used" in found.stderr


def test_only_the_named_rules(reasoner: Run) -> None:
    found = reasoner("rules", "list", "--only-rules", "--rules", str(SMALL))
    assert found.stdout.split("\n")[0] == "  injector-leak       Injector leaks when shut"
    assert len(found.stdout.splitlines()) == len(read_rules([SMALL]).faults)
    found = reasoner("rules", "list", "--only-rules")
    assert found.returncode == exits.USAGE and "name some with --rules" in found.stderr


def test_diagnose_uses_them_too(reasoner: Run, tmp_path: Path) -> None:
    broken = tmp_path / "broken.yaml"
    broken.write_text("faults: {purge-valve-leak: {share: 200}}\n", encoding="utf-8")
    found = reasoner("diagnose", "--json", "--rules", str(broken))
    assert found.returncode == exits.RULES and 'did you mean "purge-valve-leaks"?' in found.stderr


# ---- check -----------------------------------------------------------------------------------------------------------


def test_the_shipped_rules_are_clean(reasoner: Run) -> None:
    found = reasoner("rules", "check")
    assert (found.returncode, found.stderr) == (exits.FINE, "")
    assert re.fullmatch(r"\d+ files: \d+ faults, .* sources; no mistakes, no warnings\.\n", found.stdout)


def test_mistakes_fail(reasoner: Run, tmp_path: Path) -> None:
    (tmp_path / "own.yaml").write_text("faults: {purge-valve-leaks: {shar: 2, at: engin}}\n", encoding="utf-8")
    found = reasoner("rules", "check", "--rules", str(tmp_path))
    assert found.returncode == exits.PROBLEMS and found.stdout == ""
    assert found.stderr.count("error:") == 2 and found.stderr.endswith("Error: 2 mistakes.\n")


def test_warnings_fail_only_when_strict(reasoner: Run) -> None:
    books = ("--only-rules", "--rules", str(BOOKS / "base"), "--rules", str(BOOKS / "books/unused/bad.yaml"))
    found = reasoner("rules", "check", *books)
    assert found.returncode == exits.FINE
    assert found.stderr.count("warning:") == 2 and "no mistakes, 2 warnings." in found.stdout
    found = reasoner("rules", "check", "--strict", *books)
    assert found.returncode == exits.PROBLEMS
    assert "no solved case answers" in found.stderr


def test_strict_judges_a_shops_own_files_only(reasoner: Run, tmp_path: Path) -> None:
    """What no solved case has tried of the shipped rules is nothing that a shop could mend."""
    own = tmp_path / "own.yaml"
    own.write_text("format: 1\nsettings: {hour costs: 90}\n", encoding="utf-8")
    found = reasoner("rules", "check", "--strict", "--rules", str(own))
    assert found.returncode == exits.FINE, found.stderr
    tool = "checks: {new-look: {name: New look, kind: look, ask: 'Is it so?', outcomes: {n: no, y: yes}, sees: ever, "
    tool += "otherwise: {y: 5 %}, given: {purge-valve-leaks: {y: 60 %}}, minutes: 5, source: judgement}}\n"
    own.write_text("format: 1\n" + tool, encoding="utf-8")
    found = reasoner("rules", "check", "--strict", "--rules", str(own))
    assert found.returncode == exits.PROBLEMS and 'no solved case answers "new-look"' in found.stderr
    assert "own.yaml" in found.stderr and "checks-readings.yaml" not in found.stderr


def test_solved_cases_of_the_shop_count(reasoner: Run, tmp_path: Path) -> None:
    """A case that ends with the fault, and answers the check, has tried them; one that is still open has not."""
    base = ("--strict", "--only-rules", "--rules", str(BOOKS / "base"))
    before = reasoner("rules", "check", *base).stderr
    assert 'no solved case ends with "leak"' in before and 'no solved case answers "plugs"' in before
    head = (ROOT / "cases" / "estate-hot-restart.yaml").read_text(encoding="utf-8").partition("events:\n")[0]
    answer = '- {"event": "answer", "step": 1, "check": "plugs", "values": {"1": "darker"}, "sure": "sure"}\n'
    closed = '- {"event": "closed", "step": 2, "state": "proven", "fault": "leak", "where": "cylinder 1"}\n'
    case = tmp_path / "estate-hot-restart.yaml"
    case.write_text(head + "events:\n" + answer, encoding="utf-8")
    assert 'answers "plugs"' in reasoner("rules", "check", *base, "--solved", str(tmp_path)).stderr
    case.write_text(head + "events:\n" + answer + closed, encoding="utf-8")
    after = reasoner("rules", "check", *base, "--solved", str(tmp_path)).stderr
    assert 'with "leak"' not in after and 'answers "plugs"' not in after and 'answers "trim"' in after


def test_nothing_checked_is_an_error(reasoner: Run, tmp_path: Path) -> None:
    found = reasoner("rules", "check", "--rules", str(tmp_path))
    assert found.returncode == exits.PROBLEMS and "no rule files in this folder" in found.stderr


def test_findings_as_json(reasoner: Run) -> None:
    books = ("--only-rules", "--rules", str(BOOKS / "base"), "--rules", str(BOOKS / "books/unused/bad.yaml"))
    found = reasoner("rules", "check", "--json", *books)
    assert found.returncode == exits.FINE and found.stderr == ""
    data = json.loads(found.stdout)
    assert [(item["kind"], item["severity"], item["line"]) for item in data] == [
        ("unused", "warning", n) for n in (2, 4)
    ]
    assert json.loads(reasoner("rules", "check", "--json").stdout) == []


@pytest.mark.parametrize("name", LINTS)
def test_every_warning_is_explained(reasoner: Run, name: str) -> None:
    found = reasoner("rules", "check", "--explain", name)
    assert found.returncode == exits.FINE
    assert found.stdout.startswith(name) and "Good:" in found.stdout and "Bad:" in found.stdout
    assert LINTS[name].mend in found.stdout


def test_a_misspelt_warning(reasoner: Run) -> None:
    found = reasoner("rules", "check", "--explain", "unusd")
    assert found.returncode == exits.USAGE and 'did you mean "unused"?' in found.stderr


# ---- list, show ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("section", ONE)
def test_every_section_is_listed(reasoner: Run, section: str) -> None:
    expected = list(getattr(read_rules([SMALL]), section))
    found = reasoner("rules", "list", section, "--only-rules", "--rules", str(SMALL))
    assert [line.split()[0] for line in found.stdout.splitlines()] == expected
    as_json = reasoner("rules", "list", section, "--json", "--only-rules", "--rules", str(SMALL))
    assert [row["name"] for row in json.loads(as_json.stdout)] == expected


def test_what_is_added_and_what_is_changed_is_marked(reasoner: Run, own: Path) -> None:
    (own / "tools.yaml").write_text("tools: {long-lamp: {name: a long lamp}}\n", encoding="utf-8")
    rows = reasoner("rules", "list", "faults", "--rules", str(own)).stdout.splitlines()
    assert [row for row in rows if row[0] != " "] == [row for row in rows if row.startswith("* purge-valve-leaks ")]
    rows = reasoner("rules", "list", "tools", "--rules", str(own)).stdout.splitlines()
    assert [row.split()[:2] for row in rows if row[0] != " "] == [["+", "long-lamp"]]
    files = reasoner("rules", "list", "files", "--rules", str(own)).stdout.splitlines()
    assert files[0] == "rules/cautions.yaml" and files[-1].endswith("own/tools.yaml")


def test_an_entry_with_the_place_of_every_value(reasoner: Run, own: Path) -> None:
    found = reasoner("rules", "show", "purge-valve-leaks", "--rules", str(own)).stdout
    assert found.startswith("fault purge-valve-leaks\n  name: ")
    value = re.search(r"  share: 200\n      (\S+):1:37\n      replaced \{port: .*\} (rules/\S+):(\d+):(\d+)\n", found)
    assert value and value[1].endswith("own/numbers.yaml")
    line = (ROOT / value[2]).read_text(encoding="utf-8").splitlines()[int(value[3]) - 1]
    assert line[int(value[4]) - 1 :].startswith("{port:")
    assert "said of purge-valve-leaks elsewhere" in found


def test_the_settings_and_codes_are_shown_too(reasoner: Run) -> None:
    assert "  least gain: " in reasoner("rules", "show", "settings").stdout
    assert reasoner("rules", "show", "P0172").stdout.startswith("code P0172\n  System Too Rich")


def test_a_name_of_several_things_shows_them_all(reasoner: Run) -> None:
    book = read_rules([ROOT / "rules"])
    several = next(name for name in book.tools if name in book.checks)
    found = reasoner("rules", "show", several).stdout
    assert f"check {several}\n" in found and f"tool {several}\n" in found


def test_a_near_name_on_a_miss(reasoner: Run) -> None:
    found = reasoner("rules", "show", "purge-valve-leak")
    assert (found.returncode, found.stdout) == (exits.PROBLEMS, "")
    assert 'nothing in the rules is called "purge-valve-leak"; did you mean "purge-valve-leaks"?' in found.stderr
    found = reasoner("rules", "show", "gas chromatography")
    assert found.returncode == exits.PROBLEMS and "the word stands in oil-sample" in found.stderr


# ---- new -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["fault", "check"])
def test_a_skeleton_to_a_file_and_never_over_one(reasoner: Run, kind: str, tmp_path: Path) -> None:
    file = tmp_path / "own" / "new.yaml"
    found = reasoner("rules", "new", kind, "my-own", "--to", str(file))
    assert found.returncode == exits.FINE and str(file) in found.stdout
    text = file.read_text(encoding="utf-8")
    assert text == reasoner("rules", "new", kind, "my-own").stdout and "  my-own:" in text
    again = reasoner("rules", "new", kind, "another", "--to", str(file))
    assert again.returncode == exits.PROBLEMS and "is there already" in again.stderr
    assert file.read_text(encoding="utf-8") == text
    refused = reasoner("rules", "check", "--rules", str(file))
    assert refused.returncode == exits.PROBLEMS
    assert set(re.findall(r"\[([a-z-]+)\]$", refused.stderr, re.M)) == {"left-over"}


def test_a_skeleton_without_a_name_or_with_a_bad_one(reasoner: Run, tmp_path: Path) -> None:
    assert "\n  REPLACE ME:" in reasoner("rules", "new", "fault").stdout
    assert reasoner("rules", "new", "fault", "My Fault").returncode == exits.USAGE
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="utf-8")
    found = reasoner("rules", "new", "fault", "--to", str(blocked / "own.yaml"))
    assert found.returncode == exits.PROBLEMS and "cannot be written" in found.stderr


# ---- graph, schema ---------------------------------------------------------------------------------------------------


def test_the_graph_in_every_format(reasoner: Run) -> None:
    about = ("rules", "graph", "--about", "purge-valve-leaks", "--format")
    graphml = nx.parse_graphml(reasoner(*about, "graphml").stdout)
    data = nx.node_link_graph(json.loads(reasoner(*about, "json").stdout), edges="edges")
    dot = reasoner(*about, "dot").stdout
    assert "fault purge-valve-leaks" in graphml and "check purge-valve-holds-vacuum" in graphml
    assert set(data) == set(graphml) and all(f'"{node}"' in dot for node in data)
    assert dot.startswith("digraph rules {") and dot.endswith("}\n")
    missed = reasoner("rules", "graph", "--about", "no-such-thing")
    assert missed.returncode == exits.PROBLEMS and "no-such-thing" in missed.stderr


def test_the_schema_knows_the_names(reasoner: Run, own: Path) -> None:
    schema = json.loads(reasoner("rules", "schema").stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    judge = jsonschema.Draft202012Validator(schema)
    assert not list(judge.iter_errors({"faults": {"purge-valve-leaks": {"share": 200}}}))
    assert list(judge.iter_errors({"faults": {"purge-valve-leak": {"share": 200}}}))
    whole = jsonschema.Draft202012Validator(json.loads(reasoner("rules", "schema", "--whole").stdout))
    assert list(whole.iter_errors({"faults": {"purge-valve-leaks": {"share": 200}}}))
