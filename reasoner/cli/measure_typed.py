"""`reasoner measure trims`, `air`, `gas` and the others worked out from typed readings: a table, one way to print."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import click

from reasoner.cli import exits
from reasoner.cli.say import say, say_json
from reasoner.measure.asks import Ask, Setting
from reasoner.measure.computations.base import Computation
from reasoner.measure.computations.table import COMPUTATIONS
from reasoner.measure.finding import Finding
from reasoner.measure.reading import how_many
from reasoner.mistake import Mistake
from reasoner.rulebook.model import At

# ---- Commands that work something out from typed readings ------------------------------------------------------------
# Made from what the computations ask for, and printed alike.

WIDEST_FINDING = 100


def computing(name: str, computations: Sequence[Computation], says: str, example: str) -> click.Command:
    """A command with one option for every input of the computations.

    A computation is done where one of its own inputs was given; with one computation only, always.
    """
    asks = list(dict.fromkeys(ask for computation in computations for ask in computation.asks))
    names = [ask.name for ask in asks]
    clash = {each for each in names if names.count(each) > 1}
    assert not clash, f"inputs of one name ask for different things: {clash}"
    options = [click.Option([f"--{_dashed(ask.name)}"], metavar="TEXT", help=_help(ask)) for ask in asks]
    engine = [
        click.Option(["--cylinders"], type=click.IntRange(1, 16), default=4, show_default=True, help="Of the engine."),
        click.Option(["--json", "as_json"], is_flag=True, help="As one JSON document."),
    ]

    def run(cylinders: int, as_json: bool, **typed: str | None) -> None:
        texts = {ask.name: text for ask in asks if (text := typed[_dashed(ask.name).replace("-", "_")]) is not None}
        show_findings(_done(computations, texts, cylinders), as_json)

    return click.Command(
        name, params=[*options, *engine], callback=run, help=says, epilog=f"Example: {example}", no_args_is_help=True
    )


def _dashed(name: str) -> str:
    return name.replace(" ", "-")


def _help(ask: Ask) -> str:
    by = "" if ask.at is At.ENGINE else f", by {ask.at} (1=.. 2=..)"
    unit = f", in {ask.hint}" if ask.hint and "," not in ask.hint else f" ({ask.hint})" if ask.hint else ""
    return f"{ask.say}{unit}{by}.{' Needed.' if ask.needed else ''}"


def _done(
    computations: Sequence[Computation], texts: Mapping[str, str], cylinders: int
) -> dict[str, Finding | tuple[Mistake, ...]]:
    found = {}
    for computation in computations:
        own = {ask.name for ask in computation.asks} - {
            ask.name for other in computations if other is not computation for ask in other.asks
        }
        if len(computations) == 1 or own & set(texts):
            mine = {ask.name: texts[ask.name] for ask in computation.asks if ask.name in texts}
            found[computation.name] = computation.run(mine, _setting(computation, mine, cylinders))
    if not found:
        raise click.UsageError(f"{', '.join(f'--{_dashed(name)}' for name in texts)} alone says nothing: see --help.")
    return found


def _setting(computation: Computation, texts: Mapping[str, str], cylinders: int) -> Setting:
    """As many banks or cylinders as numbers were typed; cylinders shared out evenly."""
    counts = [how_many(texts[ask.name]) for ask in computation.asks if ask.at is computation.at and ask.name in texts]
    most = max(counts, default=1)
    if computation.at is At.CYLINDER:
        cylinders = max(2, min(most, 16))
        return Setting(cylinders, (tuple(range(1, cylinders + 1)),))
    banks = 2 if computation.at is At.BANK and most > 1 and cylinders > 1 else 1
    return Setting(cylinders, tuple(tuple(range(b, cylinders + 1, banks)) for b in range(1, banks + 1)))


def show_findings(found: Mapping[str, Finding | tuple[Mistake, ...]], as_json: bool = False) -> None:
    """Print what was found; what is wrong goes to standard error, a line each. Exits with a status with a name."""
    troubles = [trouble for one in found.values() if isinstance(one, tuple) for trouble in one]
    findings = {name: one for name, one in found.items() if isinstance(one, Finding)}
    if as_json:
        if not troubles:
            say_json({name: one.document() for name, one in findings.items()})
    else:
        say("\n".join(line for name, one in findings.items() for line in finding_lines(name, one)), nl=bool(findings))
    for trouble in troubles:
        say(f"Error: {trouble}", err=True)
    if troubles:
        raise click.exceptions.Exit(exits.PROBLEMS)


def finding_lines(name: str, found: Finding) -> list[str]:
    """A finding as text."""
    shown = [name.upper()]
    several = len(found.figures) > 1
    for place, figures in found.figures.items():
        shown += _wrapped(f"{place}  " if several else "", "; ".join(f"{f.name} {f}" for f in figures))
    for title, said in (
        ("means", found.means),
        ("how", found.formula),
        ("how sure", found.sure),
        ("look", found.warns),
    ):
        for number, line in enumerate(said):
            shown += _wrapped(f"{title if not number else '':>8}  ", line)
    return shown


def _wrapped(first: str, text: str) -> list[str]:
    indent = "  " + first
    width = min(shutil.get_terminal_size().columns, WIDEST_FINDING)
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=" " * len(indent)) or [indent.rstrip()]


# ---- reasoner measure trims, air, gas and the others that work something out from typed readings ---------------------
# A table.
#
# Each is made from what its computations ask for: one option for every input.


@dataclass(frozen=True)
class Typed:
    """computations: as rules call them. With several, each is done where an input of its own is given."""

    computations: tuple[str, ...]
    example: str
    help: str


TYPED_COMMANDS = {
    "trims": Typed(
        ("trims by airflow",),
        'reasoner measure trims --idle-air "3 g/s 750 rpm" --idle-trim=-24 --raised-air "12 2500" --raised-trim=-6',
        """How a trim changes with airflow, bank by bank.

        Extra fuel at a steady rate (a leak, vapour, fuel out of the oil) fades as the airflow grows; too much at each
        injection stays at 2500 rpm without load and halves under load; a wrong scale is the same everywhere. Airflow
        and engine speed are typed together (3.1 g/s 750 rpm); without an air meter, manifold pressure, speed and intake
        temperature (32 kPa 700 rpm 40 C) with --litres. Two banks: -24 / -2. Short and long term: -18 + -6.""",
    ),
    "air": Typed(
        ("volumetric efficiency", "pressures at rest", "cold soak", "warming up"),
        'reasoner measure air --airflow "60 g/s" --speed 3000 --litres 2.0 --temperature "77 F"',
        """Airflow against what the engine can swallow, and sensors against each other while nothing moves.

        With --airflow: volumetric efficiency. With --air-pressure: manifold and barometric sensors, engine off. With
        two of --coolant, --intake and --outside: temperatures after a night. With --warming: how long the coolant
        takes.""",
    ),
    "gas": Typed(
        ("exhaust gas",),
        "reasoner measure gas --co 0.3 --co2 14.9 --hc 60 --o2 0.4 --trim=-22",
        """Lambda from the four gases, and whether trim and sensor agree with it.

        Lambda from the gases does not know the trim: 1.00 with a trim of -20 % means that fuel really is in excess and
        is being corrected; 1.05 and more with it means that the sensor lies.""",
    ),
    "hold": Typed(
        ("rail hold", "low side hold"),
        'reasoner measure hold --rail-before "5 MPa" --rail-after "522 psi" --minutes 10',
        """How fast a closed rail or line loses its pressure, what of that is cooling, and what leak a trim would need.

        With --rail-before: the high side of direct injection. With --line-before: the low side, with nothing shut
        (--open) and then with supply and return shut one after the other.""",
    ),
    "rail": Typed(
        ("rail against target",),
        'reasoner measure rail --rail "7.8 MPa" --target "50 bar" --at-rest "0.1 MPa"',
        """A direct-injection rail's pressure against its target, and what its sensor reads once the pressure has gone.

        A sensor that reads low makes the ECU hold more pressure than it says, and follows its target all the
        same: --at-rest, read after a night with the key on, shows it. With the pump running then, give --low-side
        too.""",
    ),
    "cylinders": Typed(
        ("misfire counts", "cut-out balance", "plug ranks", "injector bench", "leaker and others"),
        'reasoner measure cylinders --counts "1=4 2=0 3=62 4=3" --bank-trim=-20',
        """One cylinder against the others: which stands out, and how often one would by accident.

        Numbers by cylinder, in order or named (1=4 2=0 3=62 4=3). With --bank-trim: lambda of one leaking cylinder and
        of the others; the one that misfires need not be the one that leaks.""",
    ),
    "oil": Typed(
        ("fuel in oil",),
        'reasoner measure oil --fresh-viscosity 10.5 --viscosity "8.9 cSt" --sump "4.5 L"',
        """Petrol in the oil: how much, and the trim that it makes while it boils off.

        From what a laboratory found, or from the viscosity of the oil fresh and now.""",
    ),
    "purge": Typed(
        ("purge",),
        'reasoner measure purge --flow "10 L/min" --vapour 20 --airflow "3 g/s"',
        "What a purge flow of so much vapour does to the trim.",
    ),
    "fuel": Typed(
        ("fuel blend",),
        "reasoner measure fuel --learned 85 --ethanol 10",
        """Stoichiometric ratio of a blend, and the trim if the ECU doses for another.

        Ethanol in the tank is said, or found by a water test: fuel and water shaken together, and what the water
        gained.""",
    ),
    "flow": Typed(
        ("injector flow",),
        'reasoner measure flow --rated-pressure "300 kPa" --pressure "53 psi" --flow "200 cc/min"',
        "What an injector flows at another pressure drop, and the trim that it makes: the square-root law.",
    ),
}


def typed_command(name: str) -> click.Command:
    """The command of this name."""
    typed = TYPED_COMMANDS[name]
    return computing(name, [COMPUTATIONS[computation] for computation in typed.computations], typed.help, typed.example)
