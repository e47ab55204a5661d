"""Every computation by the name that rules call it by. `rulebook/computed.py` says what each finds; a test holds both
together."""

from __future__ import annotations

from collections.abc import Mapping

from reasoner.measure.workings.air import (
    AT_REST_WORKING,
    BY_LITRE,
    COLD_SOAK,
    FROZEN_POINT,
    MANIFOLD_PRESSURE,
    VOLUMETRIC,
)
from reasoner.measure.workings.base import Working
from reasoner.measure.workings.cylinders import BALANCE, BENCH, LEAKER, MISFIRES, PLUGS
from reasoner.measure.workings.fuels import FUEL_BLEND, FUEL_IN_OIL, INJECTOR_FLOW, PURGE
from reasoner.measure.workings.gas import EXHAUST_GAS
from reasoner.measure.workings.hold import LOW_SIDE_HOLD, RAIL_HOLD
from reasoner.measure.workings.trims import TRIM_SUM, TRIMS_BY_AIRFLOW
from reasoner.measure.workings.watched import (
    BANKS_OPPOSITE,
    LAMBDA_TARGET,
    PURGE_MOVES,
    RAIL_TARGET,
    RICH_AFTER_START,
    WARM_UP,
)

WORKINGS: Mapping[str, Working] = {
    working.name: working
    for working in (
        TRIMS_BY_AIRFLOW,
        TRIM_SUM,
        VOLUMETRIC,
        BY_LITRE,
        MANIFOLD_PRESSURE,
        AT_REST_WORKING,
        COLD_SOAK,
        FROZEN_POINT,
        EXHAUST_GAS,
        RAIL_HOLD,
        LOW_SIDE_HOLD,
        RAIL_TARGET,
        RICH_AFTER_START,
        PURGE_MOVES,
        LAMBDA_TARGET,
        BANKS_OPPOSITE,
        WARM_UP,
        MISFIRES,
        BALANCE,
        BENCH,
        PLUGS,
        LEAKER,
        FUEL_IN_OIL,
        PURGE,
        FUEL_BLEND,
        INJECTOR_FLOW,
    )
}
