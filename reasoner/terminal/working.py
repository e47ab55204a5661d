"""An answer worked out from readings: its inputs one at a time, then what they say, then kept or not."""

from __future__ import annotations

from collections.abc import Mapping

from rich.console import RenderableType

from reasoner.inference.plan import Option
from reasoner.measure.asks import EXAMPLE_INPUT, Ask, Inputs, OperatingPoint, take_input
from reasoner.mistake import Mistake
from reasoner.rulebook.model import Check
from reasoner.session import acts, readings
from reasoner.session.acts import Refused
from reasoner.session.readings import Worked
from reasoner.session.record import setting_of
from reasoner.session.words import percent, places_of
from reasoner.terminal.blocks import CARE, KEY, head, para, rows, table
from reasoner.terminal.picking import Back
from reasoner.terminal.picking import ask as ask_line
from reasoner.terminal.sitting import Sitting, in_words, keep_answer

MEASURE_WORDS = ("m", "measure")
NOT_LISTED = 0.05  # outcomes with less of the weight than this are not listed


def ask_and_work_out(
    sitting: Sitting,
    check: Check,
    option: Option | None = None,
    seen_in: str | None = None,
    instead_of: int = 0,
) -> bool:
    """Ask for a computation's inputs and keep what they say of the check. True if it was kept."""
    working = readings.working_of(check)
    if working is None:
        return False
    console = sitting.console
    console.show(head("Worked out", f"{working.says} Enter: not read; b: back"))
    texts: dict[str, str] = {}
    while True:
        if not _ask_all(sitting, working.asks, texts):
            return False
        try:
            worked = readings.outcome_from_inputs(sitting.workup, check.name, texts)
        except Refused as refused:
            console.say(in_words(refused))
            ask_line(
                console,
                "Enter: go through them again, b: leave it > ",
                "What was typed stands in [ ] and can be changed.",
            )
            continue
        console.page(*_blocks(sitting, check, worked))
        if not worked.speaks:
            console.say("These figures fit none of its outcomes better than the others: nothing is kept.")
            return False
        helps = "The shares above are kept as the answer to the check."
        line = ask_line(console, "Enter keeps it as the answer, c: change something, b: not > ", helps).lower()
        if not line:
            return _keep(sitting, check, worked, option, seen_in, instead_of)
        if line not in ("c", "change"):
            console.say("Not kept.")
            return False


def _ask_all(sitting: Sitting, asks: tuple[Ask, ...], texts: dict[str, str]) -> bool:
    """Every input that is worth asking for; what was typed goes into `texts`. False if the person leaves."""
    console, setting = sitting.console, setting_of(sitting.workup.vehicle)
    asked: list[int] = []
    number = 0
    while number < len(asks):
        ask = asks[number]
        if not ask.wanted(_so_far(asks[:number], texts, sitting)):
            number += 1
            continue
        before = texts.get(ask.name) or readings.remembered(sitting.workup, ask)
        metered = sitting.workup.vehicle.properties.get("metering") == "airflow"
        helps = "A number as it was read, with its unit where that is another one. Enter: not read."
        try:
            line = ask_line(console, _prompt(ask, setting.places(ask.at), before, metered), helps)
        except Back:
            if not asked:
                return False
            number = asked.pop()
            continue
        typed = line or before
        got = take_input(ask, typed, setting)
        if isinstance(got, Mistake):
            console.say(str(got))
            continue
        if typed:
            texts[ask.name] = typed
        asked.append(number)
        number += 1
    return True


def _so_far(asks: tuple[Ask, ...], texts: Mapping[str, str], sitting: Sitting) -> Inputs:
    found = {ask.name: take_input(ask, texts.get(ask.name, ""), setting_of(sitting.workup.vehicle)) for ask in asks}
    return Inputs(
        {name: got for name, got in found.items() if isinstance(got, Mapping)},
        {name: got for name, got in found.items() if isinstance(got, OperatingPoint)},
    )


def _prompt(ask: Ask, places: tuple[int, ...], before: str, metered: bool) -> str:
    unit = f" in {ask.unit}" if ask.unit else ""
    hint = f" ({EXAMPLE_INPUT}{'' if metered else ', or 32 kPa 700 rpm 40 C'})" if ask.point else unit
    where = "" if len(places) == 1 else f", by {ask.at} ({' '.join(f'{p}=..' for p in places)})"
    return f"{ask.say}{hint}{where}{f' [{before}]' if before else ''} > "


def _blocks(sitting: Sitting, check: Check, worked: Worked) -> list[RenderableType]:
    """The figures, what they mean, the formula, how sure, and the answer that they come to."""
    finding, places = worked.finding, places_of(sitting.workup.vehicle, check)
    figures = [
        (places[place] if len(finding.figures) > 1 else "", figure.name, str(figure))
        for place, found in finding.figures.items()
        for figure in found
    ]
    blocks: list[RenderableType] = [head("Figures"), table(figures, [KEY])]
    for title, said in (("It means", finding.means), ("How", finding.formula), ("How sure", finding.sure)):
        blocks += [head(title), *(para(line) for line in said)]
    if finding.warns:
        blocks += [head("Look again", style=CARE), *(para(line) for line in finding.warns)]
    texts = {outcome.name: outcome.text for outcome in check.outcomes}
    answers = [(places[place], _shares(weights, texts)) for place, weights in worked.weights.items()]
    return [*blocks, head("As an answer", "how well each fits"), rows(answers)]


def _shares(weights: Mapping[str, float], texts: Mapping[str, str]) -> str:
    """`rich 96 %, normal 4 %`: how well each outcome fits, as shares of the whole."""
    whole = sum(weights.values())
    ranked = sorted(((weight / whole, texts[name]) for name, weight in weights.items()), key=lambda pair: -pair[0])
    return "; ".join(f"{text}: {percent(share)}" for share, text in ranked if share >= NOT_LISTED)


def _keep(
    sitting: Sitting, check: Check, worked: Worked, option: Option | None, seen_in: str | None, instead_of: int
) -> bool:
    told = check.name, worked.weights, "sure", option, worked.reading, seen_in, worked.inputs
    return keep_answer(sitting, acts.answer(sitting.workup, *told, instead_of=instead_of), check, instead_of)


def offers(check: Check) -> str:
    """The line that says it can be worked out, or ""."""
    working = readings.working_of(check)
    return "" if working is None else f"m: work it out from readings ({working.name})"
