"""`reasoner measure oil`."""

from __future__ import annotations

from reasoner.cli.figures import computing
from reasoner.measure.workings.fuels import FUEL_IN_OIL


@computing(FUEL_IN_OIL, example='reasoner measure oil --fresh-viscosity 10.5 --viscosity "8.9 cSt" --sump "4.5 L"')
def command() -> None:
    """Petrol in the oil: how much, and the trim that it makes while it boils off.

    From what a laboratory found, or from the viscosity of the oil fresh and now.
    """
