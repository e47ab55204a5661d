"""`reasoner measure flow`."""

from __future__ import annotations

from reasoner.cli.figures import computing
from reasoner.measure.workings.fuels import INJECTOR_FLOW


@computing(
    INJECTOR_FLOW, example='reasoner measure flow --rated-pressure "300 kPa" --pressure "53 psi" --flow "200 cc/min"'
)
def command() -> None:
    """What an injector flows at another pressure drop, and the trim that it makes: the square-root law."""
