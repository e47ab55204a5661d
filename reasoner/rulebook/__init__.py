"""YAML to a checked model of the rules: every value with its file, line and column."""
