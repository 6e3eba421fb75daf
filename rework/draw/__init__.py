"""Drawings: the circuit as a graph, before and after in the same places, and sockets from below."""
