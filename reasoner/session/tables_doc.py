"""The compiled tables as plain data, complete enough to recompute any belief from the answers alone."""

from __future__ import annotations

from typing import Any

from reasoner.network.tables import CheckTable, Tables

MODEL = (
    "P(c | answers) ~ prior(c) * product over spells of sum over s in (showing, quiet) of P(s | c, condition)"
    " * product over answers of P(outcome | c, s, place). A steady check does not depend on s. Where the condition is"
    " not known, P(showing) is the mean over all conditions."
)


def document(tables: Tables) -> dict[str, Any]:
    """causes with prior and places; showing probability by condition; every check's outcome probabilities."""
    return {
        "format": 1,
        "model": MODEL,
        "vehicle": {
            "title": tables.vehicle.title,
            "cylinders": tables.vehicle.cylinders,
            "banks": [list(bank) for bank in tables.vehicle.banks],
            "properties": dict(tables.vehicle.properties),
        },
        "unlikeliest": tables.unlikeliest,
        "conditions": list(tables.conditions),
        "causes": [
            {
                "name": cause.name,
                "fault": cause.fault,
                "where": cause.where,
                "cylinders": sorted(cause.cylinders),
                "repair": tables.classes[int(tables.class_of[i])][0],
                "prior": float(tables.prior[i]),
                "shows": {k: float(v) for k, v in zip(tables.conditions, tables.shows[i], strict=True)},
            }
            for i, cause in enumerate(tables.causes)
        ],
        "checks": [_check(tables, check) for check in tables.checks],
    }


def _check(tables: Tables, check: CheckTable) -> dict[str, Any]:
    return {
        "name": check.name,
        "outcomes": list(check.outcomes),
        "places": list(check.places),
        "steady": check.steady,
        "provokes": check.provokes,
        "conditions": [tables.conditions[k] for k in check.conditions],
        "stands for": sorted(tables.checks[n].name for n in check.stands_for),
        "minutes": check.minutes,
        "wait": check.wait,
        "money": check.money,
        "hazards": check.hazards,
        "quiet": check.rows[0].tolist(),
        "rows": [
            {
                "probabilities": row.tolist(),
                "source": origin.source,
                "weight": origin.weight,
                "rule": str(origin.place),
            }
            for row, origin in zip(check.rows, check.origins, strict=True)
        ],
        "showing": {cause.name: check.index[i].tolist() for i, cause in enumerate(tables.causes)},
    }
