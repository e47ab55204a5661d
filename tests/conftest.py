"""What all tests share: no rules of whoever runs them lie over the shipped ones, and no test hangs on how busy the
machine is."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

os.environ["REASONER_RULES"] = ""  # also for what tests start as programs of their own

settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")
