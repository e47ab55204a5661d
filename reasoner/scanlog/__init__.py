"""Logs of a drive to conditions, spells, fits and answers: pure functions on bytes and arrays."""
