"""Readings to outcomes: pure functions."""
