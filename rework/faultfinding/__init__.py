"""From bench readings to the likely trouble and the next reading: the circuit solved under every
single thing that can be wrong with it, held against what was read.
"""
