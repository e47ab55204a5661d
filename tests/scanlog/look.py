"""Drives analysed once for all tests that look at them."""

from __future__ import annotations

import os
from functools import cache

import numpy as np

from reasoner.scanlog.analysis import Engine, analyse
from reasoner.scanlog.conditions import RULE_NAMES
from reasoner.scanlog.document import BankFacts, LogDocument
from tests.scanlog.drives import Drive, Setting, csv, drive

SEEDS = int(os.environ.get("REASONER_LOG_SEEDS", "0"))  # the long form: 40
MOST = 12  # drives that are kept


def seeds(short: int, first: int = 100) -> range:
    return range(first, first + (SEEDS or short))


@cache
def driven(seed: int, setting: Setting) -> Drive:
    return drive(seed, setting)


@cache
def seen(seed: int, setting: Setting, sparse: bool = False, without: tuple[str, ...] = ()) -> LogDocument:
    content = csv(driven(seed, setting), every=1 if sparse else 5, without=without, sparse=sparse)
    found = analyse(content, "log.csv", None, Engine(2.0, 4), RULE_NAMES)
    assert isinstance(found, LogDocument), found
    return found


def bank(document: LogDocument, number: int = 1) -> BankFacts:
    return next(b for b in document.banks if b.number == number)


def overlap(drive: Drive, facts: BankFacts) -> float:
    """Intersection over union, in time, of when it showed and when it is said to have shown."""
    found = np.zeros(len(drive.seconds), dtype=bool)
    for spell in facts.spells:
        found |= (drive.seconds >= spell.start) & (drive.seconds < spell.end)
    return float((found & drive.showing).sum() / max(1, (found | drive.showing).sum()))
