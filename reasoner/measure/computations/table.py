"""Every computation by the name that rules call it by. `rulebook/computed.py` says what each finds; a test holds both
together. A computation is loaded when it is asked for: a first question needs one of them at most.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module

from reasoner.measure.computations.base import Computation

# name in rules -> file beside this one, and the computation's name in it
WHERE = {
    "trims by airflow": ("trims", "TRIMS_BY_AIRFLOW"),
    "trim sum": ("trims", "TRIM_SUM"),
    "volumetric efficiency": ("air", "VOLUMETRIC"),
    "airflow by litre": ("air", "BY_LITRE"),
    "manifold pressure": ("air", "MANIFOLD_PRESSURE"),
    "pressures at rest": ("air", "AT_REST_WORKING"),
    "cold soak": ("air", "COLD_SOAK"),
    "frozen point": ("watched", "FROZEN_POINT"),
    "frozen values": ("watched", "FROZEN_VALUES"),
    "frozen at the banks": ("watched", "FROZEN_BANKS"),
    "frozen against now": ("watched", "FROZEN_NOW"),
    "frozen amount": ("watched", "FROZEN_MUCH"),
    "read at the banks": ("watched", "READ_BANKS"),
    "voltage behind the catalyst": ("watched", "REAR"),
    "temperatures when warm": ("watched", "READ_WARM"),
    "exhaust gas": ("fuels", "EXHAUST_GAS"),
    "rail hold": ("hold", "RAIL_HOLD"),
    "low side hold": ("hold", "LOW_SIDE_HOLD"),
    "rail against target": ("watched", "RAIL_TARGET"),
    "rich after a start": ("watched", "RICH_AFTER_START"),
    "purge on and off": ("watched", "PURGE_MOVES"),
    "trims as it warms": ("watched", "TRIM_WARMS"),
    "against its own": ("watched", "OWN_QUIET"),
    "lambda against target": ("watched", "LAMBDA_TARGET"),
    "banks against each other": ("watched", "BANKS_OPPOSITE"),
    "warming up": ("watched", "WARM_UP"),
    "misfire counts": ("cylinders", "MISFIRES"),
    "cut-out balance": ("cylinders", "BALANCE"),
    "injector bench": ("cylinders", "BENCH"),
    "plug ranks": ("cylinders", "PLUGS"),
    "leaker and others": ("cylinders", "LEAKER"),
    "fuel in oil": ("fuels", "FUEL_IN_OIL"),
    "purge": ("fuels", "PURGE"),
    "fuel blend": ("fuels", "FUEL_BLEND"),
    "injector flow": ("fuels", "INJECTOR_FLOW"),
}


class _Computations(Mapping[str, Computation]):
    def __getitem__(self, name: str) -> Computation:
        file, constant = WHERE[name]
        found: Computation = getattr(import_module(f"reasoner.measure.computations.{file}"), constant)
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(WHERE)

    def __len__(self) -> int:
        return len(WHERE)


COMPUTATIONS: Mapping[str, Computation] = _Computations()
