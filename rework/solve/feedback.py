"""Feedback from the speaker: how much there is, and whether its leads are the right way round."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from rework.solve.bias import Rest
from rework.solve.linear import linearised
from rework.solve.network import Branch, Network
from rework.solve.places import SignalPath
from rework.solve.power import TONE
from rework.solve.response import gain

#: A loop gain of less than this either way is no feedback to speak of.
LEAST_LOOP = 0.05
#: What takes away all but this share of the gain when it opens is the way forward itself, as of a
#: speaker that is the microphone.
FORWARD = 1e-3
#: Ohms of a loop that is opened.
OPENED = 1e12


@dataclass(frozen=True, slots=True)
class Loop:
    """Feedback through the resistor ``part``: the gain at 1 kHz with it and without it, and its
    loop gain there (positive where it adds to the input).
    """

    part: str
    with_it: float
    without_it: float
    loop_gain: float

    @property
    def is_reversed(self) -> bool:
        """Whether it is positive feedback, as with its leads exchanged."""
        return self.loop_gain > LEAST_LOOP


def loop_resistors(network: Network) -> Iterator[tuple[int, Branch]]:
    """Yield the resistors, with their places, that lead back from the secondary of an output
    transformer.
    """
    currents = set(network.rows.values())
    ends = {
        int(at)
        for row, of in network.rows.items()
        if ".secondary" in row
        for at in network.fixed_g[of, : network.n].nonzero()[0]
    } - currents
    for at, branch in enumerate(network.branches):
        inside = branch.kind == "r" and min(branch.a, branch.b) >= 0
        if inside and len({branch.a, branch.b} & ends) == 1:
            yield at, branch


def loops(rest: Rest, path: SignalPath) -> tuple[Loop, ...]:
    """Return the feedback loops around the output transformer.

    With and without the resistor the gains A and A0 give the loop gain T = 1 - A0/A, from A = A0 /
    (1 - T): it tells the sign even of a loop that oscillates, whose A is under A0.
    """
    closed = complex(gain(linearised(rest), path, (TONE,))[0])
    rows = []
    for at, branch in loop_resistors(rest.network):
        apart = replace(branch, value=OPENED)
        branches = (*rest.network.branches[:at], apart, *rest.network.branches[at + 1 :])
        opened = replace(rest, network=replace(rest.network, branches=branches))
        without = complex(gain(linearised(opened), path, (TONE,))[0])
        if abs(without) > FORWARD * abs(closed):
            loop_gain = float((1 - without / closed).real)
            rows.append(Loop(branch.name, abs(closed), abs(without), loop_gain))
    return tuple(rows)
