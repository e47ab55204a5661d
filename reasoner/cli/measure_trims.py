"""`reasoner measure trims`."""

from __future__ import annotations

from reasoner.cli.figures import computing
from reasoner.measure.workings.trims import TRIMS_BY_AIRFLOW


@computing(
    TRIMS_BY_AIRFLOW,
    example='reasoner measure trims --idle-air "3 g/s 750 rpm" --idle-trim=-24 --raised-air "12 2500" --raised-trim=-6',
)
def command() -> None:
    """How a trim changes with airflow, bank by bank.

    Fuel that comes by the second (a leak, vapour, fuel out of the oil) fades as the airflow grows; too much at each
    injection stays at 2500 rpm without load and halves under load; a wrong scale is the same everywhere. Airflow and
    engine speed are typed together (3.1 g/s 750 rpm); without an air meter, manifold pressure, speed and intake
    temperature (32 kPa 700 rpm 40 C) with --litres. Two banks: -24 / -2. Short and long term: -18 + -6.
    """
