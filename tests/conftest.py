"""What all tests share: no rules of whoever runs them lie over the shipped ones."""

from __future__ import annotations

import os

os.environ["REASONER_RULES"] = ""  # also for what tests start as programs of their own
