"""`reasoner measure air`."""

from __future__ import annotations

from reasoner.cli.figures import computing
from reasoner.measure.workings.air import AT_REST_WORKING, COLD_SOAK, VOLUMETRIC
from reasoner.measure.workings.watched import WARM_UP


@computing(
    VOLUMETRIC,
    AT_REST_WORKING,
    COLD_SOAK,
    WARM_UP,
    example='reasoner measure air --airflow "60 g/s" --speed 3000 --litres 2.0 --temperature "77 F"',
)
def command() -> None:
    """Airflow against what the engine can swallow, and sensors against each other while nothing moves.

    With --airflow: volumetric efficiency. With --air-pressure: manifold and barometric sensors, engine off. With two of
    --coolant, --intake and --outside: temperatures after a night. With --warming: how long the coolant takes.
    """
