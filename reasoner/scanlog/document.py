"""Everything a log says, as one plain document: numbers, words, and what it was all taken from. Printers read this.

Times are seconds of the log, trims per cent, airflow g/s. Nothing here is an array; None stands for what is not known.
"""

from __future__ import annotations

from dataclasses import dataclass

from reasoner.measure.finding import Figure
from reasoner.scanlog.amounts import Fits
from reasoner.scanlog.columns import ColumnUse
from reasoner.scanlog.findings import Others
from reasoner.scanlog.reading import RefusedRows
from reasoner.scanlog.spells import Occurrence


@dataclass(frozen=True)
class FileFacts:
    """rows: that were read. seconds: recorded, pauses left out. rate: rows a second. used, unused: columns.

    defects: what is wrong with it, each with its place; no finding is made of these. codes: named in it, and when (s).
    """

    rows: int
    seconds: float
    rate: float
    encoding: str
    separator: str
    used: tuple[ColumnUse, ...]
    unused: tuple[ColumnUse, ...]
    refused: RefusedRows
    notes: tuple[str, ...]
    defects: tuple[str, ...]
    codes: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class RunFacts:
    """One run of the engine. began: "cold", "hot", "between", or "running" where its start was not seen."""

    number: int
    start: float
    end: float
    began: str
    stood: float | None
    filled: bool


@dataclass(frozen=True)
class PhaseTime:
    """How long the log was in a condition, in how many stretches."""

    phase: str
    seconds: float
    stretches: int


@dataclass(frozen=True)
class BankSpell:
    """A stretch in which a bank's fault showed. began, ended: "switches", "creeps", "engine start", "engine stop",
    "not seen". effect: mean difference of the trim, %."""

    start: float
    end: float
    began: str
    ended: str
    probability: float
    effect: float


@dataclass(frozen=True)
class BankFacts:
    """One bank. closed: share of running time in closed loop; how: as known from. looked: s that counted.

    switching: two states were told apart, with `chance`; kind: "rich" or "lean". why: in words. short, long: median %;
    multiplied, added: of both together, in each of the two ways. at_stop: s of what counted in which the trim stood at
    its stop, and nothing says how far beyond it the mixture was.
    """

    number: int
    closed: float
    how: str
    looked: float
    short: float | None
    long: float | None
    multiplied: float | None
    added: float | None
    at_stop: float
    switching: bool
    kind: str
    chance: float
    why: str
    spells: tuple[BankSpell, ...]
    creeping: tuple[BankSpell, ...]
    fits: Fits | None
    occurrences: tuple[Occurrence, ...]


@dataclass(frozen=True)
class SpellFacts:
    """A spell as a case knows it: one run, one condition, showing or quiet. condition: the rules' name, "" = none.

    run: 0 where the engine stood. One that lies outside the recorded rows' own conditions (how it stood before a start,
    how the rail held after a stop) comes last, and is open.
    """

    number: int
    run: int
    phase: str
    condition: str
    state: str
    probability: float | None
    start: float
    end: float
    seconds: float
    stretches: int


@dataclass(frozen=True, kw_only=True)
class Proposed:
    """An answer for a case. quantity: what was measured, in words; at: "engine", "bank" or "cylinder", and its place.

    value, error: in `unit`, standard error. weights: outcomes in words with how well each fits (the best is 1), where
    the quantity is no number. spell: number of the document's spell it was seen in; phase and condition are its.
    by: the computation of the rules that finds it, where one does, with its figures; "" = the quantity is the figure.
    whole: it is of all that was recorded, not of that spell alone.
    """

    quantity: str
    unit: str = ""
    at: str
    place: int
    value: float | None = None
    error: float | None = None
    weights: tuple[tuple[str, float], ...] = ()
    spell: int
    phase: str
    condition: str
    seconds: float
    says: str
    by: str = ""
    figures: tuple[Figure, ...] = ()
    whole: bool = False


@dataclass(frozen=True)
class Track:
    """One bank over the picture's time: trim (%) and the probability that the fault shows."""

    bank: int
    trim: tuple[float | None, ...]
    showing: tuple[float | None, ...]


@dataclass(frozen=True)
class Point:
    """One moment that counted."""

    airflow: float
    trim: float
    showing: bool


@dataclass(frozen=True)
class Cloud:
    """A bank's moments as read, thinned out, for the picture of trim against airflow. lines: (state, its fitted
    (airflow g/s, trim %) from least to most air)."""

    bank: int
    points: tuple[Point, ...]
    lines: tuple[tuple[str, tuple[tuple[float, float], ...]], ...]


@dataclass(frozen=True)
class Lane:
    """One quantity over the picture's time."""

    name: str
    unit: str
    values: tuple[float | None, ...]


@dataclass(frozen=True)
class LogMark:
    """Something that came at a moment (s): a misfire, a trouble code."""

    time: float
    label: str


@dataclass(frozen=True)
class Picture:
    """time: s. phases: words for each. airflow: g/s. tracks, clouds: for each bank. lanes: what the engine did.

    gaps: (from, to) s between which nothing was recorded.
    """

    time: tuple[float, ...]
    phases: tuple[str, ...]
    airflow: tuple[float | None, ...]
    tracks: tuple[Track, ...]
    clouds: tuple[Cloud, ...]
    lanes: tuple[Lane, ...]
    marks: tuple[LogMark, ...]
    gaps: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class LogDocument(Others):
    """says: the whole in a few sentences. regulated: degC the coolant settles at. missing: quantities that would have
    told more, by name; lacks: what they would have told. air: where airflow comes from, "" = not known.
    """

    name: str
    says: tuple[str, ...]
    file: FileFacts
    runs: tuple[RunFacts, ...]
    times: tuple[PhaseTime, ...]
    regulated: float | None
    missing: tuple[str, ...]
    lacks: tuple[str, ...]
    air: str
    together: str
    banks: tuple[BankFacts, ...]
    spells: tuple[SpellFacts, ...]
    answers: tuple[Proposed, ...]
    picture: Picture
