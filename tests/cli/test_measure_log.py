"""`reasoner measure log` and `reasoner measure columns`, as a person calls them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from reasoner.cli import exits
from reasoner.cli.main import cli
from tests.measure.logs.drives import Fault, Setting, csv
from tests.measure.logs.look import driven

LEAK = Setting(minutes=(20.0,), start=85.0, fault=Fault(leak=0.05, when=((300.0, 700.0),)))


@pytest.fixture
def log(tmp_path: Path) -> Path:
    file = tmp_path / "drive.csv"
    file.write_bytes(csv(driven(100, LEAK)))
    return file


def run(*arguments: object) -> tuple[int, str, str]:
    found = CliRunner().invoke(cli, ["measure", *map(str, arguments)])
    return found.exit_code, found.stdout, found.stderr


def test_a_log(log: Path) -> None:
    status, out, err = run("log", log, "--litres", 2)
    assert (status, err) == (exits.FINE, "")
    assert "goes to and fro" in out
    assert "TRIM AGAINST AIRFLOW, BANK 1" in out


def test_as_json_and_as_a_picture(log: Path, tmp_path: Path) -> None:
    status, out, _ = run("log", log, "--json", "--svg", tmp_path / "drive.svg")
    assert status == exits.FINE
    document = json.loads(out)
    assert document["banks"][0]["switching"] is True
    assert document["answers"][0]["condition"]
    assert (tmp_path / "drive.svg").read_text().startswith("<svg")


def test_columns_proposed_and_used(log: Path, tmp_path: Path) -> None:
    status, out, _ = run("columns", log)
    assert status == exits.FINE
    mapping = tmp_path / "columns.yaml"
    mapping.write_text(out, encoding="utf-8")
    with_mapping = json.loads(run("log", log, "--json", "--columns", mapping)[1])
    without = json.loads(run("log", log, "--json")[1])
    assert with_mapping["answers"] == without["answers"]


@pytest.mark.parametrize(
    ("content", "says"),
    [(b"", "nothing in the file"), (b"hello\n", "no header"), (bytes(range(256)) * 8, "not a text file")],
)
def test_what_cannot_be_read(tmp_path: Path, content: bytes, says: str) -> None:
    file = tmp_path / "bad.csv"
    file.write_bytes(content)
    status, out, err = run("log", file)
    assert (status, out) == (exits.PROBLEMS, "")
    assert says in err


def test_a_file_that_is_not_there_and_a_mapping_with_mistakes(log: Path, tmp_path: Path) -> None:
    status, _, err = run("log", tmp_path / "none.csv")
    assert status == exits.PROBLEMS
    assert "no such file" in err
    assert run("columns", tmp_path)[0] == exits.PROBLEMS
    mapping = tmp_path / "columns.yaml"
    mapping.write_text("columns:\n  A: {quantity: engine sped}\n")
    status, _, err = run("log", log, "--columns", mapping)
    assert status == exits.PROBLEMS
    assert "columns.yaml:2:17" in err
    assert 'did you mean "engine speed"?' in err
    status, _, err = run("log", log, "--svg", tmp_path / "no" / "such" / "place.svg")
    assert status == exits.PROBLEMS


@pytest.mark.parametrize("name", ["log", "columns"])
def test_help_ends_with_an_example(name: str) -> None:
    status, out, _ = run(name, "--help")
    assert status == exits.FINE
    assert f"Example: reasoner measure {name}" in out.splitlines()[-1]
