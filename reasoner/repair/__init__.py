"""What to do about what is believed: choices with their costs, the repair sheet, proof, and what comes afterwards.

Pure functions on plain numbers; arrays stay in the inference.
"""
