"""One result document in, text out. Decides nothing."""
