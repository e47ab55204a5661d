"""`reasoner measure purge`."""

from __future__ import annotations

from reasoner.cli.figures import computing
from reasoner.measure.workings.fuels import PURGE


@computing(PURGE, example='reasoner measure purge --flow "10 L/min" --vapour 20 --airflow "3 g/s"')
def command() -> None:
    """What a purge flow of so much vapour does to the trim."""
