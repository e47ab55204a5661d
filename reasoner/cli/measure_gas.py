"""`reasoner measure gas`."""

from __future__ import annotations

from reasoner.cli.figures import computing
from reasoner.measure.workings.gas import EXHAUST_GAS


@computing(EXHAUST_GAS, example="reasoner measure gas --co 0.3 --co2 14.9 --hc 60 --o2 0.4 --trim=-22")
def command() -> None:
    """Lambda from the four gases, and whether trim and sensor agree with it.

    Lambda from the gases does not know the trim: 1.00 with a trim of -20 % means that fuel really is in excess and is
    being corrected; 1.05 and more with it means that the sensor lies.
    """
