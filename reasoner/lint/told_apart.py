"""Two faults that no check can tell apart.

At even odds between the two, no single look, at any place and in any condition, brings as much as the setting
`least gain`, on any of the typical vehicles that can have both: the program would never ask anything to decide
between them. Where it cannot be helped, one of them names the other under `alike`, with the reason.

Good:

    faults:
      meter-dirty:
        name: Airflow meter dirty
        means: Its element is coated.
        at: engine
        share: 10
        acts as: [rich]
        repair: new-meter
        confirmed by: [airflow]
        driving on: It drinks.
        alike: {meter-high: The same part with the same signs; it is renewed either way.}
        source: judgement
    checks:
      airflow: {given: {meter-dirty: {too-much: usually}}}

Bad:

    faults:
      meter-dirty:
        name: Airflow meter dirty
        means: Its element is coated.
        at: engine
        share: 10
        acts as: [rich]
        repair: new-meter
        confirmed by: [airflow]
        driving on: It drinks.
        source: judgement
    checks:
      airflow: {given: {meter-dirty: {too-much: usually}}}
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from reasoner.lint.context import Context, Finding, at

ID = "cannot-tell-apart"
TITLE = "two faults that no check can tell apart"
MEND = "say under `given` of some check how the two differ, or under `alike` of one of them why nothing does"


def check(context: Context) -> Iterator[Finding]:
    """The problems of this kind, each with its place and what would mend it."""
    faults, least = context.book.faults, context.book.settings.least_gain
    worst: dict[tuple[str, str], tuple[float, str]] = {}  # of a pair: the least bits on any car, and how
    for car in context.cars:
        names = tuple(car.cause_of)
        for i, j in combinations(range(len(names)), 2):
            pair = tuple(sorted((names[i], names[j]), key=list(faults).index))
            bits, by = float(car.telling.bits[i, j]), car.tables.checks[car.telling.check[i, j]].name
            said = (bits, f"the best, {by}, brings {bits:.3f} bits" if bits >= 0.0005 else "everything shows the same")
            worst[pair[0], pair[1]] = min(said, worst.get((pair[0], pair[1]), said))
    for (first, second), (bits, by) in worst.items():
        one, other = faults[first], faults[second]
        excused = second in one.alike or first in other.alike
        if one.anything_else or other.anything_else or excused == (bits < least):
            continue
        if bits < least:
            message = f'no check can tell "{second}" from "{first}": {by}'
            yield at("faults", second, other.origin.place, message)
        else:
            owner, named = (one, second) if second in one.alike else (other, first)
            written = context.book.written["faults", owner.name, "alike", named]
            if context.book.over and written.place.file not in context.book.over:
                continue  # what lies over it may be why; it is looked at where it stands alone
            message = f'"{owner.name}" and "{named}" can be told apart: {by}'
            yield at("faults", owner.name, owner.origin.place, message, f"delete {named} from `alike` of {owner.name}")
