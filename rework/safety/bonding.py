"""Bonds: a wire from metal to where the earth of the plug comes in."""

from __future__ import annotations

from rework.circuit.parts import Part
from rework.safety.survey import Survey


def earthed_metal(survey: Survey) -> list[str]:
    """Return the nodes to bond metal to, the best first: earthed in every state, and in reach."""
    earthed = (node for node in survey.ties.earthed if node in survey.always_earthed)
    return sorted(earthed, key=lambda node: (node not in survey.circuit.within_reach, node))


def bond(survey: Survey, node: str, earthed: str, *, number: int = 0) -> Part:
    """Return the wire that bonds a node to earthed metal; ``number`` keeps the names of several
    apart.
    """
    stem = f"WE{number}-" if number else "W"
    name = survey.circuit.free_part_name(stem)
    return Part(name, "wire", words=("green-yellow",), pins=(("1", node), ("2", earthed)))
