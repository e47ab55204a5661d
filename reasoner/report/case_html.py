"""A case as one HTML page for the customer and the file: it stands alone, prints on A4 and letter, dark and light.

First a page in the customer's words: the complaint, what was found and how sure that is, what is done about it, what it
takes, what is still to be seen. Then the technician's: how the belief moved, readings, work, proof. No scripts, nothing
from elsewhere; every text is escaped. Pictures have a title, a text alternative and the same numbers in words.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from html import escape
from itertools import groupby, pairwise
from textwrap import wrap

from reasoner.history.dossier import DatedReading, Dossier, SuspectCourse
from reasoner.history.story import Moment, StoryPart
from reasoner.repair.proof import ProofDoc
from reasoner.repair.sheet import SheetDoc
from reasoner.report.drawing import dot, path, set_apart, svg_line, svg_picture, svg_text
from reasoner.report.shapes import count
from reasoner.report.work_text import not_counted, tried_text, worth_text
from reasoner.session.document import DecisionDoc, Verdict
from reasoner.session.plain import clean, thousands, time_text
from reasoner.session.words import EMPTY_LIST, PASSES, percent

CASE_STYLE = """
:root { color-scheme: light dark; --line: #8886; --soft: #8882; --care: #a00; }
@media (prefers-color-scheme: dark) { :root { --care: #f77; } }
body { font: 1rem/1.45 system-ui, sans-serif; max-width: 62rem; margin: 0 auto; padding: 1rem; }
body { overflow-wrap: anywhere; }
h1 { font-size: 1.5rem; margin: 0 0 .3rem; } h2 { font-size: 1.2rem; margin: 1.8rem 0 .5rem; }
.whole { white-space: nowrap; }
h2 { border-bottom: 1px solid var(--line); } h3 { font-size: 1rem; margin: 1.2rem 0 .3rem; }
p, ul, ol { margin: .4rem 0; } ul, ol { padding-left: 1.4rem; } .quiet { opacity: .75; font-size: .92rem; }
.answer { font-size: 1.15rem; } .box { border: 1px solid var(--line); border-radius: .4rem; padding: .6rem .9rem; }
table { border-collapse: collapse; width: 100%; font-size: .92rem; } caption { text-align: left; font-weight: 600; }
th, td { text-align: left; vertical-align: top; padding: .2rem .6rem .2rem 0; border-bottom: 1px solid var(--soft); }
th.leads { width: 22%; }
td.number, th.number { text-align: right; white-space: nowrap; } .where { font-weight: 600; padding-top: .7rem; }
figure { margin: .8rem 0; } figcaption { font-size: .92rem; } .scroll { overflow-x: auto; }
.picture { width: 100%; min-width: 34rem; height: auto; display: block; fill: currentColor; font: 13px sans-serif; }
.drive svg { width: 100%; min-width: 46rem; height: auto; display: block; }
.picture .grid { stroke: currentColor; stroke-opacity: .2; } .picture .axis { stroke: currentColor; }
.picture .part { stroke: currentColor; stroke-dasharray: 2 3; } .picture .small { font-size: 11px; }
.picture polyline { fill: none; stroke: currentColor; stroke-width: 1.6; }
.picture .c0 { stroke-width: 3; } .picture .c1 { stroke-dasharray: 9 4; } .picture .c2 { stroke-dasharray: 2 3; }
.picture .c3 { stroke-dasharray: 9 3 2 3; } .picture .c4 { stroke-width: .8; }
.picture .full { fill: currentColor; } .picture .ring { fill: none; stroke: currentColor; stroke-width: 1.5; }
.picture .faint { fill: currentColor; fill-opacity: .35; }
@media print {
  @page { size: A4; margin: 15mm; } body { max-width: none; padding: 0; font-size: 10.5pt; }
  .technician { break-before: page; } h2, h3, caption { break-after: avoid; }
  figure, tr, li, .box { break-inside: avoid; } .group { break-after: avoid; }
  .scroll { overflow: visible; } .picture, .drive svg { min-width: 0; }
}
"""
WIDE, HIGH, LEFT, RIGHT, TOP, FOOT = 780.0, 330.0, 44.0, 235.0, 16.0, 34.0  # of the picture of the belief
ROW = 30.0  # of the picture of readings
LONGEST_LABEL = 32  # characters of a line of a label in a svg_picture
PERCEIVED = 0.05  # a change of a chance that is worth a ring
KNOWN = 0.8  # a chance from which on it is said whether the fault showed
NO_BREAK = "\u00a0"
LEAST_SAID = 5.0  # what costs less is not said to a customer
NOT_NOW = f": {PASSES['not-now']}"
NOT_LOOKED_AT = ": not looked at yet"
SAMPLE = 22.0  # of each line's stroke, before its name
MARK_WORDS = {"full": "while it showed", "ring": "while it was quiet", "faint": "not known whether it showed"}


def case_html(document: Dossier, drive: str = "", customer: bool = False) -> str:
    """The page. drive: the picture of a logged drive (SVG, made by this program). customer: without the technician's
    pages."""
    d = clean(document)
    title, day = f"Case {d.story.case}", f'<span class="whole">{escape(d.story.opened[:10])}</span>'
    parts = [f"<h1>{escape(title)}</h1>", f"<p>{escape(d.story.vehicle)}. Opened {day}.</p>"]
    parts += _customer(d)
    if not customer:
        parts += ['<section class="technician">', *_technician(d, drive), "</section>"]
    body = "\n".join(part for part in parts if part)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{CASE_STYLE}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


# ---- for the customer ------------------------------------------------------------------------------------------------


def _customer(d: Dossier) -> Iterable[str]:
    s = d.story
    if s.complaint:
        yield f"<h2>The complaint</h2><p>&ldquo;{escape(s.complaint)}&rdquo;</p>"
    yield "<h2>What was found</h2>"
    if s.found:
        for title, state in s.found:
            yield f'<p class="answer box">{escape(title)} <span class="quiet">({escape(state)})</span></p>'
        confirmed = [part.confirmed for part in s.parts if part.confirmed]
        yield from (f"<p>Confirmed by: {escape(_sentence(said))}</p>" for said in confirmed)
    else:
        yield f'<p class="answer box">{escape(d.verdict.sentence)}</p>'
    yield from _done(d)
    if d.proof is not None:
        yield "<h2>What is still to be checked</h2>"
        yield from _still_to_see(d.story.parts[-1].ended, d.proof)
    if d.verdict.driving_on and d.proof is None:
        yield f"<h2>Driving meanwhile</h2><p>{escape(_sentence(d.verdict.driving_on))}</p>"
    yield "<h2>Time and money</h2>"
    yield f"<p>{escape(_takes(d))}</p>"


def _done(d: Dossier) -> Iterable[str]:
    works = [work for part in d.story.parts for work in part.work]
    if works:
        yield f"<h2>What was done</h2>{_listed(works)}"
        return
    yield "<h2>What comes next</h2>"
    if d.work:
        yield _listed(f"Under way: {sheet.title}" for sheet in d.work)
        return
    best = next((choice for choice in d.decision.choices if choice.recommended), None) if d.decision else None
    if best is None:
        yield "<p>Nothing yet.</p>"
        return
    costs = f" About {_money(best.now, d.currency)}." if best.now >= LEAST_SAID else ""
    again = f" What may bring it back: {'; '.join(best.again)}." if best.again else ""
    yield f"<p>{escape(_sentence(best.title))}{escape(costs + again)}</p>"


def _still_to_see(ended: str, proof: ProofDoc) -> Iterable[str]:
    if ended:
        yield f"<p>Nothing: the case was closed as {escape(ended.partition(':')[0])}.</p>"
    elif proof.missing:
        yield "<p>The repair is proven once all of this was seen:</p>"
        yield _listed(_capital(said.removesuffix(NOT_LOOKED_AT)) for said in proof.missing)
    else:
        yield "<p>Nothing: the repair is proven.</p>"


def _takes(d: Dossier) -> str:
    s = d.story
    looked = _spent(s.effort.minutes, s.effort.wait) or "no time"
    work = sum(part.work_effort.minutes for part in s.parts)
    worked = f"; the repair {_spent(work, 0.0)}" if work >= 1 else ""
    return (
        f"Finding the cause took {looked}{worked}. Together about {_money(s.money, d.currency)}, at"
        f" {_money(s.hour, d.currency)} an hour. These are usual figures; the invoice counts."
    )


def _spent(minutes: float, waiting: float) -> str:
    """`9 h 31 min of work and 1 h 6 min of waiting`; the car's own nights in days."""
    nights = f"{waiting / 1440:.0f} days" if waiting >= 2 * 1440 else time_text(waiting)
    parts = [f"{time_text(minutes)} of work" if minutes >= 1 else "", f"{nights} of waiting" if waiting >= 1 else ""]
    return " and ".join(filter(None, parts))


def _money(value: float, currency: str) -> str:
    return f"{thousands(value)} {currency}".strip().replace(" ", NO_BREAK)


# ---- for the technician ----------------------------------------------------------------------------------------------


def _technician(d: Dossier, drive: str) -> Iterable[str]:
    yield "<h2>For the workshop</h2>"
    if d.story.codes:
        yield f"<p>Codes: {escape(', '.join(d.story.codes))}.</p>"
    yield from _verdict(d.verdict)
    for number, (part, courses) in enumerate(zip(d.story.parts, d.courses, strict=True)):
        yield from _part(part, courses, number)
    yield from _readings(d.readings)
    if drive:
        yield f'<h2>The logged drive</h2><figure class="scroll drive">{drive}</figure>'
    if d.decision is not None:
        yield from _decision(d.decision)
    for sheet in d.work:
        yield from _work(sheet)
    if d.proof is not None:
        yield from _proof(d.proof, d.story.parts[-1].ended)
    for title, texts in (("Put right afterwards", d.story.corrected), ("Notes", d.story.notes)):
        if texts:
            yield f"<h2>{title}</h2>{_listed(texts)}"


def _verdict(verdict: Verdict) -> Iterable[str]:
    yield f"<p>{escape(verdict.sentence)}</p>"
    for title, reasons in (("Spoke for it", verdict.spoke_for), ("Spoke against it", verdict.spoke_against)):
        if reasons:
            times = Counter(reason.text for reason in reasons)
            yield f"<h3>{title}</h3>{_listed(t if n == 1 else f'{t} ({n} times)' for t, n in times.items())}"
    if verdict.surprise.disagreeing:
        yield f"<h3>Does not fit</h3>{_listed(verdict.surprise.disagreeing)}"


def _part(part: StoryPart, courses: Sequence[SuspectCourse], number: int) -> Iterable[str]:
    after = " after the work" if number else ""
    if number:
        done = "; ".join(part.work) or "work that these rules do not have"
        yield f"<h2>Work, {escape(part.finished[:10]) or 'day not said'}</h2><p>{escape(done)}.</p>"
    if not part.moments:
        return
    yield f"<h2>What was asked and seen{after}</h2>"
    if courses:
        yield _belief(part.moments, courses, f"belief-{number}", after)
    rows: list[str] = []
    led = ""
    for condition, group in groupby(part.moments, key=lambda moment: moment.condition):
        title = escape(_capital(condition) or "Told or read")
        rows.append(f'<tr class="group"><th colspan="4" scope="rowgroup" class="where">{title}</th></tr>')
        for moment in _put_off_together(group):
            rows.append(_row(moment, led))
            led = moment.lead
    heads = '<th class="number">step</th><th>seen</th><th class="leads">leads then</th><th class="number">chance</th>'
    yield _table(heads, "".join(rows))
    said = "No name in a line: as in the line above. With a place, the chance is of the fault there."
    settled = " * what to do was settled from here on." if any(m.settled for m in part.moments) else ""
    yield f'<p class="quiet">{said}{settled}</p>'
    told = [
        f"Since then, {where.lower()}: {count(times, 'time')}, {quiet} clean." for where, times, quiet in part.looked
    ]
    yield from (f"<p>{escape(said)}</p>" for said in told)
    if part.ended:
        yield f"<p>Closed as {escape(part.ended)}.</p>"


def _put_off_together(moments: Iterable[Moment]) -> Iterable[Moment]:
    """What was put off in one step is one line: a freeze frame that shows little puts off all that it does not show."""
    for _, group in groupby(moments, key=lambda m: ("put off", m.step) if m.text.endswith(NOT_NOW) else id(m)):
        first, *more = group
        texts = [one.text.removesuffix(NOT_NOW) for one in (first, *more)]
        yield replace(first, text="; ".join(texts) + NOT_NOW) if more else first


def _row(moment: Moment, led: str) -> str:
    """One answer. led: what led before it, which is not said again."""
    lead = "" if moment.lead == led else moment.lead
    chance = f"{percent(moment.chance)}{'*' if moment.settled else ''}"
    cells = f'<td>{escape(moment.text)}</td><td>{escape(lead)}</td><td class="number">{escape(chance)}</td>'
    return f'<tr><td class="number">{moment.step}</td>{cells}</tr>'


def _belief(moments: Sequence[Moment], courses: Sequence[SuspectCourse], name: str, after: str) -> str:
    """How likely each suspect was after each answer: one line a suspect, named at its end."""
    last = len(moments)
    across, up = WIDE - LEFT - RIGHT, HIGH - TOP - FOOT

    def x(number: float) -> float:
        return LEFT + across * (number / max(1, last))

    def y(chance: float) -> float:
        return TOP + up * (1.0 - chance)

    parts = [svg_line(LEFT, y(p / 4), LEFT + across, y(p / 4)) for p in range(5)]
    parts += [svg_text(LEFT - 6, y(p / 4) + 4, f"{25 * p} %", "end", "small") for p in range(5)]
    every = max(1, -(-last // 12))
    marked = {moments[i - 1].step: i for i in range(last, 0, -every)}  # several answers of one step: at the first
    parts += [svg_text(x(i), HIGH - FOOT + 16, str(step), "middle", "small") for step, i in marked.items()]
    parts += [svg_text(LEFT + across / 2, HIGH - 3, "step", "middle", "small")]
    heights = set_apart([y(course.chances[-1]) + 4 for course in courses], 27.0, TOP + 8, HIGH - FOOT)
    for number, (course, height) in enumerate(zip(courses, heights, strict=True)):
        points = [(x(i), y(chance)) for i, chance in enumerate(course.chances)]
        parts.append(path(points, f"c{number}"))
        beside, lines = x(last) + 8, wrap(course.title, LONGEST_LABEL)
        parts.append(path([(beside, height - 4), (beside + SAMPLE, height - 4)], f"c{number}"))
        parts += [
            svg_text(beside + SAMPLE + 5, height + 12 * i, part, kind="small") for i, part in enumerate(lines[:2])
        ]
    moves = _most_moving(courses)
    for i, course in moves:
        at = x(i + 1), y(course.chances[i + 1])
        above = svg_text(at[0], at[1] - 9, str(moments[i].step), "middle", "small")
        parts += [dot(*at, "ring", 5.0), above]
    told = "; ".join(
        f"{c.title}: {percent(c.chances[0])} at first, {percent(c.chances[-1])} at the end" for c in courses
    )
    title = f"How likely each suspect was, answer by answer{after}"
    drawn = svg_picture(name, title, told, WIDE, HIGH, parts)
    moved = _listed(f"step {moments[i].step}, {moments[i].text}: {_from_to(course, i)}" for i, course in moves)
    words = f"{escape(title)}. {escape(told)}."
    words += f" What moved it most (a ring with its step): {moved}" if moves else ""
    return f'<figure><div class="scroll">{drawn}</div><figcaption>{words}</figcaption></figure>'


def _most_moving(courses: Sequence[SuspectCourse], most: int = 3) -> list[tuple[int, SuspectCourse]]:
    """The answers after which the chance of a suspect in the picture changed most, each with that suspect; in the order
    given."""
    best: dict[int, tuple[float, SuspectCourse]] = {}
    for course in courses:
        for i, (before, after) in enumerate(pairwise(course.chances)):
            if abs(after - before) > best.get(i, (0.0, course))[0]:
                best[i] = abs(after - before), course
    moving = sorted(best, key=lambda i: -best[i][0])[:most]
    return [(i, best[i][1]) for i in sorted(moving) if best[i][0] >= PERCEIVED]


def _from_to(course: SuspectCourse, number: int) -> str:
    before, after = (percent(chance) for chance in course.chances[number : number + 2])
    return f"{course.title} {before.removesuffix(' %')} to {after}"


def _readings(readings: Sequence[DatedReading]) -> Iterable[str]:
    if not readings:
        return
    yield "<h2>Readings</h2>"
    for number, (quantity, unit) in enumerate(dict.fromkeys((r.quantity, r.unit) for r in readings)):
        yield _by_condition([r for r in readings if (r.quantity, r.unit) == (quantity, unit)], f"reading-{number}")


def _by_condition(readings: Sequence[DatedReading], name: str) -> str:
    """One quantity by condition: filled while the fault showed, a ring while it was quiet, pale where nobody knows."""
    quantity, unit = readings[0].quantity, readings[0].unit
    rows = list(dict.fromkeys(map(_where, readings)))
    low, high = min(0.0, *(r.value for r in readings)), max(0.0, *(r.value for r in readings))
    span = (high - low) or 1.0
    left, high_end = 190.0, WIDE - 40.0

    def x(value: float) -> float:
        return left + (high_end - left) * (value - low) / span

    height = 24 + ROW * len(rows)
    parts = [
        svg_line(x(0.0), 8, x(0.0), height - 18, "axis"),
        svg_text(x(0.0), height - 4, f"0 {unit}", "middle", "small"),
    ]
    for value in {low, high} - {0.0}:
        parts += [
            svg_line(x(value), 8, x(value), height - 18),
            svg_text(x(value), height - 4, f"{value:g} {unit}", "middle", "small"),
        ]
    for i, row in enumerate(rows):
        at = 22 + ROW * i
        parts.append(svg_text(left - 12, at + 4, row[:LONGEST_LABEL], "end", "small"))
        parts += [dot(x(r.value), at, _mark(r.showing)) for r in readings if _where(r) == row]
    told = "; ".join(f"{_where(r)}: {r.value:g} {r.unit} ({MARK_WORDS[_mark(r.showing)]})" for r in readings)
    drawn = svg_picture(name, f"{quantity.capitalize()} by condition", told, WIDE, height, parts)
    key = "Filled: while the fault showed. Ring: while it was quiet. Pale: not known."
    return (
        f'<figure><h3>{escape(quantity.capitalize())}</h3><div class="scroll">{drawn}</div>'
        f'<figcaption>{escape(told)}. <span class="quiet">{key}</span></figcaption></figure>'
    )


def _mark(showing: float) -> str:
    return "full" if showing >= KNOWN else "ring" if showing <= 1 - KNOWN else "faint"


def _where(reading: DatedReading) -> str:
    return f"{reading.condition}, {reading.place}" if reading.place else reading.condition


def _decision(decision: DecisionDoc) -> Iterable[str]:
    yield f"<h2>What could be done, and what it costs</h2><p>{escape(decision.sentence)}</p>"
    unit = f" ({escape(decision.currency)})" if decision.currency else ""
    names = (f"now{unit}", "cures", "comes back", f"expected{unit}")
    heads = "<th>course</th>" + "".join(f'<th class="number">{name}</th>' for name in names)
    rows = "".join(
        f"<tr><td>{escape(choice.title)}{' (recommended)' if choice.recommended else ''}</td>"
        f'<td class="number">{thousands(choice.now)}</td><td class="number">{escape(percent(choice.cures))}</td>'
        f'<td class="number">{escape(percent(choice.comes_back))}</td>'
        f'<td class="number">{thousands(choice.expected)}</td></tr>'
        for choice in decision.choices
    )
    yield _table(heads, rows)


def _work(sheet: SheetDoc) -> Iterable[str]:
    yield f"<h2>The work: {escape(sheet.title)}</h2><p>{sheet.done} of {sheet.boxes} steps ticked off.</p>"
    for part in sheet.sections:
        typed = [(figure.what, figure.value) for entry in part.lines for figure in entry.figures if figure.value]
        typed += [(f"calibration value, cylinder {v.cylinder}", v.first) for v in part.values if v.first]
        if typed:
            rows = "".join(f"<tr><td>{escape(what)}</td><td>{escape(value)}</td></tr>" for what, value in typed)
            yield f"<table><caption>{escape(part.title)}: figures typed in</caption><tbody>{rows}</tbody></table>"
        if part.slips:
            yield f"<p>Look again:</p>{_listed(part.slips)}"


def _proof(proof: ProofDoc, ended: str) -> Iterable[str]:
    """The plan and how far it is. ended: how the case was closed; then it says what these rules would ask for."""
    asked = "What these rules ask for, and what of it was written down:"
    state = f"Closed as {ended.partition(':')[0]}. {asked}" if ended else f"So far: {proof.state}."
    yield f"<h2>The proof</h2><p>{escape(state)}</p>"
    plan = proof.provocation
    if plan is not None:
        wanted = f" ({plan.needed} are enough)" if plan.needed is not None else ""
        still = f"; the chance that the fault is still there is then {percent(plan.still)}"
        yield f"<p>{escape(_capital(plan.title))}: {plan.clean} clean so far{wanted}{escape(still)}.</p>"
        yield from (f"<p>Only so does a try count: {escape(text)}</p>" for text in plan.only)
        if plan.tried:
            yield f"<p>Tried: {escape(tried_text(plan))}. {escape(worth_text(plan))}</p>"
        if plan.otherwise:
            yield f"<p>{not_counted(plan.otherwise)}</p>"
    if proof.cleared:
        yield f"<p>Codes cleared: {escape(proof.cleared_when or 'day not known')}.</p>"
    if proof.empty_since_clearing:
        yield f"<p>{escape(EMPTY_LIST)}</p>"
    unseen = {"missing": "not written down"} if ended else {}
    rows = [(item.title, unseen.get(item.state, item.state)) for item in proof.seen]
    rows += [(c.title, f"{c.have:g} of {c.least:g} {c.unit}".strip()) for c in proof.counts]
    if rows:
        cells = "".join(f"<tr><td>{escape(what)}</td><td>{escape(how)}</td></tr>" for what, how in rows)
        yield f"<table><tbody>{cells}</tbody></table>"
    listed = tuple(f"{title}: " for title, _ in rows)
    missing = [said for said in proof.missing if not said.startswith(listed)]  # the rest stands in the table
    if missing and not ended:
        yield f"<h3>Still missing besides</h3>{_listed(map(_capital, missing))}"
    if proof.unlike:
        yield f"<h3>Answered in two ways since the work</h3>{_listed(map(_capital, proof.unlike))}"
    if proof.sources:
        yield f'<p class="quiet">Sources: {escape("; ".join(proof.sources))}</p>'


def _table(heads: str, rows: str) -> str:
    return f'<div class="scroll"><table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>'


def _listed(texts: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(said)}</li>" for said in texts) + "</ul>"


def _capital(said: str) -> str:
    return said[:1].upper() + said[1:]


def _sentence(said: str) -> str:
    said = said.strip()
    return _capital(said) + ("" if said.endswith((".", "!", "?")) else ".")
