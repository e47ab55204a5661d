"""Checks on a rule base, one a file: what is wrong with rules that can be read, and what would mend it."""
