"""`reasoner measure fuel`."""

from __future__ import annotations

from reasoner.cli.figures import computing
from reasoner.measure.workings.fuels import FUEL_BLEND


@computing(FUEL_BLEND, example="reasoner measure fuel --learned 85 --ethanol 10")
def command() -> None:
    """Stoichiometric ratio of a blend, and the trim if the controller doses for another.

    Ethanol in the tank is said, or found by a water test: fuel and water shaken together, and what the water gained.
    """
