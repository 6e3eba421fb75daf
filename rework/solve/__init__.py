"""Numbers from a circuit as written: operating point, mains-driven steady state, ohmmeter readings,
signal. numpy is loaded on use.
"""
