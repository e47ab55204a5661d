"""`reasoner measure log` and `reasoner measure columns`, as a person calls them."""

from __future__ import annotations

import json
import os
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner

from reasoner.cli import exits
from reasoner.cli.main import cli
from tests.scanlog.drives import Fault, Setting, csv
from tests.scanlog.look import driven

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
    assert "runs rich now and then" in out
    assert out.count("\n") <= 48, "two screens"
    assert "TRIM AGAINST AIRFLOW, BANK 1" in run("log", log, "--litres", 2, "--all")[1]


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
    assert set(json.loads(run("columns", log, "--json")[1])) == {"columns"}
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


README = Path(__file__).parents[2] / "README.md"


def test_the_log_in_the_readme_is_real(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The beginning of what is printed, word by word."""
    monkeypatch.setenv("COLUMNS", "80")
    section = README.read_text(encoding="utf-8").split("\n## Scan logs\n")[1].split("\n## ")[0]
    command, shown = section.split("```text\n$ reasoner measure ")[1].split("```")[0].split("\n", 1)
    assert command == "log drive.csv --litres 2"
    _, out, _ = run("log", log, "--litres", 2)
    if os.environ.get("REFRESH_README"):
        text = README.read_text(encoding="utf-8")
        fresh = out.split("\nHOW OFTEN")[0].rstrip("\n") + "\n"
        README.write_text(text.replace(shown, fresh), encoding="utf-8")
        return
    assert shown.count("\n") > 8 and out.startswith(shown)


# ---- the picture -----------------------------------------------------------------------------------------------------

NAMESPACE = "{http://www.w3.org/2000/svg}"
CHARACTER, LINE = 6.4, 12.0  # px: mean width of a character of 12 px sans-serif (a half em and a bit), and its height


def boxes(root: ElementTree.Element) -> list[tuple[float, float, float, float, str]]:
    """left, top, right, bottom of each text."""
    found = []
    for text in root.iter(f"{NAMESPACE}text"):
        said, x, y = text.text or "", float(text.attrib["x"]), float(text.attrib["y"])
        size = float(text.attrib.get("font-size", 12)) / 12
        wide = CHARACTER * size * len(said)
        left = x - {"middle": wide / 2, "end": wide}.get(text.attrib.get("text-anchor", "start"), 0.0)
        found.append((left, y - LINE * size * 0.8, left + wide, y, said))
    return found


@pytest.mark.parametrize(
    "setting",
    [LEAK, Setting(minutes=(25.0, 15.0), soaks=(20.0,), banks=2, fault=Fault(leak=0.05, bank=2, when=((2700, 3200),)))],
)
def test_the_picture_can_be_read(setting: Setting, tmp_path: Path) -> None:
    """Texts lie apart and inside, on a ground of their own (whatever the viewer's), with units; nothing is cut off."""
    file, picture = tmp_path / "drive.csv", tmp_path / "drive.svg"
    file.write_bytes(csv(driven(5, setting)))
    run("log", file, "--svg", picture)
    root = ElementTree.parse(picture).getroot()
    width, height = map(float, root.attrib["viewBox"].split()[2:])
    ground = next(iter(root.iter(f"{NAMESPACE}rect"))).attrib
    assert (ground["fill"], ground["width"], ground["height"]) == ("white", "100%", "100%")
    assert root.attrib["fill"] not in ("white", "#fff", "none")
    texts = boxes(root)
    for left, top, right, bottom, said in texts:
        assert left >= 0 and top >= 0 and right <= width + CHARACTER and bottom <= height, said
    for one, other in combinations(texts, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert apart, f"{one[4]!r} lies over {other[4]!r}"
    said = [text[4] for text in texts]
    assert any(t.endswith(" min") for t in said) and any(t.endswith(" g/s") for t in said) and "0 %" in said
    lowest = min(float(t.split()[0]) for t in said if t.endswith(" %"))
    trims = [
        t
        for track in json.loads(run("log", file, "--json")[1])["picture"]["tracks"]
        for t in track["trim"]
        if t is not None
    ]
    assert lowest <= min(trims)


def test_a_pipe_and_a_device_are_refused_and_a_refusal_names_its_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.csv")
    for file in (tmp_path / "pipe.csv", Path("/dev/zero"), tmp_path):
        status, out, err = run("log", file)
        assert status != exits.FINE and not out
        assert err.count("\n") == 1 and f'"{file}" is no file' in err
    (tmp_path / "empty.csv").write_bytes(b"")
    for command in ("log", "columns"):
        assert run(command, tmp_path / "empty.csv")[2].startswith("empty.csv cannot be read: there is nothing")


def test_the_page_keeps_within_80_columns(log: Path) -> None:
    assert max(map(len, run("log", log, "--litres", 2)[1].splitlines())) <= 80
