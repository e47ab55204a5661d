"""The case on disk: journal, store, lock."""
