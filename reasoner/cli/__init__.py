"""Click commands, one file each, loaded on demand."""
