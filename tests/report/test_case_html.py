"""The report of a case: what stands in it, that nothing in it acts, and how a browser shows and prints it."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reasoner.casebook.shape import Case, load_sound
from reasoner.history.dossier import Dossier, dossier
from reasoner.repair.prices import usual
from reasoner.report.case_html import case_html
from reasoner.report.drawing import set_apart, svg_picture, svg_text
from reasoner.report.log_svg import log_svg
from tests.scanlog.drives import Fault, Setting
from tests.scanlog.look import seen
from tests.shipped import CASES, LONG, garage, some

ROOT = Path(__file__).parents[2]
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
QUIET = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
]


def report_of(case: Case) -> Dossier:
    return dossier(case, garage(), usual(garage().book))


@cache
def shipped_report(path: Path) -> Dossier:
    return report_of(load_sound(path))


@cache
def page_of(path: Path, customer: bool = False) -> str:
    return case_html(shipped_report(path), customer=customer)


class Page(HTMLParser):
    """What a browser makes of it: elements, their attributes, and text. Void elements need no end."""

    VOID = ("meta", "br", "line", "circle", "polyline")

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.text += data


@pytest.mark.parametrize("path", some(0, 12), ids=lambda path: path.stem)
def test_every_case_has_its_page(path: Path) -> None:
    told = shipped_report(path)
    page = Page(page_of(path))
    assert not page.open, "every element is closed"
    words = " ".join(page.text.split())
    assert told.story.complaint.split(".")[0] in words
    for title, state in told.story.found:
        assert f"{title} ({state})" in words
    for part, courses in zip(told.story.parts, told.courses, strict=True):
        assert all(len(course.chances) == len(part.moments) + 1 for course in courses)
        assert all(moment.text in words for moment in part.moments if "  " not in moment.text)
    pictures = page_of(path).count("<svg")
    assert pictures and page_of(path).count("<title id=") == page_of(path).count("<desc id=") == pictures
    stands_alone(page, path)


def stands_alone(page: Page, path: Path) -> None:
    """It needs nothing from elsewhere, and nothing in it acts."""
    assert not {"script", "link", "img", "iframe", "object"} & set(page.tags)
    assert not [name for name, value in page.attributes if name.startswith("on") or name in ("src", "href")]
    assert "http:" not in page_of(path) and "https:" not in page_of(path) and "url(" not in page_of(path)


def test_the_customers_page_is_the_beginning_of_the_whole(tmp_path: Path) -> None:
    short, whole = page_of(CASES[0], customer=True), page_of(CASES[0])
    assert whole.startswith(short.partition("</body>")[0].rstrip()) and "<table" not in short and "<svg" not in short


def test_a_case_that_has_just_begun(tmp_path: Path) -> None:
    """Without a verdict, without an answer: the page says what is known and breaks nowhere."""
    text_of = CASES[0].read_text(encoding="utf-8")
    path = tmp_path / "new.yaml"
    path.write_text(text_of.partition("events:\n")[0] + "events:\n", encoding="utf-8")
    page = Page(case_html(report_of(load_sound(path))))
    assert not page.open and "What was found" in page.text


def test_the_shops_own_figures_are_reckoned_with() -> None:
    """An hour at twice as much: minutes cost twice as much, and parts what the shop takes for them."""
    case, rules = load_sound(ROOT / "cases" / "estate-hot-restart.yaml"), usual(garage().book)
    dearer = {name: cost + 50 for name, cost in rules.parts.items()}
    shop = replace(rules, hour=2 * rules.hour, parts=dearer, currency="CHF")
    before, whole = shipped_report(case.path).story, dossier(case, garage(), shop)
    after = whole.story
    minutes = before.effort.minutes + sum(part.work_effort.minutes for part in before.parts)
    assert after.money - before.money == pytest.approx(minutes / 60 * rules.hour + 50)  # one injector
    page = case_html(whole)
    assert "at 120 CHF an hour" in page.replace("\u00a0", " ")


def test_what_was_put_off_in_one_step_is_one_line(tmp_path: Path) -> None:
    source = (ROOT / "cases" / "three-needle-hangs.yaml").read_text(encoding="utf-8")
    lines = source.splitlines(keepends=True)
    at = next(i for i, line in enumerate(lines) if '"step": 22' in line)
    put_off = '- {"at": "2026-07-13T09:22:30+00:00", "event": "pass", "step": 22, "check": "%s", "why": "not-now"}\n'
    lines[at:at] = [put_off % name for name in ("frame-loop", "frame-purge")]
    path = tmp_path / "three.yaml"
    path.write_text("".join(lines), encoding="utf-8")
    assert "Freeze frame, loop status; Freeze frame, purge: not now" in Page(page_of(path)).text


def test_texts_are_inert(tmp_path: Path) -> None:
    attack = '</p><script>alert(1)</script><img src=x onerror="alert(2)">\\u001b[2J&amp;'
    source = CASES[4].read_text(encoding="utf-8")
    complaint = re.search(r'"complaint": "([^"]*)"', source)
    assert complaint is not None
    path = tmp_path / "odd.yaml"
    escaped = attack.replace('"', '\\"')
    changed = source.replace(complaint[1], escaped).replace("name: ", "name: '<b onclick=1>' #", 1)
    path.write_text(changed, encoding="utf-8")
    page = Page(case_html(report_of(load_sound(path))))
    assert not {"script", "img"} & set(page.tags) and "alert(1)" in page.text and "\x1b" not in page.text
    assert not [name for name, _ in page.attributes if name.startswith("on")]


@given(st.lists(st.floats(0, 100), min_size=1, max_size=6), st.floats(1, 15))
def test_labels_stand_apart_and_in_order(wanted: list[float], least: float) -> None:
    placed = set_apart(wanted, least, 0.0, 100.0)
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    heights = [placed[i] for i in order]
    assert all(b - a >= least - 1e-9 for a, b in pairwise(heights))
    assert heights[0] >= -1e-9 and heights[-1] <= 100 + 1e-9


def test_a_picture_is_named_and_escaped() -> None:
    drawn = svg_picture("p", "<t>", "a & b", 10, 10, [svg_text(0, 0, "<x>")])
    assert (
        "&lt;t&gt;" in drawn and "a &amp; b" in drawn and "&lt;x&gt;" in drawn and 'aria-labelledby="p-t p-d"' in drawn
    )


# ---- in a browser ----------------------------------------------------------------------------------------------------

browser = pytest.mark.skipif(
    BROWSER is None, reason="no Chromium on this machine: how a browser shows it is not tested"
)


def chromium(tmp_path: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    assert BROWSER is not None
    command = [BROWSER, *QUIET, f"--user-data-dir={tmp_path / 'profile'}", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)


FRAME = """<!DOCTYPE html><html><body><iframe id="f" style="width:{width}px;height:900px;border:0"></iframe>
<script>
const frame = document.getElementById("f");
frame.addEventListener("load", () => {{
  const inside = frame.contentDocument;
  const wide = [...inside.querySelectorAll("body *")].filter(e => !e.closest(".scroll") &&
    e.getBoundingClientRect().right > {width} + 0.5);
  const fonts = [...inside.querySelectorAll("svg text")].map(e => e.getBoundingClientRect().height);
  const figures = [...inside.querySelectorAll("figure")].map(e => e.getBoundingClientRect().height);
  const nameless = [...inside.querySelectorAll("svg")].filter(
    e => !e.querySelector("title") || !e.querySelector("desc"));
  document.body.dataset.seen = JSON.stringify(
    [inside.documentElement.scrollWidth, wide.length, Math.min(...fonts), inside.querySelectorAll("svg").length,
     Math.max(...figures), nameless.length]);
}});
frame.srcdoc = {page};
</script></body></html>"""


PRINTED = 680  # CSS pixels across A4 within the margins: 180 mm; letter has 703
LEAST_PAGE = 249 / 25.4 * 96  # of letter within the margins, in CSS pixels; A4 has more


def looked_at(tmp_path: Path, page: str, width: int) -> tuple[float, ...]:
    """In a window of this width: how wide it is, what sticks out, smallest text of a picture, pictures, the tallest
    figure, pictures without title or description. Nothing may be complained of on the console."""
    path = tmp_path / "frame.html"
    path.write_text(FRAME.format(width=width, page=json.dumps(page).replace("</", "<\\/")), encoding="utf-8")
    found = chromium(tmp_path, "--enable-logging=stderr", "--window-size=1400,1000", "--dump-dom", path.as_uri())
    assert "CONSOLE" not in found.stderr
    seen = re.search(r'data-seen="\[([^]]*)\]"', found.stdout)
    assert seen is not None, found.stderr
    return tuple(float(number) for number in seen[1].split(","))


def pages(tmp_path: Path) -> dict[str, str]:
    """A case closed as proven, one that was never settled, one of two injections with two repairs, one whose proof is
    under way and that has a log."""
    leak = Fault(leak=0.05, when=((300.0, 700.0),))
    source = (ROOT / "cases" / "estate-hot-restart.yaml").read_text(encoding="utf-8")
    path = tmp_path / "proving.yaml"
    path.write_text(source[: source.rindex("\n", 0, source.index('"event": "closed"')) + 1], encoding="utf-8")
    drive = log_svg(seen(100, Setting(minutes=(20.0,), start=85.0, fault=leak)))
    names = ("estate-hot-restart", "old-coupe-never-showed", "dual-injection-second-time")
    found = {name: page_of(ROOT / "cases" / f"{name}.yaml") for name in names[: 3 if LONG else 2]}
    return {**found, "proving": case_html(report_of(load_sound(path)), drive)}


@browser
def test_nothing_overflows_and_axes_can_be_read(tmp_path: Path) -> None:
    for name, page in pages(tmp_path).items():
        for width in (360, PRINTED, 1200):
            across, sticking_out, least, pictures, tallest, nameless = looked_at(tmp_path, page, width)
            assert across <= width and sticking_out == 0, (name, width)
            assert pictures and not nameless and least >= 8.0, (name, width, "the smallest text, in pixels")
            assert width != PRINTED or tallest <= LEAST_PAGE, (name, "no figure is cut by a page's end")


@browser
def test_printed(tmp_path: Path) -> None:
    """The customer's page is one sheet of paper; the whole has it first. No figure is cut: each fits on a page."""
    pages = []
    for customer in (True, False):
        path, paper = tmp_path / "page.html", tmp_path / "page.pdf"
        path.write_text(page_of(CASES[4], customer), encoding="utf-8")
        chromium(tmp_path, "--no-pdf-header-footer", f"--print-to-pdf={paper}", path.as_uri())
        pages.append(len(re.findall(rb"/Type\s*/Page\b", paper.read_bytes())))
    assert pages[0] == 1 and 2 <= pages[1] <= 12  # a case with some seventy answers: the longest there is


def test_the_proof_says_each_thing_once_and_asks_nothing_of_a_closed_case() -> None:
    case = load_sound(next(path for path in CASES if path.stem == "saloon-short-trips"))
    closed = report_of(case)
    assert closed.proof is not None and closed.proof.missing
    page = case_html(closed)
    assert "Closed as proven. What these rules ask for" in page and "So far: " not in page
    assert "Still missing" not in page and "not written down" in page
    last = replace(closed.story.parts[-1], ended="")
    open_one = case_html(replace(closed, story=replace(closed.story, parts=(*closed.story.parts[:-1], last))))
    technician = open_one[open_one.index('class="technician"') :]
    assert "So far: cured but unproven." in technician and "Still missing besides" in technician
    assert "not looked at yet" not in technician  # the table says missing
    assert "Only so does a try count: The oil has run at least 500 km" in technician


def test_clean_tries_that_are_not_counted_are_said_beside_those_that_are() -> None:
    case = load_sound(next(path for path in CASES if path.stem == "saloon-short-trips"))
    found = report_of(case)
    assert found.proof is not None and found.proof.provocation is not None
    for tries, said in (
        (0, None),
        (1, "1 clean try is kept and not counted: nobody said that it was made so."),
        (2, "2 clean tries are kept and not counted: nobody said that they were made so."),
    ):
        plan = replace(found.proof.provocation, otherwise=tries)
        page = case_html(replace(found, proof=replace(found.proof, provocation=plan)))
        assert said in page if said else "not counted" not in page
