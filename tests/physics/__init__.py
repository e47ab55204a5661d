"""Physics worked out without the program, held against what the rules say: sign, order and, where possible, size."""
