"""Belief, gain, next check, surprise, range: pure functions on tables. No I/O, no clock, no random state."""
