"""What a person would feel: touch current, single faults and stored energy, computed from the
netlist as written.
"""
