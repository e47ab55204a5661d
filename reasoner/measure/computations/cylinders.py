"""One cylinder against the others: misfire counts, cut-out balance, plugs, injectors on a bench, leaker and others."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from reasoner.measure.asks import Ask, Inputs, Setting
from reasoner.measure.computations.base import Computation, Result, odds
from reasoner.measure.finding import Figure, Finding, ratio_figure
from reasoner.measure.uncertain import Estimate, through
from reasoner.mistake import Mistake
from reasoner.rulebook.model import At

BURSTS = 2.0  # misfires come in bursts: how many times wider than for single ones their errors are taken; judgement
HALF_A_COUNT = 0.5  # added to each count, so that none against few is not infinitely many times (Jeffreys' prior)
DROP = 0.10  # share of the mean drop in speed that one reading may be off by; judgement
TRIM_ERROR = 3.0  # % of trim, standard error of one steady reading; judgement
RANK = 0.7  # of a plug's rank; judgement
FLOW, LEAK = 1.0, 1.0  # % of flow, mm3/min: standard errors of a bench; judgement


def _several(name: str, values: Mapping[int, float]) -> Mistake | None:
    return None if len(values) >= 2 else Mistake(name, "one cylinder has none to be compared with", "all of them")


def misfire_figures(counts: Mapping[int, float]) -> dict[int, tuple[Figure, ...]]:
    """Each cylinder's count, and how many times as much it is as the mean of the others (two cylinders at least)."""
    total, others = sum(counts.values()), len(counts) - 1
    figures: dict[int, tuple[Figure, ...]] = {}
    for place, count in counts.items():
        mine, theirs = count + HALF_A_COUNT, total - count + HALF_A_COUNT * others
        ratio = ratio_figure("against the others", mine / (theirs / others), BURSTS * math.sqrt(1 / mine + 1 / theirs))
        figures[place] = (ratio, Figure("count", "", Estimate(count, BURSTS * math.sqrt(count + HALF_A_COUNT))))
    return figures


def _counts(given: Inputs, setting: Setting) -> Result:
    counts = given.by_place("counts")
    if wrong := _several("counts", counts):
        return wrong
    if any(value != int(value) for value in counts.values()):
        return Mistake("counts", "misfires are counted in whole numbers", "1=4 2=0 3=62 4=3")
    figures = misfire_figures(counts)
    found = counts_stand_out({place: int(count) for place, count in counts.items()})
    if found is None:
        means = "No misfires were counted."
    elif found.chance < 0.05:
        means = (
            f"Cylinder {found.place} stands out: {counts[found.place]:g}, {found.by:.0f} more than the others' mean."
        )
    else:
        means = "No cylinder stands out."
    chance = (
        "" if found is None else f"So many in one of {len(counts)} alike cylinders by accident: {odds(found.chance)}."
    )
    return Finding(
        figures,
        ("counts of a cylinder / mean counts of the others", "chance: binomial, times the number of cylinders"),
        (means, "A count names the cylinder that did not burn, not the one that leaks."),
        tuple(
            filter(
                None,
                (
                    chance,
                    f"Misfires come in bursts: errors are taken {BURSTS:g} times as wide, and that chance is too low.",
                ),
            )
        ),
    )


MISFIRES = Computation(
    "misfire counts",
    At.CYLINDER,
    "Misfire counts by cylinder (service 06): which stands out.",
    (
        Ask(
            "counts",
            "Misfire counts by cylinder",
            "",
            0,
            65535,
            At.CYLINDER,
            needed=True,
            live=("misfires, cylinder {}",),
        ),
    ),
    _counts,
)


def _outlier(values: Mapping[int, float], spread: float, unit: str, what: str) -> tuple[str, str]:
    """What stands out, and the chance of it by accident."""
    found: StandsOut | None = stands_out(values, spread)
    if found is None:
        return "", ""
    chance = (
        f"{what.capitalize()}: so far off in one of {len(values)} alike cylinders by accident: {odds(found.chance)}."
    )
    if found.chance < 0.05:
        side = "more" if found.by > 0 else "less"
        return f"Cylinder {found.place}: {abs(found.by):.2g}{unit} {side} than the mean of the others ({what}).", chance
    return f"No cylinder stands out ({what}).", chance


def _balance(given: Inputs, setting: Setting) -> Result:
    drops, cut, before = given.by_place("drops"), given.by_place("trims"), given.get("trim before")
    if wrong := _several("drops", drops):
        return wrong
    if cut and before is None:
        return Mistake("trim before", "the trim before any cut is needed to see which brings it back")
    mean = sum(drops.values()) / len(drops)
    if mean <= 0:
        return Mistake("drops", "cutting a cylinder lowers the speed", "how far it falls, in rpm, above 0")
    spread = DROP * mean
    figures: dict[int, tuple[Figure, ...]] = {}
    for place, drop in drops.items():
        rest = (sum(drops.values()) - drop) / (len(drops) - 1)
        share = through(
            lambda d, r: 100 * d / r, Estimate(drop, spread), Estimate(rest, spread / math.sqrt(len(drops) - 1))
        )
        figures[place] = (Figure("drop", "%", share),)
        if place in cut:
            comes = Estimate(cut[place] - (before or 0.0), TRIM_ERROR * math.sqrt(2))
            figures[place] = (*figures[place], Figure("trim comes back", "%", comes))
    out, chance = _outlier(drops, spread, " rpm", "fall in speed")
    lines = [out]
    if cut:
        most = max(cut, key=lambda place: cut[place])
        back = cut[most] - (before or 0.0)
        if back > 2 * TRIM_ERROR * math.sqrt(2):
            lines.append(f"Cutting cylinder {most} brings the trim back by {back:.0f} %: its fuel is what is too much.")
    return Finding(
        figures,
        ("fall in speed / mean fall of the others", "trim with the cylinder cut - trim before"),
        (*lines, "A rich cylinder may pull as well as the others; a leak goes on with the injector cut."),
        (
            chance,
            f"A fall is taken to be good to {100 * DROP:.0f} % of the mean, a trim to {TRIM_ERROR:g} % (judgement).",
        ),
    )


BALANCE = Computation(
    "cut-out balance",
    At.CYLINDER,
    "Fall in speed, and trim, with one cylinder's fuel cut after another.",
    (
        Ask("drops", "Fall in speed by cylinder", "rpm", 0, 1000, At.CYLINDER, needed=True),
        Ask("trim before", "Total trim before any cut", "%", -100, 100, pairs=True),
        Ask("trims", "Total trim with each cylinder cut", "%", -100, 100, At.CYLINDER),
    ),
    _balance,
)


def _ranks(given: Inputs, setting: Setting) -> Result:
    ranks = given.by_place("ranks")
    if wrong := _several("ranks", ranks):
        return wrong
    out, chance = _outlier(ranks, RANK, "", "rank")
    return Finding(
        {place: (Figure("rank", "", Estimate(rank, RANK)),) for place, rank in ranks.items()},
        ("rank: 0 clean, 1 light, 2 dark, 3 sooty, 4 damp, 5 wet with fuel",),
        (out, *(["All alike: look for what they share."] if out.startswith("No") else [])),
        (chance, f"A rank is taken to be good to {RANK:g} (judgement)."),
    )


PLUGS = Computation(
    "plug ranks",
    At.CYLINDER,
    "How dark each plug is: which stands out.",
    (Ask("ranks", "Plugs by cylinder, 0 clean to 5 wet with fuel", "", 0, 5, At.CYLINDER, needed=True),),
    _ranks,
)


def _bench(given: Inputs, setting: Setting) -> Result:
    flows, leaks = given.by_place("flows"), given.by_place("leaks")
    if not flows and not leaks:
        return Mistake("", "flow or leakage by cylinder is wanted")
    if flows and (wrong := _several("flows", flows)):
        return wrong
    if flows and min(flows.values()) <= 0:
        return Mistake("flows", "an injector that does not flow has no share to compare", "leave it out (3=-)")
    figures: dict[int, tuple[Figure, ...]] = {}
    means: list[str] = []
    sure = [f"A bench is taken to be good to {FLOW:g} % and {LEAK:g} mm3/min (judgement). Maker's limits first."]
    relative: dict[int, float] = {}
    for place in sorted(flows | leaks):
        found: list[Figure] = []
        if place in flows:
            rest = (sum(flows.values()) - flows[place]) / (len(flows) - 1)
            relative[place] = 100 * (flows[place] / rest - 1)
            found.append(
                Figure("flow", "%", Estimate(relative[place], FLOW * math.sqrt(len(flows) / (len(flows) - 1))))
            )
        if place in leaks:
            found.append(Figure("leak", "mm3/min", Estimate(leaks[place], max(LEAK, 0.1 * leaks[place]))))
        figures[place] = tuple(found)
    if relative:
        mean = sum(flows.values()) / len(flows)
        out, chance = _outlier({p: 100 * f / mean for p, f in flows.items()}, FLOW, " %", "flow")
        means.append(out)
        sure.append(chance)
    if leaks:
        wet = [place for place, leak in leaks.items() if leak > 0]
        worst = max(leaks, key=lambda place: leaks[place])
        means.append(f"Most leaks at cylinder {worst}: {leaks[worst]:g} mm3/min." if wet else "None leaks.")
        means.append("A leak that a trim shows is of the order of 1000 mm3/min and more.")
    return Finding(
        figures, ("flow of an injector / mean flow of the others - 1", "leakage as measured"), tuple(means), tuple(sure)
    )


BENCH = Computation(
    "injector bench",
    At.CYLINDER,
    "Flow and leakage of injectors on a bench: which differ.",
    (
        Ask("flows", "Flow by cylinder", "mL/min", 0, 5000, At.CYLINDER),
        Ask("leaks", "Leakage by cylinder", "mm3/min", 0, 100000, At.CYLINDER),
    ),
    _bench,
)


def _leaker(given: Inputs, setting: Setting) -> Result:
    trim = given.one("bank trim", 0.0)
    count = given.get("cylinders of the bank")
    cylinders = int(count) if count is not None else len(setting.banks[0])
    if count is not None and count != int(count):
        return Mistake("cylinders of the bank", "a whole number is wanted")
    told = Estimate(trim, TRIM_ERROR if trim < -TRIM_ERROR else 0.0)
    one = through(lambda t: leaker_and_others(t, cylinders)[0], told)
    rest = through(lambda t: leaker_and_others(t, cylinders)[1], told)
    return Finding(
        {0: (Figure("leaker", "", one), Figure("others", "", rest))},
        ("the ECU takes from all what one has too much: lambda of the others = 1 / (1 + trim)",),
        (
            f"If one of {cylinders} makes this trim by itself it runs at lambda {one.value:.2f}, the others at "
            f"{rest.value:.2f}." + (" They may misfire: the one that does need not leak." if rest.value > 1.25 else ""),
        ),
        (f"The trim is taken to be good to {TRIM_ERROR:g} % (judgement), the ECU to hold the mean at lambda 1.",),
    )


LEAKER = Computation(
    "leaker and others",
    At.ENGINE,
    "Lambda of one leaking cylinder and of the others at a bank's trim.",
    (
        Ask("bank trim", "Total trim of the bank", "%", -90, 0, needed=True, pairs=True),
        Ask("cylinders of the bank", "Cylinders that its sensor watches", "", 2, 12),
    ),
    _leaker,
)


# ---- does one stand out ----------------------------------------------------------------------------------------------


CUT = 1e-17  # a term of a sum that no longer changes a double


@dataclass(frozen=True)
class StandsOut:
    """place: the cylinder furthest from the others. by: how far from their mean, in the unit of the readings.

    chance: how often the furthest of so many alike cylinders would be this far out by accident (an upper bound).
    """

    place: int
    by: float
    chance: float


def stands_out(values: Mapping[int, float], spread: float | None = None) -> StandsOut | None:
    """The cylinder that is furthest from the mean of the others, either way.

    With a known spread of one reading: Gaussian tails, times the number of cylinders (Bonferroni). Without: Grubbs's
    two-sided test (F. E. Grubbs, Technometrics 11 (1969) 1-21), which needs three cylinders and tells little with
    four. None if there are too few readings. Raises ValueError on a reading that is no number, or a spread not > 0.
    """
    if not all(math.isfinite(v) for v in values.values()) or (spread is not None and not spread > 0):
        raise ValueError("readings are numbers, a spread is above 0")
    n = len(values)
    if n < (2 if spread is not None else 3):
        return None
    mean = math.fsum(values.values()) / n
    place = max(values, key=lambda p: abs(values[p] - mean))
    by = (values[place] - mean) * n / (n - 1)
    if spread is not None:
        chance = n * math.erfc(abs(by) / (spread * math.sqrt(n / (n - 1))) / math.sqrt(2))
    else:
        squares = math.fsum((v - mean) ** 2 for v in values.values())
        chance = _grubbs(abs(values[place] - mean) / math.sqrt(squares / (n - 1)), n) if squares > 0 else 1.0
    return StandsOut(place, by, min(1.0, chance))


def counts_stand_out(counts: Mapping[int, int]) -> StandsOut | None:
    """The cylinder with the most counts (misfires) and the chance of so many in one of the cylinders by accident.

    If all were alike, each count would fall on any cylinder alike: binomial tail, times the number of cylinders. None
    without two cylinders or without counts. Raises ValueError on a negative count.
    """
    if any(c < 0 for c in counts.values()):
        raise ValueError("a count is not negative")
    n, total = len(counts), sum(counts.values())
    if n < 2 or total == 0:
        return None
    place = max(counts, key=lambda p: counts[p])
    most = counts[place]
    chance = n * binomial_tail(most, total, 1 / n)
    return StandsOut(place, most - (total - most) / (n - 1), min(1.0, chance))


def leaker_and_others(trim: float, cylinders: int) -> tuple[float, float]:
    """Lambda of one leaking cylinder and of each of the others when the bank's trim is `trim` % (0 or below).

    The ECU takes from all what one has too much: the lean cylinder that misfires need not be the leaker.
    Raises ValueError where there are not two cylinders, or the trim is not in -100..0.
    """
    if cylinders < 2 or not -100 < trim <= 0:
        raise ValueError("a bank of two or more cylinders with a trim below 0 and above -100 %")
    others = 1 + trim / 100
    return 1 / (others - cylinders * trim / 100), 1 / others


def binomial_tail(least: int, of: int, p: float) -> float:
    """P(X >= least) for X binomial(of, p), 0 < p < 1, summed in logarithms."""
    if least <= 0:
        return 1.0
    total = 0.0
    for i in range(least, of + 1):
        log = math.lgamma(of + 1) - math.lgamma(i + 1) - math.lgamma(of - i + 1)
        term = math.exp(log + i * math.log(p) + (of - i) * math.log1p(-p))
        total += term
        if i > of * p and term < CUT * total:
            break
    return min(1.0, total)


def student_tails(t: float, freedom: int) -> float:
    """P(|T| > t) of Student's t with a whole number of degrees of freedom (Abramowitz & Stegun 26.7.3 and 26.7.4)."""
    if freedom < 1:
        raise ValueError("at least one degree of freedom")
    angle = math.atan2(abs(t), math.sqrt(freedom))
    cosine2 = math.cos(angle) ** 2
    even = freedom % 2 == 0
    term = 1.0 if even else math.cos(angle)
    total = term if even or freedom > 1 else 0.0
    for i in range(2 if even else 3, freedom - 1, 2):
        term *= cosine2 * (i - 1) / i
        total += term
    inside = math.sin(angle) * total
    return max(0.0, 1 - (inside if even else 2 / math.pi * (angle + inside)))


def _grubbs(g: float, n: int) -> float:
    """Two-sided: n times the tails of t on n-2 degrees of freedom, with t2 = n(n-2) g2 / ((n-1)2 - n g2)."""
    left = (n - 1) ** 2 - n * g * g
    if left <= 0:  # the others are all alike
        return 0.0
    return n * student_tails(math.sqrt(n * (n - 2) * g * g / left), n - 2)
