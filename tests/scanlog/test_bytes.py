"""Any bytes give a document or a refusal with its reason: never a traceback, never a hang."""

from __future__ import annotations

import json
import os
from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reasoner.cli.measure_log import plain_log
from reasoner.report.log_svg import log_svg
from reasoner.report.log_text import log_text, no_log_text
from reasoner.scanlog.analysis import Engine, analyse
from reasoner.scanlog.conditions import RULE_NAMES
from reasoner.scanlog.document import LogDocument
from reasoner.scanlog.mapping import propose, read_mapping
from reasoner.scanlog.reading import Columns, NoLog
from tests.scanlog.drives import HEADERS, Setting, csv, drive

EXAMPLES = int(os.environ.get("REASONER_LOG_EXAMPLES", "60"))  # the long form: 2000
quick = settings(
    max_examples=EXAMPLES,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    derandomize=True,
)


def read_and_shown(content: bytes, columns: Columns | None = None) -> LogDocument | NoLog:
    """Through the whole way that a file goes, printers too."""
    found = analyse(content, "log.csv", columns, Engine(2.0, 4), RULE_NAMES)
    if isinstance(found, NoLog):
        assert found.why
        assert found.mend
        assert no_log_text(found, "log").isprintable() or "\n" in no_log_text(found, "log")
    else:
        page = log_text(found)
        assert not [c for c in page if not c.isprintable() and c != "\n"]
        assert log_svg(found).startswith("<svg")
        json.loads(json.dumps(plain_log(found), allow_nan=False))
    return found


@cache
def real() -> bytes:
    return csv(drive(5, Setting(minutes=(8,), start=85)))


@quick
@given(st.binary(max_size=2000))
def test_any_bytes(content: bytes) -> None:
    read_and_shown(content)
    assert isinstance(propose(content), str | NoLog)
    read_mapping(content, "mapping.yaml")


CELL = st.one_of(
    st.floats(allow_nan=True, allow_infinity=True).map(str),
    st.integers(-(10**6), 10**6).map(str),
    st.sampled_from(
        ["", "n/a", "-", "1,5", "12:30:01.5", "31.12.2026 23:59:59", "open", "closed loop", '"', "\x00", "é"]
    ),
    st.text(max_size=6),
)


@quick
@given(
    st.lists(st.sampled_from(["Time (s)", "time", "Clock", "Date", *HEADERS.values()]), min_size=1, max_size=6),
    st.sampled_from([",", ";", "\t", "|"]),
    st.lists(st.lists(CELL, max_size=7), max_size=40),
    st.sampled_from(["utf-8", "utf-16", "utf-8-sig", "cp1252"]),
    st.sampled_from(["\n", "\r\n", "\r"]),
)
def test_any_table(header: list[str], separator: str, rows: list[list[str]], encoding: str, end: str) -> None:
    text = end.join([separator.join(header), *(separator.join(row) for row in rows)])
    read_and_shown(text.encode(encoding, "replace"))


@quick
@given(st.data())
def test_a_real_log_damaged(data: st.DataObject) -> None:
    """Bytes struck out, put in, written over; pieces moved and doubled; an end torn off."""
    content = bytearray(real())
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(content)))
        length = data.draw(st.integers(0, 400))
        how = data.draw(st.sampled_from(["strike", "put", "double", "zero", "tear"]))
        if how == "strike":
            del content[at : at + length]
        elif how == "put":
            content[at:at] = data.draw(st.binary(max_size=40))
        elif how == "double":
            content[at:at] = content[at : at + length]
        elif how == "zero":
            content[at : at + length] = bytes(min(length, max(0, len(content) - at)))
        else:
            del content[max(200, at) :]
    read_and_shown(bytes(content))


@quick
@given(st.lists(st.floats(-1e12, 1e12), min_size=10, max_size=300), st.sampled_from([1.0, 1e-3, 1e6]))
def test_any_clock(times: list[float], scale: float) -> None:
    rows = [f"{t * scale:.3f},{i % 20},{700 + i}" for i, t in enumerate(times)]
    read_and_shown("\n".join(["time (s),short term fuel trim bank 1 (%),engine speed (rpm)", *rows]).encode())


@pytest.mark.parametrize(
    "content",
    [
        b"a" * 3_000_000,
        b'"' + b"x,\n" * 200_000,
        b"time,rpm\n" * 100_000,
        b"time (s),rpm\n" + b"rpm speed time,load throttle\n" * 50_000,
        b"time;rpm\n" + b";" * 2_000_000,
        b"time (s),rpm\n" + b"".join(b"%d,%d\n" % (i * 50, i % 900) for i in range(60_000)),
        b"time (s),rpm\n" + b"".join(b"%d,800\n" % ((i * 7919) % 100_003) for i in range(60_000)),
        b"(" * 100_000 + b",rpm,time\n1,2,3\n",
        "\n".join(["time (s),rpm", *(f"{i},{'9' * 400}" for i in range(2000))]).encode(),
    ],
    ids=["one-line", "open-quote", "headers", "other-headers", "cells", "slow", "shuffled", "brackets", "long-numbers"],
)
def test_nothing_hangs(content: bytes) -> None:
    read_and_shown(content)
