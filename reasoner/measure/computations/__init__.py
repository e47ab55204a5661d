"""Computations as a person uses them: typed inputs in, a Finding out. One file for each kind of reading."""
