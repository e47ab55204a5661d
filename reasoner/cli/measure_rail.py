"""`reasoner measure rail`."""

from __future__ import annotations

from reasoner.cli.figures import computing
from reasoner.measure.workings.watched import RAIL_TARGET


@computing(
    RAIL_TARGET,
    example='reasoner measure rail --rail "7.8 MPa" --target "50 bar" --at-rest "0.1 MPa"',
)
def command() -> None:
    """A direct-injection rail's pressure against its target, and what its sensor reads once the pressure has gone.

    A sensor that reads low makes the controller hold more pressure than it says, and follows its target all the same:
    --at-rest, read after a night with the key on, shows it. With the pump running then, give --low-side too.
    """
