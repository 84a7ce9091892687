"""What a meter shows: the whole site in one state, the circuit of it, and the readings that follow.

Knows no rule, no verdict and no file; a reading is a number that follows from the circuit.
"""
