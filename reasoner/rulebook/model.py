"""The rules as frozen dataclasses. Every entry knows the place it was written at.

Nothing here names a particular fault, check or condition: rules are data.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any, TypeVar

from reasoner.mistake import Place

T = TypeVar("T")


class At(StrEnum):
    """The kind of place a fault sits at, or a check looks at."""

    ENGINE = "engine"
    BANK = "bank"
    CYLINDER = "cylinder"


class Sees(StrEnum):
    """`now`: the fault's signs are there only while it is showing. `ever`: they stay."""

    NOW = "now"
    EVER = "ever"


@dataclass(frozen=True)
class Frequency:
    """A probability as somebody wrote it (a word, a percentage, a count) and its value in 0..1.

    `cases` is how many observed cases it is worth: the denominator of a count, else None (the source decides).
    """

    written: str
    value: float
    place: Place
    cases: float | None = None


@dataclass(frozen=True)
class Origin:
    """Who says so: a key of the bibliography, `practice` or `judgement`; how many cases it is worth; where written."""

    source: str
    weight: float
    place: Place
    because: str = ""


@dataclass(frozen=True)
class Filter:
    """Holds for a vehicle when every named property has one of the values, and distance (km) and model year lie in
    their ranges."""

    values: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    distance_over: float | None = None
    distance_under: float | None = None
    year_over: float | None = None
    year_under: float | None = None


@dataclass(frozen=True)
class MoreLikely:
    """A fault's share is multiplied by `times` for vehicles that pass the filter."""

    when: Filter
    times: float
    place: Place


@dataclass(frozen=True)
class Among:
    """Among the vehicles that pass the filter, the chance of an equipment's first value."""

    when: Filter
    chance: Frequency


@dataclass(frozen=True)
class Equipment:
    """Something that a car may or may not have got, or have of one kind or another: a property of the vehicle.

    name: that of the property, with dashes. ask: one line. chance: of the property's first value, where nothing else is
    known (None: knowing it only drops what the car has not got). among: of other vehicles, the first that fits counts.
    without: equipment that a car without this one has not got either. told_by: checks that ask for the same thing.
    """

    name: str
    title: str
    ask: str
    how: str
    chance: Frequency | None
    among: tuple[Among, ...]
    without: tuple[str, ...]
    told_by: tuple[str, ...]
    origin: Origin

    @property
    def key(self) -> str:
        """The property of the vehicle."""
        return self.name if self.name in DASHED else self.name.replace("-", " ")


DASHED = ("stop-start",)


@dataclass(frozen=True)
class Family:
    """What a kind of fault does, said once. `part_of` names wider families."""

    name: str
    title: str
    means: str
    part_of: tuple[str, ...]
    shows: Mapping[str, Frequency]
    origin: Origin


@dataclass(frozen=True)
class Fault:
    """Something that can be wrong.

    share: part of rich complaints it accounts for, by injection (port, direct, dual); relative numbers.
    pairs: chance that a second place has gone too (None: never expanded to pairs).
    shows: how often the fault acts in a spell, by condition; the key `any` speaks for conditions not named.
    acts_as: its families, nearest first. alike: faults that no check tells from this one, and why that is so.
    after_work: repairs that can bring it in; it is then possible only after one of them. nothing_wrong: stands for a
    repair that has cured everything. gone_without_repair: how often it is gone again without a repair.
    """

    name: str
    title: str
    means: str
    at: At
    share: Mapping[str, float]
    more_likely: tuple[MoreLikely, ...]
    only: Filter
    pairs: Frequency | None
    shows: Mapping[str, Frequency]
    acts_as: tuple[str, ...]
    repair: str
    confirmed_by: tuple[str, ...]
    driving_on: str
    anything_else: bool
    origin: Origin
    alike: Mapping[str, str] = field(default_factory=dict)
    after_work: tuple[str, ...] = ()
    nothing_wrong: bool = False
    gone_without_repair: Frequency | None = None


AND = " + "  # between the names, and the places, of the two faults of a pair; no name has it
AND_ALSO = ", and also "  # and between their titles


class Faults(dict[str, Fault]):
    """Faults by name. A pair of faults (`one + other`) is a fault as well, made when it is asked for by its name; it is
    not among those that are listed."""

    def __missing__(self, name: str) -> Fault:
        one, both, other = name.partition(AND)
        if not both:
            raise KeyError(name)
        return _pair(name, self[one], self[other])


def _pair(name: str, one: Fault, other: Fault) -> Fault:
    """Two faults as one. Which repair mends it, and what it does, is asked of each of the two."""
    second = other.title if other.title[1:2].isupper() else other.title[:1].lower() + other.title[1:]
    driving = " ".join(dict.fromkeys(text for text in (one.driving_on, other.driving_on) if text))
    return replace(
        one,
        name=name,
        title=f"{one.title}{AND_ALSO}{second}",
        means=f"{one.means} {other.means}".strip(),
        acts_as=tuple(dict.fromkeys((*one.acts_as, *other.acts_as))),
        confirmed_by=(*one.confirmed_by, *other.confirmed_by),
        driving_on=driving,
        pairs=None,
        gone_without_repair=None,
    )


@dataclass(frozen=True)
class Reach:
    """What it takes to get into a condition: minutes at work and minutes of waiting."""

    minutes: float
    wait: float


@dataclass(frozen=True)
class Condition:
    """An operating condition. `came_from` gives what it takes when the car is in another one; else `reach`.

    after: checks that must be answered (or passed over) before it is brought about, because it destroys their evidence.
    typed_as: words that stand before readings taken in it. road: the car is driven in it, or to get into it.
    """

    name: str
    title: str
    means: str
    bring_about: str
    reach: Reach
    came_from: Mapping[str, Reach]
    engine_runs: bool
    needs: tuple[str, ...]
    cautions: tuple[str, ...]
    after: tuple[str, ...]
    typed_as: tuple[str, ...]
    origin: Origin
    road: bool = False


@dataclass(frozen=True)
class Caution:
    """What to be told before a step. `hazard`: the step can hurt somebody.

    called_for_by: words; a step of a repair sheet that says one of them has this caution above it.
    """

    name: str
    say: str
    hazard: bool
    origin: Origin
    called_for_by: tuple[str, ...] = ()


@dataclass(frozen=True)
class Tool:
    """Something a check needs. `common`: taken to be at hand unless the person says otherwise."""

    name: str
    title: str
    common: bool
    place: Place


@dataclass(frozen=True)
class Synonym:
    """A word that stands in phrases of owners (`owners say`). also: words that are heard as it."""

    name: str
    also: tuple[str, ...]
    place: Place


@dataclass(frozen=True)
class Source:
    """One entry of the bibliography. `seen`: how it was read (text, abstract, secondary, from memory)."""

    name: str
    cite: str
    seen: str
    place: Place


@dataclass(frozen=True)
class Effort:
    """Minutes of work and money for parts."""

    minutes: float
    money: float


@dataclass(frozen=True)
class Guard:
    """What must be known before a repair is recommended.

    excluded: faults or families that an answer has spoken against and that are unlikely by now. answered: checks.
    beyond: checks that are not enough by themselves; another answer must speak for the same place.
    """

    excluded: tuple[str, ...] = ()
    answered: tuple[str, ...] = ()
    beyond: tuple[str, ...] = ()
    because: str = ""


@dataclass(frozen=True)
class Repair:
    """What to do about a verdict, and what must be seen afterwards.

    minutes, money: for one place. part: what is fitted, one at each place (its usual price is in `money`). each_more:
    every further place in the same go; the rest of `minutes` is for getting there. all_of: the repair that this one
    does at every place. includes: repairs that it makes needless at the same place. instead_of: dearer repairs that
    this cheaper step sometimes (`cures`) saves. only_after: what must be known first. goes_wrong: how often the work
    itself brings a fault in, at each place; raises: faults known otherwise that it can bring in, and their share
    among those with `after work`.
    """

    name: str
    title: str
    do: str
    proof: tuple[str, ...]
    minutes: float
    money: float
    cautions: tuple[str, ...]
    origin: Origin
    part: str = ""
    each_more: Effort | None = None
    all_of: str = ""
    includes: tuple[str, ...] = ()
    instead_of: tuple[str, ...] = ()
    cures: Frequency | None = None
    only_after: Guard | None = None
    goes_wrong: Frequency | None = None
    raises: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Part:
    """A part with its usual price. lasts: half of them wear out between these distances (km); None: not by distance."""

    name: str
    title: str
    money: float
    lasts: tuple[float, float] | None
    origin: Origin


@dataclass(frozen=True)
class Risk:
    """What driving on can do. costs: money if it happens. over: the distance (km) that the frequencies in `given` (by
    fault or family, the nearest wins) speak of. not_above: the chance beyond which nobody is to drive on."""

    name: str
    title: str
    costs: float
    over: float
    not_above: float | None
    given: Mapping[str, Frequency]
    origin: Origin


@dataclass(frozen=True)
class Step:
    """One step of a repair sheet. figures: blanks for the maker's own, never given here. each: done at every place."""

    do: str
    cautions: tuple[str, ...]
    figures: tuple[str, ...]
    each: bool
    place: Place


@dataclass(frozen=True)
class Sheet:
    """How repairs of a kind are done. single_use: parts not to be fitted again. values: parts carry calibration values
    that are entered by cylinder. learned: what to reset and what not, and when."""

    name: str
    title: str
    repairs: tuple[str, ...]
    at_hand: tuple[str, ...]
    single_use: tuple[str, ...]
    steps: tuple[Step, ...]
    values: bool
    learned: tuple[str, ...]
    origin: Origin


@dataclass(frozen=True)
class Proof:
    """One thing that must be seen before a repair counts as proven, or (`never`) one that is not to be done meanwhile.

    shown_by: checks that must be answered as on a sound car. least, unit: a count; `one drive`: met in one drive
    together with the others so marked; `adds up`: over drives; `in a row`: since the last drive that
    brought 0. cleared: only where codes were (not) cleared. where_read: only where a code was read in that state
    ("": in any case). tries_of, tries_where: it says how a clean try has to be made to count, after a repair of one of
    these faults, and where one of these checks was answered otherwise than with its first outcome.
    """

    name: str
    title: str
    say: str
    shown_by: tuple[str, ...]
    least: float | None
    unit: str
    counts: str
    cleared: bool | None
    never: bool
    origin: Origin
    where_read: str = ""
    tries_of: tuple[str, ...] = ()
    tries_where: tuple[str, ...] = ()


@dataclass(frozen=True)
class Code:
    """A standard trouble code and its standard name."""

    name: str
    title: str
    place: Place


@dataclass(frozen=True)
class Outcome:
    """One possible result of a check."""

    name: str
    text: str
    place: Place


@dataclass(frozen=True)
class Statement:
    """How often each outcome is seen. Only what was written: the network fills in the rest.

    `here` speaks for places the fault has, `elsewhere` for the others (None: the check's `otherwise`).
    """

    here: Mapping[str, Frequency]
    elsewhere: Mapping[str, Frequency] | None
    origin: Origin


@dataclass(frozen=True)
class Band:
    """One outcome's range of a reading: low <= value < high; None is open."""

    outcome: str
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Measure:
    """How a typed number becomes an outcome. `spread` is the reading's standard deviation in `unit`."""

    quantity: str
    unit: str
    bands: tuple[Band, ...]
    spread: float
    least: float | None
    most: float | None

    def allows(self, number: float) -> bool:
        """Whether there can be such a reading."""
        too_low = self.least is not None and number < self.least
        return not too_low and not (self.most is not None and number > self.most)


@dataclass(frozen=True)
class Within:
    """A figure of a computation lies in a range (low <= value < high; None is open), or is of a kind."""

    figure: str
    low: float | None
    high: float | None
    kind: str = ""


@dataclass(frozen=True)
class Computed:
    """How the figures of a computation become an outcome.

    by: the computation. outcomes: what must hold of its figures, all together. rest: the outcome that takes whatever
    is left ("": what fits no outcome says nothing). spread: of a figure that brings no standard error of its own.
    """

    by: str
    outcomes: Mapping[str, tuple[Within, ...]]
    rest: str
    place: Place
    spread: float = 0.0


@dataclass(frozen=True)
class Check:
    """Anything that can be observed or done.

    kind: told | code | reading | look | test. outcomes: first is what a sound car shows.
    at: each place of this kind gets its own outcome. sees: see `Sees`.
    conditions: where it can be done (empty: anywhere). otherwise: outcome frequencies with no fault to see.
    given: by fault or family name. stands_for: checks it makes redundant in the same spell.
    provokes: brings the fault on at the place it is done to; done place by place.
    after: checks to be done first. leaves: the condition the car is in afterwards ("" = unchanged).
    after_work: asked only after one of these repairs (empty: always). computed: how its outcome is worked out.
    owners_say: outcome -> phrases by which it is heard in a complaint. not_meant: longer ones that hold one of
    these and mean something else. happens_in: outcome -> conditions in which, by that, it happens.
    all_alike: chance that what a fault does alike to all places is one thing there: all of a set, or none.
    two_show: outcome -> two others: it is there where of two faults one shows this and the other that.
    elsewhere_in: how far from a cylinder what is said `elsewhere` holds: at its `bank`, or in the whole `engine`.
    while_rich: it needs a rich mixture now: the outcome that says that there is none, or `only` ("" = it needs none).
    said_rich: the outcome that is meant where somebody only says that it is rich now ("" = none is).
    intake: told with others of its kind before the first question: work, renewed, since, pattern, also, manner; "": by
    itself; mended: by itself, and heard in a complaint only where that tells of something done.
    codes: place number -> codes that mean the second outcome (`any`: whatever code); place 0 is the engine.
    not_where: check -> outcomes of it after which there is nothing to ask here. codes_of, code_states: a check
    whose codes are meant, and outcome -> states in which these were read that mean it.
    """

    name: str
    title: str
    kind: str
    ask: str
    how: str
    at: At
    sees: Sees
    conditions: tuple[str, ...]
    only: Filter
    outcomes: tuple[Outcome, ...]
    otherwise: Statement
    given: Mapping[str, Statement]
    minutes: float
    wait: float
    money: float
    needs: tuple[str, ...]
    cautions: tuple[str, ...]
    stands_for: tuple[str, ...]
    after: tuple[str, ...]
    provokes: bool
    leaves: str
    codes: Mapping[int, tuple[str, ...]]
    measure: Measure | None
    words: tuple[str, ...]
    origin: Origin
    after_work: tuple[str, ...] = ()
    computed: Computed | None = None
    intake: str = ""
    while_rich: str = ""
    said_rich: str = ""
    elsewhere_in: str = "engine"
    two_show: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    all_alike: float = 0.0
    owners_say: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    not_meant: tuple[str, ...] = ()
    not_where: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    happens_in: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    codes_of: str = ""
    code_states: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Afterwards:
    """Numbers for what follows a verdict.

    comeback_costs: money for a car that comes back, before any repair. comeback_within: km that count as coming back.
    hand_on_costs: money for a car that is given to somebody else to find it, before any repair. another_visit_costs:
    money for a car that was sent away to be watched and comes in again, before anything is looked at. never_looked_at:
    chance that a part is not it which no look at the car has spoken for, whatever is believed.
    watch_for: km driven when nothing is done yet. excluded_below: chance below which a fault may count as excluded.
    speaks_from: decibans from which an answer counts as speaking for or against. proof_begins_at: chance that the
    fault is still there, before any proof, whatever was believed; proof_below: chance below which it counts as gone.
    most_provocations: more than so many nobody does. beside_the_work: part of what work brings in that is found at a
    place where it was not done.
    """

    comeback_costs: float = 150.0
    hand_on_costs: float = 600.0
    another_visit_costs: float = 60.0
    never_looked_at: float = 0.2
    comeback_within: float = 20000.0
    watch_for: float = 1000.0
    excluded_below: float = 0.05
    speaks_from: float = 3.0
    proof_begins_at: float = 0.5
    proof_below: float = 0.05
    most_provocations: float = 30.0
    beside_the_work: float = 0.1


@dataclass(frozen=True)
class Settings:
    """Numbers of the reasoning itself, kept with the rules so that they have a source too.

    report_right: chance that what was reported is what was there, by `sure`, `think so`, `guess`.
    weights: how many observed cases each kind of source is worth.
    unlikeliest: the least probability of any outcome under any cause (everybody misreads once).
    dominates, lead: what is recommended is called settled where it cures as surely as this; lead: how many times as
    likely as the next the first cause is then to be, where causes alone are compared.
    least_gain: bits a check must bring for every quarter of an hour it costs. waiting_counts: share of a waiting
    minute that counts; waiting_most: minutes that one wait counts at the most. hazard_minutes: what a hazardous step
    costs on top. asking_minutes: what any question costs; owner_minutes: what one to the owner costs besides, who has
    gone by then. looks_dearer: how much dearer a bit becomes on the way than it is now. hour_costs: money for an hour,
    where money is what counts. afterwards: what follows a verdict.
    shows_unless_said: showing frequency where nothing is written. activity_varies: how far cars with the same fault
    differ in how often it shows (standard deviation of the log odds). same_again: chance that a second look at the same
    thing in the same state sees only again what the first one saw. same_everywhere: chance that what a check shows at
    several places, with nothing to see there, is the same at all of them; same_at_banks: the same of both banks, of
    what they show while a fault of the whole engine does. two_faults: share of cars with two faults at once (0: never
    reckoned with); two_faults_from: decibans by which two have to explain the answers better than either alone before
    they are weighed.
    """

    report_right: Mapping[str, float]
    weights: Mapping[str, float]
    unlikeliest: float
    dominates: float
    lead: float
    least_gain: float
    waiting_counts: float
    hazard_minutes: float
    asking_minutes: float
    hour_costs: float
    shows_unless_said: Frequency
    origin: Origin
    afterwards: Afterwards = Afterwards()
    activity_varies: float = 0.7
    same_again: float = 0.67
    same_everywhere: float = 0.25
    two_faults: float = 0.0
    two_faults_from: float = 13.0
    waiting_most: float = 20.0
    looks_dearer: float = 1.5
    owner_minutes: float = 0.0
    same_at_banks: float = 0.0

    def waiting(self, minutes: float) -> float:
        """Minutes that a wait counts."""
        return min(self.waiting_counts * minutes, self.waiting_most)

    def work(self, check: Check) -> float:
        """Minutes of work that a check takes by itself."""
        return check.minutes + (self.owner_minutes if check.kind == "told" else 0.0)


@dataclass(frozen=True)
class Written:
    """A value as it was written, and where; what it replaced, the latest last (itself with nothing before it)."""

    text: str
    place: Place
    before: tuple[Written, ...] = ()


Trail = tuple[str, ...]  # section, entry, key; a fourth part where a key's values have names of their own


class Kept:
    """What was worked out from something that never changes, kept with it: by what it is and by what else it hangs on.
    What is made from it with something replaced begins with nothing kept."""

    def __init__(self) -> None:
        self._shelves: dict[Hashable, dict[Any, Any]] = {}

    def __reduce__(self) -> tuple[type[Kept], tuple[()]]:
        return Kept, ()  # stays with the process

    def shelf(self, *name: Hashable) -> dict[Any, Any]:
        """All that is kept of one kind, to be looked up and added to."""
        found = self._shelves.get(name)
        if found is None:
            found = self._shelves[name] = {}
        return found

    def once(self, name: str, key: Hashable, work: Callable[[], T], most: int = 0) -> T:
        """What `work` comes to for this key. most: so many of a kind are kept, the latest ones (0: all)."""
        known = self.shelf(name)
        if key not in known:
            while most and len(known) >= most:
                del known[next(iter(known))]
            known[key] = work()
        found: T = known[key]
        return found


@dataclass(frozen=True)
class Rulebook:
    """All the rules, by name, in the order written. `stamp` identifies their exact text.

    written: every value by (section, entry, key) as text with its place, and what it replaced where one layer of
    rules lies over another; the settings are section and entry `settings`, a code is an entry without keys.
    over: those of the files that are laid over the lowest layer.
    waived: (section, entry) -> what a person has decided not to be told again about it, and why.
    """

    conditions: Mapping[str, Condition]
    families: Mapping[str, Family]
    faults: Mapping[str, Fault]
    checks: Mapping[str, Check]
    repairs: Mapping[str, Repair]
    cautions: Mapping[str, Caution]
    tools: Mapping[str, Tool]
    sources: Mapping[str, Source]
    codes: Mapping[str, Code]
    settings: Settings
    files: tuple[str, ...]
    stamp: str
    parts: Mapping[str, Part] = field(default_factory=dict)
    risks: Mapping[str, Risk] = field(default_factory=dict)
    sheets: Mapping[str, Sheet] = field(default_factory=dict)
    proofs: Mapping[str, Proof] = field(default_factory=dict)
    equipment: Mapping[str, Equipment] = field(default_factory=dict)
    synonyms: Mapping[str, Synonym] = field(default_factory=dict)
    written: Mapping[Trail, Written] = field(default_factory=dict)
    waived: Mapping[tuple[str, str], Mapping[str, str]] = field(default_factory=dict)
    over: frozenset[str] = frozenset()
    kept: Kept = field(default_factory=Kept, init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "faults", Faults(self.faults))

    @property
    def replaced(self) -> Mapping[Trail, Written]:
        """The values that stand in place of others."""
        return {trail: value for trail, value in self.written.items() if value.before}

    def said_at(self, section: str, name: str, key: str, otherwise: Place) -> Place:
        """Where a value of an entry stands, if it (or a part of it) was replaced; else the place given."""
        trail = section, name, key
        return next((value.place for at, value in self.replaced.items() if at[:3] == trail), otherwise)
