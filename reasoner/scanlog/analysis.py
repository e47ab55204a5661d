"""A log's bytes to its document: reading, conditions, states, fits, findings, answers, one after the other."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from reasoner.measure.fuel import PETROL, Fuel
from reasoner.scanlog import rolling, shapes, spells, words
from reasoner.scanlog.amounts import AirScale, Fits, size_families, with_second_opinion
from reasoner.scanlog.answers import LogSeen, answers, standing_engine
from reasoner.scanlog.columns import AIRFLOW, BEHIND, COOLANT, INTAKE, LOAD, LONG, LOOP, PURGE, ROAD, SPEED
from reasoner.scanlog.conditions import HOT, PHASES, SINCE_COLD, Conditions, Phase, conditions
from reasoner.scanlog.document import (
    BankFacts,
    BankSpell,
    FileFacts,
    LogDocument,
    PhaseTime,
    RunFacts,
    SpellFacts,
)
from reasoner.scanlog.findings import Others, others, sensor_odds
from reasoner.scanlog.moments import Air, Bank, Looked, airflow, banks, duty, looked
from reasoner.scanlog.numerals import Array
from reasoner.scanlog.picture import Shown, log_picture
from reasoner.scanlog.plausibility import Doubt, believed
from reasoner.scanlog.reading import Columns, LogTable, NoLog, read_log
from reasoner.scanlog.resampling import Flags, Grid, grid
from reasoner.scanlog.spells import CaseSpell, LogSpell, States, case_spells, find_states, occurrences

MOST_GAPS, DROPPED = 6, 0.001  # gaps that are listed; share of rows missing from which it is said; presentation
LEAST_MOMENTS = 60  # moments that count, without which a bank is not looked at further; judgement
VISIBLE = 0.03  # of trim: where the two states differ by less, one cannot be told from the other; judgement


@dataclass(frozen=True)
class Engine:
    """What the person knows of the engine. litres: swept volume, cylinders, banks: None = not said."""

    litres: float | None = None
    cylinders: int | None = None
    banks: int | None = None
    fuel: Fuel = PETROL


@dataclass(frozen=True)
class _Look:
    """One bank's way through the analysis; states is None where there was too little to look at. ranked: what explains
    its trims, the likeliest first."""

    bank: Bank
    looked: Looked
    states: States | None
    chance: float
    fits: Fits | None
    probability: Array
    ranked: tuple[shapes.Explanation, ...] = ()


def analyse(
    content: bytes,
    name: str = "log",
    columns: Columns | None = None,
    engine: Engine | None = None,
    names: Mapping[Phase, str] | None = None,
) -> LogDocument | NoLog:
    """Everything that the bytes of a log say. Never raises, whatever they are.

    columns: a person's mapping (`mapping.read_mapping`). names: the caller's word for each phase, those of a rule
    base's conditions; phases without one give no answers.
    """
    table = read_log(content, columns)
    if isinstance(table, NoLog):
        return table
    recorded = grid(table)
    if isinstance(recorded, str):
        return NoLog(recorded, "a log of one to fifty rows a second, some minutes long", table.refused, table.uses)
    return _document(table, recorded, name, engine or Engine(), names or {})


def _document(table: LogTable, recorded: Grid, name: str, engine: Engine, names: Mapping[Phase, str]) -> LogDocument:
    belief = believed(recorded)
    even = belief.grid
    when = conditions(even)
    air = airflow(even, engine.litres)
    all_banks = banks(even, when, air)
    sharing = engine.banks or max(1, len(all_banks))
    looks = [_first_look(even, when, air, bank, belief.misread) for bank in all_banks]
    ranked = shapes.weigh_both_banks([look.ranked for look in looks])
    looks = [replace(look, ranked=r) for look, r in zip(looks, ranked, strict=True)]
    looks = [_sized(even, when, air, engine, sharing, look) for look in looks]
    stretches = case_spells(even, when, [look.probability for look in looks])
    most = np.fmax.reduce([look.probability for look in looks]) if looks else np.full(len(even), np.nan)
    other = others(even, when, all_banks, air, engine.litres, most)
    facts = tuple(_bank_facts(even, when, look) for look in looks)
    missing = _missing(even, all_banks)
    file = _file_facts(table, even, belief.doubts)
    regulated = _regulated(even, when)

    thinned = {look.bank.number: look.states.fitted.thinned for look in looks if look.states is not None}
    seen = LogSeen(even, when, all_banks, thinned, stretches, names, air, engine.litres, belief.doubts)
    by_bank = {look.bank.number: look.fits for look in looks if look.fits is not None}
    apart, while_standing = standing_engine(seen, other)
    return LogDocument(
        name=name,
        says=tuple(_says(facts, other, regulated)),
        file=file,
        runs=tuple(_run_facts(even, when)),
        times=tuple(_times(even, when)),
        regulated=regulated,
        missing=missing,
        lacks=tuple(words.missing_says(missing, air)),
        air=air.how if air is not None else "",
        together=words.SAID_TOGETHER,
        banks=facts,
        spells=tuple(_spell_facts(s, names) for s in (*stretches, *apart)),
        **vars(other),
        answers=(*answers(seen, by_bank, other), *while_standing),
        picture=log_picture(
            even,
            when,
            air,
            [Shown(look.bank, look.looked, look.states, look.probability) for look in looks],
            file.codes,
        ),
    )


def _missing(even: Grid, all_banks: Sequence[Bank]) -> tuple[str, ...]:
    """Quantities that would have told more, by name."""
    engine = (AIRFLOW, SPEED, ROAD, COOLANT, INTAKE, PURGE, LOAD)
    lacks = [q for q in engine if even.get(q) is None]
    for quantity in (LONG, LOOP, BEHIND) if all_banks else ():
        if all(even.get(quantity, bank.number) is None for bank in all_banks):
            lacks.append(quantity)
    return tuple(lacks)


def _regulated(even: Grid, when: Conditions) -> float | None:
    """degC that the coolant settles at; a short trip settles at nothing."""
    ran = max((even.time[run.end - 1] - even.time[run.start] for run in when.runs), default=0.0)
    settled = math.isfinite(when.regulated) and (when.regulated >= HOT or ran >= SINCE_COLD)
    return when.regulated if settled else None


def _says(facts: Sequence[BankFacts], other: Others, regulated: float | None) -> list[str]:
    said = [s for bank in facts for s in words.bank_says(bank)]
    if not facts:
        said.append("No fuel trim was recorded: nothing can be said of the mixture.")
    named = {bank.number for bank in facts if bank.fits is not None and bank.fits.best is not None}
    seconded = tuple(b for b in other.behind if b.bank in named)  # of the others there is nothing to second
    doubted = {
        bank.number: s.weight for bank in facts if bank.fits for s in bank.fits.shapes if s.name == shapes.SENSED
    }
    told = any(bank.switching for bank in facts)
    return said + words.other_says(replace(other, behind=seconded), regulated, doubted, told)


def _first_look(even: Grid, when: Conditions, air: Air | None, bank: Bank, misread: Array) -> _Look:
    """Which moments count, whether there are two states, and what explains them."""
    seen = looked(even, when, air, bank, duty(even), misread)
    if len(seen.index) < LEAST_MOMENTS:
        return _Look(bank, seen, None, 0.0, None, np.full(len(even), np.nan))
    two, one, chance = shapes.fit_states(seen.sample)
    if spells.missed_while_quiet(even, seen, two):
        two = shapes.turned(two)
    both = find_states(even, when, seen, two, one, chance)
    ranked = shapes.families(both.fitted)
    if both.switching and ranked[0].switching:
        again = find_states(even, when, seen, shapes.only(both.fitted, ranked[0].kinds), one, chance)
        if again.switching:
            both, ranked = again, shapes.families(again.fitted)
    return _Look(bank, seen, both, chance, None, both.probability, ranked)


def _sized(even: Grid, when: Conditions, air: Air | None, engine: Engine, sharing: int, look: _Look) -> _Look:
    """With sizes, and with what the sensor behind the catalyst says of them."""
    both, seen = look.states, look.looked
    if both is None:
        return look
    rpm = even.get(SPEED)
    scale = AirScale(
        sharing,
        air.error if air is not None and air.absolute else None,
        engine.fuel.air_ratio,
        engine.fuel.density,
        None if rpm is None else rpm[seen.index],
        engine.cylinders,
    )

    def of(probability: Array) -> Fits:
        with np.errstate(invalid="ignore"):
            shows = np.nan_to_num(probability) > 0.5
        sizes = size_families(both.fitted, look.ranked, seen, shows[seen.index], even.step, scale)
        share = next((s for s in sizes.shapes if s.name == shapes.SHARE), None)
        if share is None:
            return sizes
        acts = shows if both.switching else when.run >= 0
        odds = sensor_odds(even, look.bank, acts, share.at_most.value > 0)
        return sizes if odds is None else with_second_opinion(sizes, odds)

    if both.switching:
        return replace(look, fits=of(look.probability))
    # what goes with purge, cold or oil does not come and go: no moment is of another state
    sizes = of(np.where(when.run >= 0, 0.0, np.nan))
    always = sizes.best is not None and sizes.best.name in shapes.ALWAYS
    probability = np.where(when.run >= 0, sizes.best.weight if always and sizes.best else 0.0, np.nan)
    return replace(look, fits=of(probability), probability=probability)


def _bank_facts(even: Grid, when: Conditions, look: _Look) -> BankFacts:
    bank, both = look.bank, look.states
    running = when.run >= 0
    closed = float(bank.closed[running].mean()) if running.any() else 0.0
    seconds = float(bank.good.sum()) * even.step
    why = both.why if both is not None else f"only {seconds:.0f} s in steady closed loop: too little to look at"
    return BankFacts(
        number=bank.number,
        closed=closed,
        how=bank.how,
        looked=seconds,
        short=_median(bank.short[bank.good]),
        long=_median(bank.long[bank.good]),
        multiplied=_median(100 * bank.total[bank.good]),
        added=_median(100 * bank.summed[bank.good]),
        at_stop=float((bank.stop[bank.good] != 0).sum()) * even.step,
        switching=both.switching if both is not None else False,
        kind=both.kind if both is not None else "",
        chance=look.chance,
        why=why,
        spells=tuple(map(_bank_spell, both.spells)) if both is not None else (),
        creeping=tuple(map(_bank_spell, both.creeping)) if both is not None else (),
        fits=look.fits,
        occurrences=occurrences(even, when, bank.number, look.probability, _visible(even, look))
        if both is not None
        else (),
    )


def _visible(even: Grid, look: _Look) -> Flags:
    """Moments in which the bank's fault could be seen if it were there."""
    visible = look.bank.good.copy()
    if look.states is not None and look.states.switching:
        visible[look.looked.index] &= np.abs(look.states.fitted.difference) >= VISIBLE
    return visible


def _bank_spell(s: LogSpell) -> BankSpell:
    return BankSpell(s.start, s.end, s.began, s.ended, s.probability, 100 * s.effect)


def _median(values: Array) -> float | None:
    values = values[np.isfinite(values)]
    return float(np.median(values)) if len(values) else None


def _file_facts(table: LogTable, even: Grid, doubts: Sequence[Doubt]) -> FileFacts:
    used = tuple(u for u in table.uses if u.key is not None)
    unused = tuple(u for u in table.uses if u.key is None)
    at = np.clip(np.searchsorted(table.lines, [line for _, line in table.codes]), 0, len(table.lines) - 1)
    return FileFacts(
        len(table.seconds),
        len(even) * even.step,
        even.rate,
        table.encoding,
        table.separator,
        used,
        unused,
        table.refused,
        table.notes,
        tuple(_defects(table, even, doubts)),
        tuple((code, float(table.seconds[i])) for (code, _), i in zip(table.codes, at.tolist(), strict=True)),
    )


def _defects(table: LogTable, even: Grid, doubts: Sequence[Doubt]) -> Iterator[str]:
    """What is wrong with the file, each with its place."""
    yield from table.faults
    for d in doubts:
        line = int(table.lines[min(len(table.lines) - 1, int(np.searchsorted(table.seconds, d.start)))])
        yield f"{d.key} {d.said} ({words.clock(d.start)} to {words.clock(d.end)}, from line {line}): not believed"
    step = np.diff(table.seconds)
    usual = float(np.median(step[step > 0])) if (step > 0).any() else 1.0
    for i in (np.flatnonzero(even.fresh[1:] & np.isfinite(even.pause[1:]))[:MOST_GAPS] + 1).tolist():
        before = float(even.time[i] - even.pause[i])
        line = int(table.lines[min(len(table.lines) - 1, int(np.searchsorted(table.seconds, before)))])
        lasted = words.duration_text(float(even.pause[i]))
        yield f"nothing was recorded for {lasted} from {words.clock(before)} on (line {line})"
    short = (step > 1.8 * usual) & (step < 5 * usual)
    if len(step) and DROPPED < short.mean() < 0.2:
        first = int(table.lines[int(np.argmax(short))])
        count = round(float((step[short] / usual - 1).sum()))
        yield f"about {count} rows are missing one by one, first after line {first}"


def _run_facts(even: Grid, when: Conditions) -> list[RunFacts]:
    return [
        RunFacts(
            number,
            float(even.time[run.start] - even.step / 2),
            float(even.time[run.end - 1] + even.step / 2),
            run.kind,
            run.off if math.isfinite(run.off) else None,
            run.filled,
        )
        for number, run in enumerate(when.runs, start=1)
    ]


def _times(even: Grid, when: Conditions) -> list[PhaseTime]:
    found = []
    for code, phase in enumerate(PHASES):
        here = when.phase == code
        if here.any():
            found.append(PhaseTime(phase, float(here.sum()) * even.step, sum(1 for _ in rolling.runs(here))))
    return found


def _spell_facts(spell: CaseSpell, names: Mapping[Phase, str]) -> SpellFacts:
    return SpellFacts(
        number=spell.number,
        run=spell.run,
        phase=spell.phase,
        condition=names.get(spell.phase, ""),
        state=spell.state,
        probability=spell.probability if math.isfinite(spell.probability) else None,
        start=spell.start,
        end=spell.end,
        seconds=spell.seconds,
        stretches=spell.stretches,
    )
