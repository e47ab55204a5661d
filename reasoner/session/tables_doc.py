"""The compiled tables as plain data, complete enough to recompute any belief from the answers alone."""

from __future__ import annotations

from typing import Any

from reasoner.network.tables import CheckTable, Tables
from reasoner.rulebook.model import Check, Measure, Rulebook

MODEL_IN_WORDS = (
    "P(c | answers) ~ prior(c) * sum over activities u of P(u) * sum over states of all spells of product over spells"
    " of P(state | c, u, condition) * product over things looked at of their likelihood. The sums, and what counts:"
    " rules/README.md, Recomputing a belief."
)


def tables_document(tables: Tables, book: Rulebook) -> dict[str, Any]:
    """causes with prior and places; showing probability by condition; every check's outcome probabilities; what turns
    answers, readings and codes into weights of outcomes."""
    return {
        "format": 1,
        "model": MODEL_IN_WORDS,
        "vehicle": {
            "title": tables.vehicle.title,
            "cylinders": tables.vehicle.cylinders,
            "banks": [list(bank) for bank in tables.vehicle.banks],
            "properties": dict(tables.vehicle.properties),
        },
        "unlikeliest": tables.unlikeliest,
        "report right": dict(book.settings.report_right),
        "conditions": list(tables.conditions),
        "activities": tables.activities.tolist(),
        "causes": [
            {
                "name": cause.name,
                "fault": cause.fault,
                "where": cause.where,
                "cylinders": sorted(cause.cylinders),
                "repair": tables.classes[int(tables.class_of[i])][0],
                "prior": float(tables.prior[i]),
                "shows": {k: float(v) for k, v in zip(tables.conditions, tables.shows[i], strict=True)},
                "acts": {k: v.tolist() for k, v in zip(tables.conditions, tables.acts[i], strict=True)},
            }
            for i, cause in enumerate(tables.causes)
        ],
        "checks": [_check(tables, check, book.checks[check.name]) for check in tables.checks],
    }


def _measure(measure: Measure) -> dict[str, Any]:
    """Bands from low to high, null for no end; outcomes may have several."""
    return {
        "quantity": measure.quantity,
        "unit": measure.unit,
        "spread": measure.spread,
        "bands": [{"outcome": band.outcome, "low": band.low, "high": band.high} for band in measure.bands],
    }


def _check(tables: Tables, check: CheckTable, written: Check) -> dict[str, Any]:
    return {
        "name": check.name,
        "outcomes": list(check.outcomes),
        "places": list(check.places),
        "steady": check.steady,
        "provokes": check.provokes,
        "conditions": [tables.conditions[k] for k in check.conditions],
        "stands for": sorted(tables.checks[n].name for n in check.stands_for),
        "leaves": written.leaves,
        "codes": {str(place): list(codes) for place, codes in written.codes.items() if place <= len(check.places)},
        "codes of": written.codes_of,
        "code states": {outcome: list(states) for outcome, states in written.code_states.items()},
        "measure": None if written.measure is None else _measure(written.measure),
        "minutes": check.minutes,
        "wait": check.wait,
        "money": check.money,
        "hazards": check.hazards,
        "quiet": check.rows[0].tolist(),
        "alike": check.alike,
        "together": check.together,
        "rows": [
            {
                "probabilities": row.tolist(),
                "source": origin.source,
                "weight": origin.weight,
                "again": float(again),
                "rule": str(origin.place),
            }
            for row, origin, again in zip(check.rows, check.origins, check.again, strict=True)
        ],
        "showing": {cause.name: check.index[i].tolist() for i, cause in enumerate(tables.causes)},
    }
