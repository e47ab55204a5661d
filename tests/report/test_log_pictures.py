"""The page and the pictures of a log: complete, within their width, safe to print, well formed."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from reasoner.report.log_svg import log_svg
from reasoner.report.log_text import drive_chart, flow_chart, log_text, no_log_text
from reasoner.scanlog.analysis import analyse
from reasoner.scanlog.document import LogDocument
from reasoner.scanlog.reading import NoLog
from tests.scanlog.drives import Fault, Setting
from tests.scanlog.look import seen

WHEN = ((900.0, 1400.0), (1700.0, 2000.0))
LEAK = Setting(minutes=(36.0,), fault=Fault(leak=0.045, when=WHEN))
TWO = Setting(minutes=(20.0, 8.0), soaks=(20.0,), banks=2, fault=Fault(leak=0.03, bank=2, when=((900.0, 1150.0),)))


@pytest.mark.parametrize("setting", [LEAK, TWO], ids=["one bank", "two banks"])
@pytest.mark.parametrize("width", [60, 80, 120])
def test_the_page_keeps_within_its_width(setting: Setting, width: int) -> None:
    document = seen(100, setting)
    page = log_text(document, width)
    tables = [line for line in page.splitlines() if "  " in line.strip()]  # columns are as wide as what is in them
    assert max(map(len, (line for line in page.splitlines() if line not in tables))) <= width
    assert max(map(len, page.splitlines())) <= max(width, 84)
    for said in document.says:
        assert " ".join(said.split()) in " ".join(page.split())


def test_plain_ascii_where_nothing_else_can_be_shown() -> None:
    page = log_text(seen(100, LEAK), 80, blocks=False)
    assert page.replace("°", "").isascii()


def test_spells_are_shaded_where_they_are() -> None:
    document = seen(100, LEAK)
    picture = document.picture
    chart = drive_chart(picture, picture.tracks[0], 80)
    top = chart[0][6:].ljust(74)
    times = [picture.time[round(i * len(picture.time) / 74)] for i in range(74)]
    shaded = [t for t, mark in zip(times, top, strict=True) if mark == "░"]
    spells = document.banks[0].spells
    assert spells
    assert all(any(s.start - 70 <= t <= s.end + 70 for s in spells) for t in shaded)
    assert min(len([t for t in shaded if s.start <= t <= s.end]) for s in spells) > 3


def test_trim_against_airflow_has_both_states_and_their_lines() -> None:
    chart = "\n".join(flow_chart(seen(100, LEAK).picture.clouds[0], 80))
    assert all(mark in chart for mark in "#*sq")
    assert "10" in chart


@pytest.mark.parametrize("setting", [LEAK, TWO], ids=["one bank", "two banks"])
def test_the_svg_is_well_formed_and_everything_lies_inside(setting: Setting) -> None:
    document = seen(100, setting)
    root = ElementTree.fromstring(log_svg(document))
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    kinds = [element.tag.split("}")[1] for element in root.iter()]
    assert {"polyline", "rect", "text", "path", "circle"} <= set(kinds)
    for element in root.iter():
        for name in ("x", "cx", "x1", "x2"):
            assert 0 <= float(element.attrib.get(name, 0)) <= width
        for name in ("y", "cy", "y1", "y2"):
            assert 0 <= float(element.attrib.get(name, 0)) <= height
        for point in element.attrib.get("points", "").split():
            x, y = map(float, point.split(","))
            assert 0 <= x <= width
            assert 0 <= y <= height
    text = "".join(element.text or "" for element in root.iter())
    assert all(f"Bank {bank.number}" in text for bank in document.banks)


def test_no_line_is_drawn_over_a_pause() -> None:
    document = seen(100, TWO)
    pause = (20 * 60, 40 * 60)
    picture = document.picture
    scale = 1000 / picture.time[-1]
    for points in re.findall(
        r'<polyline points="([^"]+)" fill="none" stroke="[^"]+" stroke-width="1.2"', log_svg(document)
    ):
        seconds = [(float(p.split(",")[0]) - 60) / scale for p in points.split()]
        assert not (min(seconds) < pause[0] - 60 and max(seconds) > pause[1] + 60)


def test_what_a_file_holds_cannot_reach_the_terminal_or_the_picture() -> None:
    evil = "\x1b[31m<script>\u202e"
    rows = "".join(f"{i},{800 + i % 3},{-i % 7},1\n" for i in range(200))
    content = f"time (s),rpm,SHRTFT1,{evil}\n{rows}199.5,x{evil},1,1\n".encode()
    document = analyse(content, f"{evil}.csv")
    assert isinstance(document, LogDocument)
    page, picture = log_text(document), log_svg(document)
    assert "\x1b" not in page + picture
    assert "\u202e" not in page + picture
    assert "<script>" not in picture
    ElementTree.fromstring(picture)


def test_a_refusal_says_what_would_mend_it() -> None:
    refused = analyse(b"rpm;load\n1;2\n")
    assert isinstance(refused, NoLog)
    assert "no column of time" in no_log_text(refused, "drive.csv")
    assert "What would mend it" in no_log_text(refused, "drive.csv")


@pytest.mark.parametrize("setting", [LEAK, TWO], ids=["one bank", "two banks"])
@pytest.mark.parametrize("name", ["log.csv", "w" * 300 + ".csv"], ids=["short", "long"])
def test_no_words_on_top_of_each_other_or_cut_off(setting: Setting, name: str) -> None:
    """Every text as a box of 0.6 em a letter and 1.2 em high: apart from each other by a little, inside the picture."""
    tree = ElementTree.fromstring(log_svg(replace(seen(100, setting), name=name)))
    *_, width, height = map(float, tree.attrib["viewBox"].split())
    boxes = []
    for text in tree.iter("{http://www.w3.org/2000/svg}text"):
        size = float(text.get("font-size", tree.attrib["font-size"]))
        wide = 0.6 * size * len(text.text or "")
        left = float(text.attrib["x"]) - {"middle": wide / 2, "end": wide}.get(text.get("text-anchor", "start"), 0.0)
        base = float(text.attrib["y"])
        boxes.append((left, base - size, left + wide, base + 0.2 * size, text.text))
    assert len(boxes) > 20
    for a in boxes:
        assert a[0] >= 0 and a[1] >= 0 and a[2] <= width and a[3] <= height, a
    for i, a in enumerate(boxes):
        for b in boxes[:i]:
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] + 2 <= b[1] or b[3] + 2 <= a[1], (a, b)
