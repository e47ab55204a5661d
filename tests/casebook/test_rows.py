"""Tables as spreadsheets leave them: read, or refused line by line."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.casebook.rows import read_rows
from reasoner.casebook.trouble import CasebookError

CSV, YAML = Path("jobs.csv"), Path("jobs.yaml")


@pytest.mark.parametrize("sign", [",", ";", "\t", "|"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_any_sign_and_line_end(sign: str, end: str) -> None:
    text = end.join([sign.join(["Job", "Test"]), sign.join(["1", '"two, words"']), "", sign.join(["2", ""])])
    found = read_rows(text.encode(), CSV)
    assert found.headings == ("Job", "Test")
    assert [dict(line.cells) for line in found.lines] == [{"Job": "1", "Test": "two, words"}, {"Job": "2"}]
    assert [line.number for line in found.lines] == [2, 4]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_encodings(encoding: str) -> None:
    found = read_rows("Job,Wort\n1,Öl\n".encode(encoding), CSV)
    assert found.lines[0].cells["Wort"] == "Öl" and not found.notes


def test_the_western_code_page_is_read_and_said() -> None:
    found = read_rows("Job,Wort\n1,Öl\n".encode("cp1252"), CSV)
    assert found.lines[0].cells["Wort"] == "Öl" and found.notes


def test_a_cell_over_several_lines_counts_from_its_first() -> None:
    found = read_rows(b'Job,Says\n1,"line one\nline two"\n2,short\n', CSV)
    assert [line.number for line in found.lines] == [2, 4]


def test_headings_printed_again_and_empty_rows_are_passed_over() -> None:
    found = read_rows(b"Job,Test\n1,a\n,\nJob,Test\n2,b\n", CSV)
    assert [line.cells["Job"] for line in found.lines] == ["1", "2"]


def test_what_cannot_be_read_is_refused_by_its_line() -> None:
    found = read_rows(b'Job,Test\n1,a,b,c\n2,b\n3,"open\n', CSV)
    assert [line.cells["Job"] for line in found.lines] == ["2"]
    assert [refused.number for refused in found.refused] == [2, 4]


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\n\n",
        b"Job,Job\n1,2\n",
        b"a\x00b,c\n",
        b"\x7fELF\x01\x02",
        b"Job\n<<<<<<< ours\n1\n=======\n2\n>>>>>>> x\n",
    ],
)
def test_what_is_no_table_is_one_clear_line(data: bytes) -> None:
    with pytest.raises(CasebookError) as found:
        read_rows(data, CSV)
    assert "\n" not in found.value.one_line


def test_a_yaml_list_of_rows() -> None:
    found = read_rows(b"- {Job: 1, Test: no}\n- just text\n- {Job: 2, Test: [a]}\n- {Job: 3}\n", YAML)
    assert [dict(line.cells) for line in found.lines] == [{"Job": "1", "Test": "no"}, {"Job": "3"}]
    assert [refused.number for refused in found.refused] == [2, 3]


@pytest.mark.parametrize("data", [b"a: b\n", b"- &a {x: *a}\n", b"- [", b"- !!python/object:os.system {}\n"])
def test_foreign_yaml_is_refused(data: bytes) -> None:
    with pytest.raises(CasebookError):
        read_rows(data, YAML)


@given(st.binary(max_size=200))
def test_any_bytes_give_rows_or_a_refusal(data: bytes) -> None:
    for path in (CSV, YAML):
        try:
            found = read_rows(data, path)
        except CasebookError:
            continue
        assert all(all(isinstance(cell, str) for cell in line.cells.values()) for line in found.lines)
