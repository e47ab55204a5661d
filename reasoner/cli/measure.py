"""`reasoner measure`: what numbers say, outside a case."""

from __future__ import annotations

import click

from reasoner.cli.lazy import LazyGroup

TABLE = {
    "trims": ("measure_typed", "Trims over airflow: a steady leak, too much at each injection, or a wrong scale."),
    "air": ("measure_typed", "Airflow against what the engine can swallow; sensors against each other at rest."),
    "gas": ("measure_typed", "Lambda from the four gases, against the trim and the sensor."),
    "hold": ("measure_typed", "Pressure hold, high or low side: what leaks, and what of it is cooling."),
    "rail": ("measure_typed", "Rail pressure against its target, and its sensor at rest."),
    "cylinders": ("measure_typed", "One cylinder against the others: misfires, balance, plugs, bench."),
    "oil": ("measure_typed", "Petrol in the oil, and the trim that it makes."),
    "purge": ("measure_typed", "What vapour from the tank does to the trim."),
    "fuel": ("measure_typed", "Ethanol in the fuel: stoichiometric ratio, and the trim if the controller is wrong."),
    "flow": ("measure_typed", "An injector at another pressure, and the trim that it makes."),
    "log": ("measure_log", "A log of a drive: when it was rich, when not, and what kind of error it is."),
    "columns": ("measure_columns", "Propose what the columns of a log are, to be kept as a mapping."),
    "replies": ("measure_replies", "Raw replies of the standard services as codes, readiness and values."),
}


@click.group(
    cls=LazyGroup, table=TABLE, epilog='Example: reasoner measure flow --rated-pressure 300 --pressure "58 psi"'
)
def command() -> None:
    """Work out what readings mean. Numbers are typed with their unit, metric or imperial: 3.1 g/s, 58 psi, 185 F.

    4 +- 1 means between 3 and 5, in 19 cases of 20.
    """
