"""What all tests share: no rules or settings of whoever runs them are used, and no test hangs on how busy the
machine is."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

for variable in ("REASONER_RULES", "REASONER_SETTINGS"):  # also for what tests start as programs of their own
    os.environ[variable] = ""

settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")
