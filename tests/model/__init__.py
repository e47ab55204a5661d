"""Cars that the rules did not make: an engine with its own physics, broken by degree, looked at as a technician looks.

Nothing here is taken from `rules/` but names and words of checks, outcomes, conditions and faults; no number is shared.
"""
