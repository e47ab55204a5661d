"""`reasoner measure trims`, `air`, `gas` and the others that work something out from typed readings: a table.

Each is made from what its computations ask for: one option for every input.
"""

from __future__ import annotations

from dataclasses import dataclass

import click

from reasoner.cli.figures import computing
from reasoner.measure.computations.table import COMPUTATIONS


@dataclass(frozen=True)
class Typed:
    """computations: as rules call them. With several, each is done where an input of its own is given."""

    computations: tuple[str, ...]
    example: str
    help: str


TABLE = {
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

        A sensor that reads low makes the controller hold more pressure than it says, and follows its target all the
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
        """Stoichiometric ratio of a blend, and the trim if the controller doses for another.

        Ethanol in the tank is said, or found by a water test: fuel and water shaken together, and what the water
        gained.""",
    ),
    "flow": Typed(
        ("injector flow",),
        'reasoner measure flow --rated-pressure "300 kPa" --pressure "53 psi" --flow "200 cc/min"',
        "What an injector flows at another pressure drop, and the trim that it makes: the square-root law.",
    ),
}


def commands(name: str) -> click.Command:
    """The command of this name."""
    typed = TABLE[name]
    return computing(name, [COMPUTATIONS[computation] for computation in typed.computations], typed.help, typed.example)
