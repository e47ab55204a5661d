"""Lints about numbers that the rules state: sums, repetitions, whom they are taken from."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from reasoner.lint.context import Context, LintFinding, lint, statements
from reasoner.measure.finding import percent
from reasoner.network.tables import distribution_row
from reasoner.rulebook.model import Check, Frequency

# ---- adds up ---------------------------------------------------------------------------------------------------------

ROUNDING = 0.005  # per cent are written as whole numbers


@lint(
    "does-not-add-up",
    "likelihoods that do not add up to 100 %",
    "name every outcome that differs from `otherwise`, with less for one of them",
)
def adds_up(context: Context) -> Iterator[LintFinding]:
    """Likelihoods that do not add up.

    Outcomes that are not named take what `otherwise` says, the first takes the rest. Where these pass 100 %, all are
    scaled down (words are rough), and something else is used than what was written.

    Good:

        checks:
          flame:
            name: Colour of the flame
            kind: look
            ask: What colour is the flame?
            sees: now
            in: [warm-idle]
            outcomes: {blue: blue, yellow: yellow, white: white}
            otherwise: {yellow: seldom, white: sometimes}
            given: {leak: {yellow: very often, white: rarely}}
            minutes: 5
            source: practice

    Bad:

        checks:
          flame:
            name: Colour of the flame
            kind: look
            ask: What colour is the flame?
            sees: now
            in: [warm-idle]
            outcomes: {blue: blue, yellow: yellow, white: white}
            otherwise: {yellow: seldom, white: sometimes}
            given: {leak: {yellow: very often}, meter-high: {yellow: seldom, white: rarely}}
            minutes: 5
            source: practice
    """
    floor = context.book.settings.unlikeliest
    for name, entry in context.book.checks.items():
        base = distribution_row(entry, entry.otherwise.here, [floor] * len(entry.outcomes), floor)
        for subject, statement in statements(entry):
            for where, named in (("", statement.here), (" elsewhere", statement.elsewhere)):
                if named and (said := _departs(entry, named, base, floor)):
                    message = f'"{name}" under {subject}{where}: {said}'
                    yield LintFinding("checks", name, statement.origin.place, len(subject), message)


def _departs(entry: Check, named: Mapping[str, Frequency], base: list[float], floor: float) -> str:
    """What was written and what is used instead, where the two differ; else nothing."""
    first, *others = (outcome.name for outcome in entry.outcomes)
    meant = {other: named[other].value if other in named else base[i] for i, other in enumerate(others, start=1)}
    if first in named:
        meant[first] = named[first].value
    total = sum(meant.values())
    if total <= 1 + ROUNDING and (first not in named or total >= 1 - ROUNDING):
        return ""
    used = dict(zip((first, *others), distribution_row(entry, named, base, floor), strict=True))
    changed = ", ".join(f"{o} {100 * p:.0f} % used as {100 * used[o]:.0f} %" for o, p in meant.items())
    return f"the outcomes add up to {100 * total:.0f} %: {changed}"


# ---- repeats ---------------------------------------------------------------------------------------------------------


@lint(
    "repeats-otherwise",
    "a statement that only repeats `otherwise`",
    "take it out, or say what is different",
)
def repeats(context: Context) -> Iterator[LintFinding]:
    """A statement that only repeats `otherwise`.

    It says of a fault or family what holds with nothing to see. That has a meaning only where it keeps a wider family,
    which says something else, from being heard.

    Good:

        checks:
          airflow: {given: {leak: {too-much: 20 %}}}
          trim: {given: {meter-high: {rich: seldom}}}

    Bad:

        checks:
          airflow: {given: {leak: {too-much: rarely}}}
    """
    floor = context.book.settings.unlikeliest
    for name, entry in context.book.checks.items():
        base = distribution_row(entry, entry.otherwise.here, [floor] * len(entry.outcomes), floor)
        for subject, statement in entry.given.items():
            said = [named for named in (statement.here, statement.elsewhere) if named is not None]
            rows = [distribution_row(entry, named, base, floor) for named in said]
            if any(abs(a - b) > 1e-9 for row in rows for a, b in zip(row, base, strict=True)):
                continue
            if not _silences(context, name, subject):
                message = f'what "{name}" says under {subject} is what it says under `otherwise`'
                yield LintFinding("checks", name, statement.origin.place, len(subject), message)


def _silences(context: Context, name: str, subject: str) -> bool:
    """Whether somebody wider would be heard for some fault, if this one said nothing."""
    entry = context.book.checks[name]
    for car in context.cars:
        for fault in car.cause_of if car.table(name) else ():
            speakers = car.speakers(fault, entry)
            if speakers[:1] == [subject] and len(speakers) > 1:
                return True
    return False


# ---- never reached ---------------------------------------------------------------------------------------------------


@lint(
    "never-reached",
    "a statement that is never heard",
    "take it out; or look at `acts as` of the faults it is meant for, and at what stands nearer to them",
)
def never_reached(context: Context) -> Iterator[LintFinding]:
    """A statement that is never heard.

    The nearest statement wins: one about a family is never used where every fault of that family has a nearer one, or
    where no fault acts as the family on a vehicle that the check applies to.

    Good:

        checks:
          trim: {given: {leak: {rich: often}}}

    Bad:

        checks:
          trim: {given: {leak: {rich: often}, meter-high: {rich: very often}}}
    """
    for name, entry in context.book.checks.items():
        cars = [car for car in context.cars if car.table(name)]
        heard = {who for car in cars for who in car.heard(entry)}
        for subject, statement in entry.given.items():
            if subject not in heard:
                message = f'what "{name}" says under {subject} is heard for no fault'
                yield LintFinding("checks", name, statement.origin.place, len(subject), message)


# ---- out of proportion -----------------------------------------------------------------------------------------------

MOST_OF_ALL = 1 / 3  # of the complaints of a kind of injection
MOST_OTHERWISE = 0.5
MANY_FAULTS = 20  # among fewer a third is not much


@lint(
    "out-of-proportion",
    "a shop's own number that outweighs all the rest",
    "look at the number again; what it says holds for every car",
)
def out_of_proportion(context: Context) -> Iterator[LintFinding]:
    """A shop's own number that outweighs all the rest.

    A share of more than a third of all makes one fault the first suspect of every car before anything was asked. An
    outcome that is seen more often than not whatever is wrong tells of nothing: mostly the two outcomes were turned
    round. Only what lies over the shipped rules is judged.

    Good:

        checks:
          flame:
            name: Colour of the flame
            kind: look
            ask: What colour is the flame?
            sees: now
            in: [warm-idle]
            outcomes: {blue: blue, yellow: yellow}
            otherwise: {yellow: 4 %}
            given: {leak: {yellow: 80 %}}
            minutes: 5
            source: practice

    Bad:

        checks:
          flame:
            name: Colour of the flame
            kind: look
            ask: What colour is the flame?
            sees: now
            in: [warm-idle]
            outcomes: {blue: blue, yellow: yellow}
            otherwise: {yellow: 80 %}
            given: {leak: {yellow: 4 %}}
            minutes: 5
            source: practice
    """
    book = context.book
    everywhere: dict[str, float] = {}
    for fault in book.faults.values():
        for injection, share in fault.share.items():
            everywhere[injection] = everywhere.get(injection, 0.0) + share
    for trail, value in book.written.items():
        if value.place.file not in book.over:
            continue
        section, name, key, *part = (*trail, "")[: max(3, len(trail))]
        if (section, key) == ("faults", "share") and len(book.faults) >= MANY_FAULTS:
            shares = book.faults[name].share
            most = max(shares[injection] / everywhere[injection] for injection in shares if shares[injection])
            if most > MOST_OF_ALL:
                message = f'"{name}" has {percent(most)} of all shares'
                yield LintFinding("faults", name, value.place, len(value.text), message)
        if (section, key) == ("checks", "otherwise") and name in book.checks:
            check = book.checks[name]
            for outcome in (o.name for o in check.outcomes[1:] if not part or o.name == part[0]):
                seen = check.otherwise.here.get(outcome)
                if seen is not None and seen.value > MOST_OTHERWISE:
                    message = f'"{name}" comes out as "{outcome}" in {percent(seen.value)}, whatever is wrong'
                    yield LintFinding("checks", name, value.place, len(value.text), message)


# ---- borrowed --------------------------------------------------------------------------------------------------------

OWNED = ("share", "shows", "pairs", "more likely", "otherwise", "given", "minutes", "wait", "money", "from")


@lint(
    "borrowed-source",
    "a changed number under the old source",
    "add whose number it is: source: practice, judgement, or a key of `sources`",
)
def borrowed(context: Context) -> Iterator[LintFinding]:
    """A number of the shop's under somebody else's source.

    Where a shop's rules change a number of an entry whose `source` is a key of the bibliography, and do not say whose
    number it now is, it would stand there as if it had been published.

    Good:

        faults:
          meter-high: {share: 40, source: practice}

    Bad:

        faults:
          meter-high: {share: 40}
    """
    written = context.book.written
    order = {file: number for number, file in enumerate(context.book.files)}  # from the lowest layer up
    for trail, value in written.items():
        section, name, key, *part = (*trail, "", "")[: max(3, len(trail))]
        source = written.get((section, name, "source"))
        if key not in OWNED or source is None or source.text not in context.book.sources:
            continue
        if part and trail[:3] in written:
            continue  # said of the whole
        says_its_own = key == "given" and "source: " in value.text
        if order[value.place.file] > order[source.place.file] and not says_its_own:
            what = f"{key}: {part[0]}" if part else key
            message = f'`{what}` of "{name}" is changed here, and would stand under {source.text}'
            yield LintFinding(section, name, value.place, len(value.text), message)
