"""`reasoner measure` from outside: every example runs, every figure is there as JSON, what is wrong is one line."""

from __future__ import annotations

import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from reasoner.cli import exits
from reasoner.cli.main import MEASURE_COMMANDS, cli
from tests.cli.conftest import Run

README = Path(__file__).parent.parent.parent / "README.md"
COMMANDS = ("trims", "air", "gas", "hold", "cylinders", "oil", "purge", "fuel", "flow", "replies")


def example(name: str) -> list[str]:
    group = cli.get_command(None, "measure")  # type: ignore[arg-type]
    command = group.get_command(None, name)  # type: ignore[union-attr, arg-type]
    assert command is not None and command.epilog is not None
    return shlex.split(command.epilog.removeprefix("Example: "))[1:]


def test_all_are_listed() -> None:
    assert set(COMMANDS) <= set(MEASURE_COMMANDS)


@pytest.mark.parametrize("name", COMMANDS)
def test_help_loads_nothing_heavy(name: str) -> None:
    code = (
        "import contextlib, io, sys\nfrom reasoner.cli.main import cli\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n"
        f"    cli(['measure', {name!r}, '--help'])\n"
        "print({'numpy', 'networkx', 'rich', 'yaml'} & set(sys.modules))"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=README.parent)
    assert found.stdout.strip() == "set()", found.stdout + found.stderr


@pytest.mark.parametrize("name", COMMANDS)
def test_the_example_of_every_help_runs(reasoner: Run, name: str) -> None:
    arguments = example(name)
    assert arguments[:2] == ["measure", name]
    helped = reasoner("measure", name, "--help")
    assert helped.returncode == exits.FINE and "Example: reasoner measure" in helped.stdout
    found = reasoner(*arguments)
    assert found.returncode == exits.FINE, found.stderr
    assert found.stdout and not found.stderr
    if name != "replies":
        assert re.search(r"(?m)^ +means  ", found.stdout) and re.search(r"(?m)^ +how sure  ", found.stdout)
    document = json.loads(reasoner(*arguments, "--json").stdout)
    for one in document.values() if isinstance(document, dict) else ():
        assert {"figures", "formula", "means", "sure", "warns"} == set(one)


def test_a_leak_in_figures(reasoner: Run) -> None:
    """T(3) = -24, T(12) = -6 %: 3.97 mL/min at a scale of 1, worked out apart from this code."""
    found = reasoner(
        "measure",
        "trims",
        "--idle-air",
        "3 g/s",
        "--idle-trim=-24",
        "--raised-air",
        "12 g/s",
        "--raised-trim=-6",
        "--json",
    )
    figures = {f["name"]: f for f in json.loads(found.stdout)["trims by airflow"]["figures"]["1"]}
    assert figures["leak"]["value"] == pytest.approx(3.97, abs=0.01)
    assert figures["leak"]["low"] < 3.97 < figures["leak"]["high"]
    assert figures["scale"]["value"] == pytest.approx(0, abs=0.1)


def test_two_banks_and_imperial_units(reasoner: Run) -> None:
    """0.39683 lb/min are 3 g/s."""
    found = reasoner(
        "measure",
        "trims",
        "--idle-air=0.39683 lb/min 750 rpm",
        "--idle-trim=-24 / -2",
        "--raised-air=12 g/s 2500 rpm",
        "--raised-trim",
        "-6 / -1",
        "--cylinders",
        "6",
    )
    assert "Only bank 1 is rich" in found.stdout
    assert re.search(r"(?m)^  1  widest -24", found.stdout) and re.search(r"(?m)^  2  widest -2", found.stdout)


def test_several_at_once(reasoner: Run) -> None:
    found = reasoner("measure", "cylinders", "--counts", "4 0 62 3", "--bank-trim=-25")
    assert "MISFIRE COUNTS" in found.stdout and "LEAKER AND OTHERS" in found.stdout
    assert "lambda 0.57, the others at 1.33" in " ".join(found.stdout.split())
    assert "INJECTOR BENCH" not in found.stdout


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("trims", "--idle-air", "3 V", "--idle-trim=-24"), "Wanted: airflow and engine speed"),
        (("trims", "--idle-air", "3", "--idle-trim", "-240"), "Wanted: a number in %, -100 to 100"),
        (("gas", "--co", "14", "--co2", "2", "--hc", "50", "--o2", "0.3"), "are the two swapped?"),
        (("gas", "--co", "0.3", "--co2", "2 bar", "--hc", "50", "--o2", "0.3"), "bar is a unit of pressure"),
        (("hold", "--rail-before", "5", "--rail-after", "6", "--minutes", "1"), "the pressure rose"),
        (("hold", "--rail-before", "40 psi", "--rail-after", "0.1", "--minutes", "1"), "0.3 to 35"),
        (("air", "--airflow", "600", "--speed", "3000", "--litres", "2"), "is no engine's"),
        (("flow", "--rated-pressure", "300", "--pressure", "3OO"), "perhaps: 300"),
        (("cylinders", "--counts", "1=4 1=5"), "one number for 1"),
        (("oil", "--sump", "4.5"), "fuel found by the laboratory is wanted"),
        (("fuel", "--sample", "90", "--gained", "95"), "what it gained"),
        (("purge", "--flow", "-3", "--vapour", "20", "--airflow", "3"), "0 to 200"),
        (("replies", "43 O1 01 72"), "perhaps: 43 01 01 72"),
    ],
)
def test_what_is_wrong_is_one_line_with_its_mend(reasoner: Run, arguments: tuple[str, ...], says: str) -> None:
    found = reasoner("measure", *arguments)
    assert found.returncode == exits.PROBLEMS
    assert found.stdout == ""
    assert found.stderr.count("\n") == 1 and found.stderr.startswith("Error: ") and says in found.stderr


def test_banks_the_wrong_way_round_are_said_though_it_can_be_computed(reasoner: Run) -> None:
    air = ("--idle-air", "5 700", "--raised-air", "20 2500", "--load-air", "60 3000")
    trims = ("--idle-trim=-40/0", "--raised-trim=1/-16", "--load-trim=-4/0")
    found = reasoner("measure", "trims", *air, *trims)
    assert found.returncode == exits.FINE
    assert "write 1=-16 2=1" in " ".join(found.stdout.split())


@pytest.mark.parametrize(
    "arguments", [("hold", "--trim=-20"), ("hold",), ("replies", ""), ("trim",), ("gas", "--cox", "1")]
)
def test_wrong_use(reasoner: Run, arguments: tuple[str, ...]) -> None:
    found = reasoner("measure", *arguments)
    assert found.returncode == exits.USAGE and "Traceback" not in found.stderr


# ---- replies ---------------------------------------------------------------------------------------------------------


def test_replies_of_every_service(reasoner: Run) -> None:
    """Bytes and values: SAE J1979 scalings (see tests/measure/test_obd.py)."""
    pasted = [
        "03",
        "7E8 04 43 01 01 72",
        "47 01 13 45",
        "4A 00",
        "41 06 5A",
        "41 01 81 07 65 01",
        "42 02 00 01 72 05 00 83",
        "46 A2 0B 24 00 04 00 00 FF FF",
    ]
    found = reasoner("measure", "replies", stdin="\n".join(pasted))
    assert found.returncode == exits.FINE, found.stderr
    for line in (
        "stored: P0172 System Too Rich (Bank 1)",
        "pending: P1345 is maker-defined",
        "no codes of this kind",
        "short-term trim, bank 1: -29.69 %",
        "not complete since clearing: catalyst",
        "freeze frame 0, of P0172",
        "coolant temperature: 91 °C",
        "misfire, cylinder 1, test 0B: 4 counts",
    ):
        assert line in found.stdout, line


def test_replies_as_json(reasoner: Run) -> None:
    found = json.loads(reasoner("measure", "replies", "43 01 01 72", "41 0C 0B B8", "7F 0A 11", "--json").stdout)
    assert [reply["reply"] for reply in found] == ["codes", "current", "refused"]
    assert found[0]["codes"][0]["code"] == "P0172" and found[1]["values"][0]["value"] == 750


# ---- README ----------------------------------------------------------------------------------------------------------


def test_the_readings_in_the_readme_are_real(reasoner: Run) -> None:
    section = README.read_text(encoding="utf-8").split("\n## Readings\n")[1].split("\n## ")[0]
    shown = re.findall(r"```text\n\$ (reasoner measure (?:[^\n]*\\\n)*[^\n]*)\n(.*?)```", section, re.S)
    assert len(shown) >= 2
    for command, output in shown:
        found = reasoner(*shlex.split(command.replace("\\\n", " "))[1:])
        assert found.stdout == output, command
    for name in COMMANDS:
        assert f"`reasoner measure {name}`" in section
