"""`reasoner diagnose --log`: from a file to the case on disk."""

from __future__ import annotations

from pathlib import Path

from reasoner.cli import exits
from tests.cli.conftest import Run
from tests.cli.test_diagnose import CASES, events_of, lines_of, said
from tests.session.test_logged import log


def test_a_log_is_taken_in_before_the_first_question(reasoner: Run, environ: dict[str, str], tmp_path: Path) -> None:
    (tmp_path / "drive.csv").write_bytes(log())
    (tmp_path / "bad.csv").write_bytes(b"nothing")
    files = [str(tmp_path / name) for name in ("bad.csv", "drive.csv", "gone.csv")]
    options = [part for file in files for part in ("--log", file)]
    again = f'{{"type": "log", "file": {str(tmp_path / "drive.csv")!r}}}\n'.replace("'", '"')
    found = reasoner("diagnose", "c", "--json", *options, stdin=again + '{"type": "undo"}\n')
    replies = lines_of(found)
    for reply in replies:
        said("told", reply)
    assert [r["type"] for r in replies] == ["state", "error", "error", "error", "state"]
    assert replies[0]["step"] == 1 and "taken in before" in replies[3]["message"]
    events = events_of(environ)
    assert events[0]["event"] == "log" and events[-1]["undone"] == events[0]["step"]


def test_with_a_script_and_a_mapping(reasoner: Run, environ: dict[str, str], tmp_path: Path) -> None:
    (tmp_path / "drive.csv").write_bytes(log())
    (tmp_path / "bad.yaml").write_text("columns: [", encoding="utf-8")
    script = ("diagnose", "--answers", str(CASES / "estate-hot-restart.yaml"), "--log", str(tmp_path / "drive.csv"))
    found = reasoner(*script)
    assert found.returncode == exits.FINE, found.stderr
    assert "- warm idle: Trims over airflow: bank 1 rich at idle" in found.stdout and "showing" in found.stdout
    refused = reasoner(*script, "--columns", str(tmp_path / "bad.yaml"))
    assert refused.returncode == exits.PROBLEMS and refused.stderr.count("\n") == 1 and "bad.yaml" in refused.stderr
    gone = reasoner(*script[:-1], str(tmp_path))
    assert gone.returncode == exits.PROBLEMS and "is no file" in gone.stderr
