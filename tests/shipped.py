"""The shipped cases, and which of them the run of the tests takes where each takes seconds: every third; with
REASONER_EVERY_CASE=1 all of them."""

from __future__ import annotations

import os
from pathlib import Path

ROOT = Path(__file__).parents[1]
CASES = sorted((ROOT / "cases").glob("*.yaml"))
EVERY_CASE = bool(os.environ.get("REASONER_EVERY_CASE"))


def some(start: int) -> list[Path]:
    """Every third case from this one on (0, 1, 2), so that different tests look at different ones."""
    return CASES if EVERY_CASE else CASES[start::3]
