"""A fault or a check that no solved case has tried (only with --strict).

Until a real car has been through it, a rule is an opinion. It is exercised when some solved case answers the check,
or ends with the fault.

Good:

    faults:
      leak: {share: 25}

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
      airflow: {given: {meter-dirty: {too-much: often}}}
"""

from __future__ import annotations

from collections.abc import Iterator

from reasoner.lint.bench import Bench, Finding, at

ID = "not-in-a-case"
TITLE = "a fault or a check that no solved case has tried"
MEND = "keep a solved case that goes through it"
STRICT = True


def check(bench: Bench) -> Iterator[Finding]:
    if bench.cases is None:
        return
    named = frozenset().union(*bench.cases.values())
    for fault in bench.faults:
        if fault.name not in named:
            yield at("faults", fault.name, fault.origin.place, f'no solved case ends with "{fault.name}"')
    for name, entry in bench.book.checks.items():
        if name not in named:
            yield at("checks", name, entry.origin.place, f'no solved case answers "{name}"')
