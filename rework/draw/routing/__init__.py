"""Wires along the grid: what is taken, the cheapest way for one lead, and the order of all nets."""
