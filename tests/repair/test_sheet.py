"""Repair sheets: every hazardous step has its caution above it, on paper too."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from reasoner.repair.jobs import Work
from reasoner.repair.sheet import SheetDoc, called_for, sheet_document, sheet_for
from reasoner.report.sheet_html import sheet_html
from reasoner.report.work_text import sheet_text
from reasoner.rulebook.model import Repair, Sheet
from reasoner.session import acts
from tests.repair.cars import HERE, book, car, job

REPAIRS = list(book().repairs.values())


def document(repair: Repair, **more: object) -> SheetDoc:
    """The sheet of a repair; of those done at a place, at cylinders 2 and 3."""
    at_places = repair.each_more or repair.name in {n for s in book().sheets.values() for n in s.repairs}
    jobs = (job(repair.name, 2, 3) if at_places else job(repair.name),)
    workup = car(layout="inline 4", injection="direct", firing_order="1-3-4-2")
    return sheet_document(workup, Work("alone", jobs, **more), "made-up")  # type: ignore[arg-type]


def uncovered(sheets: Iterable[Sheet]) -> list[tuple[str, str]]:
    """Steps that call for a caution of a hazard and do not have it."""
    return [
        (step.do, name)
        for sheet in sheets
        for step in sheet.steps
        for name in called_for(book(), step.do)
        if book().cautions[name].hazard and name not in step.cautions
    ]


def test_no_hazardous_step_without_its_caution() -> None:
    """Words of a step against the words that each caution is called for by; the lint has words of its own."""
    assert uncovered(book().sheets.values()) == []
    steps = [step for sheet in book().sheets.values() for step in sheet.steps]
    assert sum(any(book().cautions[name].hazard for name in step.cautions) for step in steps) >= 15  # vapour is none


def test_it_would_be_seen() -> None:
    """The check itself: a step that lets the rail pressure down, stripped of its cautions."""
    sheet = next(iter(book().sheets.values()))

    bare = replace(sheet, steps=tuple(replace(step, cautions=()) for step in sheet.steps))
    assert {name for _, name in uncovered([bare])} >= {
        "open-petrol",
        "high-pressure-fuel",
        "ignition-voltage",
    }


@pytest.mark.parametrize("repair", REPAIRS, ids=lambda repair: repair.name)
def test_cautions_stand_above_the_step_on_paper(repair: Repair) -> None:
    """In the printed text: the beginning of each caution comes before the step, after the step before it."""
    found = document(repair)
    text = " ".join(sheet_text(found).split())
    steps = text.index(" STEPS ")
    assert not found.cautions or text.index("TAKE CARE") < steps
    at = steps
    for section in found.sections:
        for line in section.lines:
            here = text.index(" ".join(line.text.split()), at)
            for caution in line.cautions:
                start = caution.say.partition(". ")[0]
                above = text.index(" ".join(start.split()), at)
                assert above < here, line.text
                full = text.index(" ".join(caution.say.split()))
                assert full < here, line.text
            at = here


@pytest.mark.parametrize("repair", REPAIRS, ids=lambda repair: repair.name)
def test_steps_that_call_for_a_hazard_have_it_whatever_the_sheet(repair: Repair) -> None:
    """Also where a repair has no sheet and is done by its sentences."""
    for section in sheet_for(book(), (job(repair.name),)).sections:
        for line in section.lines:
            hazards = {name for name in called_for(book(), line.text) if book().cautions[name].hazard}
            assert hazards <= set(line.cautions), line.text


def test_a_tool_that_the_shop_has_not_got_is_marked_on_the_sheet() -> None:
    tool, workup = book().tools["injector-puller"], car(layout="inline 4", injection="direct")
    for told, marked in (({"lacking": [tool.name]}, True), ({"at_hand": [tool.name]}, False)):
        case = workup.after(acts.tools(workup, **told))
        (section,) = sheet_document(case, Work("alone", (job("replace-injector", 2),))).sections
        (line,) = (text for text in section.at_hand if text.startswith(tool.title))
        assert ("NOT AT HAND" in line) == marked
    assert sum(tool.name in sheet.at_hand for sheet in book().sheets.values()) == 1


def test_injectors() -> None:
    """What the sheet for injectors must have, in its order."""
    repair = book().repairs["replace-injector"]
    found = document(repair)
    (section,) = found.sections
    texts = [line.text for line in section.lines]
    order = [
        "cool down",  # cleaned and freed cold, before any fuel is let out
        "connector",
        "pressure down",
        "earth lead off",  # after the pressure was read: without supply it cannot be
        "first joint at once",
        "free of grit",
        "cannot be read",  # the value on the injector, before it goes in
        "size it",
        "in by hand",
        "two full turns",  # before anything could crank it
        "latches",
        "change oil",  # before the start: oil with fuel in it is not to be run
        "without starting",
        "at idle",
    ]
    at = [next(i for i, text in enumerate(texts) if words in text.lower()) for words in order]
    assert at == sorted(at)
    told = " ".join(texts)
    assert "Never draw it in with the hold-down" in told and "within that time of sizing" in told
    assert "leave it to recover" in told and "rises again with heat" in told
    assert "with some load" in told and "smells of fuel" in told
    blanks = [figure.what for line in section.lines for figure in line.figures]
    assert any("N m" in blank for blank in blanks) and any("sequence" in blank for blank in blanks)
    assert not any(re.search(r"\d+ ?(?:N m|MPa|bar)\b", text) for text in texts)  # the maker's own, never given here
    assert any("combustion seal" in part for part in section.single_use)
    assert section.learned and found.proof


def test_a_step_for_every_place() -> None:
    found = document(book().repairs["replace-injector"])
    each = [line for section in found.sections for line in section.lines if len(line.boxes) > 1]
    assert each and all([box.place for box in line.boxes] == ["cylinder 2", "cylinder 3"] for line in each)


def test_marks_and_figures_are_shown() -> None:
    blank = next(f for line in document(book().repairs["replace-injector"]).sections[0].lines for f in line.figures)
    lines = document(book().repairs["replace-injector"]).sections[0].lines
    number = next(line.number for line in lines if blank in line.figures)
    found = document(
        book().repairs["replace-injector"],
        ticked=frozenset(("1", "4 cylinder 2")),
        figures={(number, blank.what): "0.4"},
        first={2: "AB12CD", 3: "EF34GH"},
        second={2: "AB21CD", 3: "EF34GH"},
    )
    text = sheet_text(found)
    assert "[x] 1. " in text and "[x] cylinder 2   [ ] cylinder 3" in text and f"{blank.what}: 0.4" in text
    assert "cylinder 2: two characters next to each other look swapped, AB12CD and AB21CD" in " ".join(text.split())
    assert f"2 of {found.boxes} boxes ticked" in text


class Tags(HTMLParser):
    VOID = ("meta",)

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.seen: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.seen.append(tag)
        if tag not in self.VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_a_page_that_prints() -> None:
    """Well formed, alone (no script, nothing fetched), black on white, steps not parted from their cautions."""
    page = sheet_html(document(book().repairs["replace-injector"], first={2: "<b>&"}, second={2: "<b>&"}))
    tags = Tags()
    tags.feed(page)
    assert tags.open == [] and "script" not in tags.seen and "link" not in tags.seen
    assert "http" not in page and "url(" not in page
    assert "@page" in page and "break-inside: avoid" in page
    assert "&lt;b&gt;&amp;" in page  # what somebody typed is text
    for caution in document(book().repairs["replace-injector"]).cautions:
        assert caution.say.split(". ")[0].replace("'", "&#x27;") in page


class Steps(Tags):
    """The text of every step's block, caution by caution and then the step itself, in the order of the page."""

    def __init__(self) -> None:
        super().__init__()
        self.attributes: set[str] = set()
        self.blocks: list[list[tuple[str, str]]] = []
        self.styles: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        super().handle_starttag(tag, attrs)
        given = dict(attrs)  # type: ignore[call-overload]
        self.attributes |= set(given)
        self.styles.append(given.get("class", ""))
        if given.get("class") == "step":
            self.blocks.append([])

    def handle_endtag(self, tag: str) -> None:
        super().handle_endtag(tag)
        if tag not in self.VOID:
            self.styles = self.styles[: len(self.open)]

    def handle_data(self, data: str) -> None:
        if "step" in self.styles and self.blocks:
            kind = "caution" if "caution" in self.styles else "mark" if "mark" in self.styles else "step"
            self.blocks[-1].append((kind, data.strip()))


@pytest.mark.parametrize("repair", REPAIRS, ids=lambda repair: repair.name)
def test_cautions_stand_above_the_step_on_the_printed_page(repair: Repair) -> None:
    """Read with the parser of the standard library: well formed, nothing from elsewhere (no address in any attribute,
    no import in the style), a page size, and in the block of every step all its cautions before its words; the block is
    never parted at the end of a page."""
    found = document(repair)
    page = sheet_html(found)
    steps = Steps()
    steps.feed(page)
    assert steps.open == [] and not {"src", "href", "data", "action", "onload"} & steps.attributes
    style = page[page.index("<style>") : page.index("</style>")]
    assert "@import" not in style and "url(" not in style
    assert re.search(r"@page \{ size: A4;", style) and re.search(r"\.step \{ break-inside: avoid", style)
    lines = [line for section in found.sections for line in section.lines]
    assert len(steps.blocks) == len(lines)
    for block, line in zip(steps.blocks, lines, strict=True):
        at = next(n for n, (kind, text) in enumerate(block) if kind == "step" and text == line.text)
        above = " ".join(text for kind, text in block[:at] if kind == "caution")
        assert all(caution.say.partition(". ")[0] in above for caution in line.cautions), line.text
        hazards = {name for name in called_for(book(), line.text) if book().cautions[name].hazard}
        assert all(book().cautions[name].say.partition(". ")[0] in above for name in hazards), line.text
        assert not any(kind == "caution" for kind, _ in block[at:])


def test_made_for_paper_and_pen() -> None:
    """Looked at as A4 with a browser once; held: boxes of 5 mm, lines of 6 mm and more to write on, whose car and when,
    no heading at the foot of a page, no item or row of a table cut in two, title and number on every page."""
    page = sheet_html(document(book().repairs["replace-injector"]))
    style = page[page.index("<style>") : page.index("</style>")]
    assert re.search(r"\.box \{[^}]*width: 5mm; height: 5mm", style) and "min-height: 6mm" in style
    assert "h1, h2, h3 { break-after: avoid; }" in style and "li, tr, footer { break-inside: avoid; }" in style
    assert re.search(r"\.ticks \{[^}]*break-inside: avoid", style)
    assert "counter(page)" in style and "counter(pages)" in style and "@top-left" in style
    assert all(f'{name}: <span class="line">' in page for name in ("Car", "mileage", "date"))
    assert page.index("<thead>") < page.index("</thead>") < page.index("<tbody>")
    notes = page[page.index("<footer>") : page.index("</footer>")]
    assert notes.count("<div></div>") >= 3 and "Done by" in notes


@pytest.mark.parametrize("name", ['"; } </style><script>x</script>', "\\", "a\nb", "ÄÖ 漢字", "x" * 300])
def test_whatever_a_case_is_called_the_style_stays_one(name: str) -> None:
    """The name also stands above every page, inside the style: as a CSS string of letters, digits and escapes."""
    page = sheet_html(replace(document(book().repairs["replace-injector"]), case=name))
    tags = Tags()
    tags.feed(page)
    assert tags.open == [] and "script" not in tags.seen and page.count("</style>") == 1
    (said,) = re.findall(r'@top-left \{ content: ("[^"\n]*"); font', page)
    assert re.fullmatch(r'"(?:[^\W_]| |\\[0-9a-f]+ )*"', said)
    shown = re.sub(r"\\([0-9a-f]+) ", lambda m: chr(int(m[1], 16)), said[1:-1])
    assert shown.startswith("Repair sheet: case ") and len(shown) <= 110


def test_it_would_be_seen_on_the_page() -> None:
    """The reader itself: a caution put below its step is not above it."""
    steps = Steps()
    steps.feed('<div class="step"><span class="mark">1.</span><div>Crank it.</div><p class="caution">Care.</p></div>')
    assert [kind for kind, _ in steps.blocks[0]] == ["mark", "step", "caution"] and steps.open == []


def test_text_fits_the_paper() -> None:
    for repair in REPAIRS:
        assert all(len(line) <= 80 for line in sheet_text(document(repair)).splitlines())


def test_the_small_rules() -> None:
    """A sentence that lets the rail pressure down gets both cautions, the hazard first; the other sentence none."""
    (section,) = sheet_for(book(HERE / "small.yaml"), (job("new-injector", 3),)).sections
    assert [(line.text, line.cautions) for line in section.lines] == [
        ("Let the rail pressure down.", ("pressure", "vapour")),
        ("Change it.", ()),
    ]


@pytest.mark.parametrize(
    "sheet",
    [s for s in book().sheets.values() if any("pressure down" in step.do for step in s.steps)],
    ids=lambda s: s.name,
)
def test_fuel_is_opened_in_the_safe_order(sheet: Sheet) -> None:
    """Clean and free cold; release and read; earth lead off; the first joint at once, a rag on it (practice). That
    pressure comes back with heat is computed (0.6 to 0.9 MPa a kelvin in a closed rail, tests/measure/test_hold.py);
    that liquid petrol is kept from sources of ignition is the Health and Safety Executive's (rules/cautions.yaml)."""
    texts = [step.do.lower() for step in sheet.steps]
    order = ["clean", "connector", "pressure down", "earth lead off", "first joint"]
    at = [next((i for i, text in enumerate(texts) if words in text), None) for words in order]
    found = [i for i in at if i is not None]
    assert found == sorted(found) and at[2] is not None and at[3] is not None and at[4] is not None
    assert "rag" in texts[at[4]] and "open-petrol" in sheet.steps[at[4]].cautions
    assert "read" in texts[at[2]] or "check it" in texts[at[2]]
    before = " ".join(texts[: at[2]])
    assert "joint" not in before.replace("open no joint", "").replace("every joint clean", "")


@pytest.mark.parametrize("repair", REPAIRS, ids=lambda repair: repair.name)
def test_petrol_is_warned_of_where_pressure_is_let_down_and_oil_comes_before_running(repair: Repair) -> None:
    """The pressure that is let down is petrol; oil with fuel in it is changed before the engine runs on it."""
    for section in sheet_for(book(), (job(repair.name),)).sections:
        oil = [n for n, line in enumerate(section.lines) if "change the oil" in line.text.lower()]
        oil += [n for n, line in enumerate(section.lines) if "smells of fuel, change it" in line.text]
        for n, line in enumerate(section.lines):
            assert "pressure down" not in line.text or "open-petrol" in line.cautions, line.text
            assert not oil or oil[0] <= n or not {"exhaust-gas", "moving-parts"} <= set(line.cautions), line.text


def test_a_can_for_petrol_is_asked_for_where_petrol_is_drained_and_not_for_coolant() -> None:
    drained = {repair.name for repair in REPAIRS for section in sheet_for(book(), (job(repair.name),)).sections
               for line in section.lines if "static" in line.cautions}  # fmt: skip
    assert drained and not any("coolant" in book().repairs[name].do for name in drained)


def test_no_proof_takes_the_repair_apart_again() -> None:
    """What was swapped, blanked off, unplugged or taken out to find a fault is not done again to prove it gone."""
    undoing = {
        "pump-seal-look",
        "recirculation-blocked-off",
        "injector-exchanged",
        "port-injector-exchanged",
        "ignition-exchange",
        "injector-bench",
        "port-injector-bench",
        "back-pressure",
        "crankcase-vent-off",
        "purge-pinched",
        "purge-unplugged",
        "sensor-unplugged",
        "canister-weight",
        "compression-leak-down",
        "injector-tips-after-soak",
        "heat-on-injector",
        "airflow-meter-unplugged",
        "injector-out-look",
    }
    assert undoing <= set(book().checks)
    assert not {(r.name, p) for r in book().repairs.values() for p in r.proof if p in undoing}


def test_no_heading_for_cautions_where_there_is_none() -> None:
    found = document(REPAIRS[0])
    bare = replace(found, cautions=())
    assert "TAKE CARE" in sheet_text(found) and "TAKE CARE" not in sheet_text(bare)
