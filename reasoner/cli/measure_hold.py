"""`reasoner measure hold`."""

from __future__ import annotations

from reasoner.cli.figures import computing
from reasoner.measure.workings.hold import LOW_SIDE_HOLD, RAIL_HOLD


@computing(
    RAIL_HOLD,
    LOW_SIDE_HOLD,
    example='reasoner measure hold --rail-before "5 MPa" --rail-after "522 psi" --minutes 10',
)
def command() -> None:
    """How fast a closed rail or line loses its pressure, what of that is cooling, and what leak a trim would need.

    With --rail-before: the high side of direct injection. With --line-before: the low side, with nothing shut (--open)
    and then with supply and return shut one after the other.
    """
