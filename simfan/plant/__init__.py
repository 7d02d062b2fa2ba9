"""What stands in the plant: frozen descriptions, SI floats once built, valid once built.

No arithmetic beyond simple derived facts; no arrays. `assemble` turns these words into numbers.
"""
