"""Finds the cause of a rich mixture that comes and goes. Importing this package loads nothing else."""

__version__ = "0.1.0"
