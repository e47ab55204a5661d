"""Finds the cause of a rich mixture that comes and goes. Importing this package loads nothing else."""

import os

__version__ = "0.1.0"

# The matrices here are small: threads of the linear algebra library would cost more than they bring.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
