"""`reasoner measure cylinders`."""

from __future__ import annotations

from reasoner.cli.figures import computing
from reasoner.measure.workings.cylinders import BALANCE, BENCH, LEAKER, MISFIRES, PLUGS


@computing(
    MISFIRES,
    BALANCE,
    PLUGS,
    BENCH,
    LEAKER,
    example='reasoner measure cylinders --counts "1=4 2=0 3=62 4=3" --bank-trim=-20',
)
def command() -> None:
    """One cylinder against the others: which stands out, and how often one would by accident.

    Numbers by cylinder, in order or named (1=4 2=0 3=62 4=3). With --bank-trim: lambda of one leaking cylinder and of
    the others; the one that misfires need not be the one that leaks.
    """
