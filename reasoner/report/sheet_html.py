"""The repair sheet as one HTML page that stands alone and prints well: no scripts, nothing from elsewhere.

Black on white, boxes to tick with a pen, room to write. A step is never parted from its cautions at the end of a page.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from reasoner.repair.sheet import FigureDoc, LineDoc, SectionDoc, SheetDoc
from reasoner.report.work_text import caution_above, caution_ahead, foreword
from reasoner.session.plain import clean

SHEET_STYLE = """
:root { color-scheme: light; }
body { font: 11pt/1.35 Georgia, "Times New Roman", serif; color: #000; background: #fff; }
body { max-width: 180mm; margin: 0 auto; overflow-wrap: anywhere; }
h1 { font-size: 17pt; margin: 0 0 2mm; }
h2 { font-size: 13pt; margin: 7mm 0 2mm; border-bottom: 1px solid #000; }
h3 { font-size: 11pt; margin: 5mm 0 1mm; }
h1, h2, h3 { break-after: avoid; }
ul { margin: 0; padding-left: 5mm; }
li, tr, footer { break-inside: avoid; }
.ticks { list-style: none; padding: 0; break-inside: avoid; }
.ticks li { margin: 1.5mm 0; padding-left: 7.5mm; text-indent: -7.5mm; }
.care { border: 2px solid #000; padding: 2mm 4mm; box-decoration-break: clone; -webkit-box-decoration-break: clone; }
.care h2 { margin-top: 0; }
.care ol { margin: 0; padding-left: 8mm; font-size: 10.5pt; line-height: 1.25; }
.care li { margin: 1mm 0; }
.step { break-inside: avoid; margin: 4mm 0; padding-left: 16mm; position: relative; }
.step > .mark { position: absolute; left: 0; width: 14mm; text-align: right; white-space: nowrap; }
.caution { border-left: 3px solid #000; padding-left: 3mm; margin: 0 0 1mm; font-size: 10pt; }
.caution b { font-family: sans-serif; }
.box { display: inline-block; width: 5mm; height: 5mm; border: 1.5px solid #000; }
.box { text-align: center; text-indent: 0; font: bold 12pt/5mm sans-serif; margin-right: 1.8mm; }
.places { margin-top: 1.5mm; }
.places span.place { margin-right: 6mm; white-space: nowrap; line-height: 8mm; }
.figure { margin: 2mm 0; }
.line { display: inline-block; min-width: 45mm; border-bottom: 1px solid #000; min-height: 6mm; }
footer div { border-bottom: 1px solid #000; height: 9mm; }
table { border-collapse: collapse; }
td, th { border: 1px solid #000; padding: 1mm 3mm; min-width: 36mm; height: 8mm; }
td, th { text-align: left; font-weight: normal; }
thead th, tbody th { min-width: 15mm; }
footer p { margin-top: 9mm; }
"""
# On every page of the paper: what it belongs to, and which page of how many. Browsers that cannot do it leave it out.
PAGE = """@page {{ size: A4; margin: 18mm 15mm 16mm;
@top-left {{ content: {title}; font: 9pt sans-serif; }}
@bottom-right {{ content: "page " counter(page) " of " counter(pages); font: 9pt sans-serif; }} }}
@page :first {{ @top-left {{ content: none; }} }}
"""
BLANK_ON_PAPER = '<span class="line"></span>'
NOTES = 4  # lines to write on
HEADER_LENGTH = 110  # characters that fit above a page


def sheet_html(document: SheetDoc) -> str:
    """The repair sheet as a page of its own, to be printed."""
    s = clean(document)
    title = f"Repair sheet{f': case {s.case}' if s.case else ''}"
    parts = [
        f"<h1>{escape(title)}</h1>",
        f"<p>{escape(s.vehicle)}. {escape(s.title)}.</p>",
        f"<p>{' '.join(f'{name}: {BLANK_ON_PAPER}' for name in ('Car', 'mileage', 'date'))}</p>",
        f"<p>{escape(foreword(s))}</p>",
        *(('<section class="care"><h2>Take care</h2><ol>',) if s.cautions else ()),
        *(f'<li value="{c.number}">{escape(caution_ahead(s, c))}</li>' for c in s.cautions),
        *(("</ol></section>",) if s.cautions else ()),
        *(_section(part) for part in s.sections),
        _list("Seen afterwards", s.proof, boxes=True),
        f"<footer><h3>Notes</h3>{'<div></div>' * NOTES}<p>Done by {BLANK_ON_PAPER} on {BLANK_ON_PAPER}</p></footer>",
    ]
    body = "\n".join(part for part in parts if part)
    above = f"{title}. {s.vehicle}. {s.title}"
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>{escape(title)}</title>\n'
        f"<style>{SHEET_STYLE}{PAGE.format(title=_quoted(above))}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _quoted(text: str) -> str:
    """A text as a CSS string; all but letters, digits and blanks by number (CSS Syntax 3, 4.3.7): it stays one."""
    text = text if len(text) <= HEADER_LENGTH else text[: HEADER_LENGTH - 3] + "..."
    return '"' + "".join(c if c.isalnum() or c == " " else f"\\{ord(c):x} " for c in text) + '"'


def _section(part: SectionDoc) -> str:
    return "\n".join(
        text
        for text in (
            f"<h2>{escape(part.title)}</h2>",
            _list("To have at hand", part.at_hand, boxes=True),
            _list("Single use", part.single_use),
            _values(part),
            _list("Look again", part.slips),
            "<h3>Steps</h3>",
            *(_step(line) for line in part.lines),
            _list("What the ECU has learned", part.learned),
        )
        if text
    )


def _list(title: str, texts: Iterable[str], boxes: bool = False) -> str:
    mark = _box(False) if boxes else ""
    found = "".join(f"<li>{mark}{escape(text)}</li>" for text in texts)
    style = ' class="ticks"' if boxes else ""
    return f"<h3>{escape(title)}</h3>\n<ul{style}>{found}</ul>" if found else ""


def _step(line: LineDoc) -> str:
    cautions = "".join(
        f'<p class="caution"><b>!</b> {escape(caution_above(line, caution))}</p>' for caution in line.cautions
    )
    once = len(line.boxes) == 1 and not line.boxes[0].place
    mark = f'<span class="mark">{_box(line.boxes[0].done) if once else ""}{line.number}.</span>'
    places = "".join(f'<span class="place">{_box(box.done)}{escape(box.place)}</span>' for box in line.boxes)
    below = "" if once else f'<div class="places">{places}</div>'
    figures = "".join(_figure(figure) for figure in line.figures)
    return f'<div class="step">{cautions}{mark}<div>{escape(line.text)}</div>{below}{figures}</div>'


def _figure(figure: FigureDoc) -> str:
    return f'<div class="figure">{escape(figure.what)}: <span class="line">{escape(figure.value)}</span></div>'


def _values(part: SectionDoc) -> str:
    if not part.values:
        return ""
    rows = "".join(
        f"<tr><th>{v.cylinder}</th><td>{escape(v.first)}</td><td>{escape(v.second)}</td><td>{escape(v.old)}</td></tr>"
        for v in part.values
    )
    names = "".join(f"<th>{name}</th>" for name in ("cylinder", "first time", "second time", "stored before"))
    table = f"<table><thead><tr>{names}</tr></thead><tbody>{rows}</tbody></table>"
    return f"<h3>Calibration values, by cylinder number</h3>\n{table}"


def _box(done: bool) -> str:
    return f'<span class="box">{"x" if done else "&nbsp;"}</span>'
