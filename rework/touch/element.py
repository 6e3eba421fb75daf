"""One path for current inside a part, as the study of touch current sees it, and what may or may
not be there beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

#: The kinds of axes, in the order in which they are reported.
AxisKind = Literal["conducts", "grid", "unknown", "pot", "tap", "insulation"]


@dataclass(frozen=True, slots=True)
class Element:
    """One path for current inside a part: ``siemens`` hot, with ``henries`` in series and
    ``farads`` across; ``cold`` siemens where they differ.

    ``nodes`` and ``weights`` as in ``network``; only the first two carry direct current. ``gate``
    is the condition under which the path exists: ("switch", name, position...), ("umbilical",
    name), ("blade", plug, terminal) or ("earth", plug). ``rectifies`` marks anode and cathode.
    ``turned`` are the weights with the polarity of the winding reversed. ``kind`` is how it may
    fail: see ``failures``. ``slack`` is the share of its admittance that is missing at the other
    end of its tolerance: ``siemens`` and ``farads`` are those of the end that passes more. ``emf``
    are the volts of a battery, from its first node to its second.
    """

    part: str
    name: str
    nodes: tuple[str, ...]
    siemens: float
    weights: tuple[float, ...] = (1.0, -1.0)
    farads: float = 0.0
    henries: float = 0.0
    gate: tuple[str, ...] = ()
    rectifies: bool = False
    kind: str = "part"
    cold: float = 0.0
    turned: tuple[float, ...] = ()
    slack: float = 0.0
    emf: float = 0.0

    @property
    def ends(self) -> tuple[str, str]:
        """The two nodes between which it carries direct current."""
        return self.nodes[0], self.nodes[1]


@dataclass(frozen=True, slots=True)
class EitherWay:
    """One thing that may be in either of two positions: what it is, and its part or parts.

    ``kind``: ``conducts`` (a tube from plate and screen, a rectifier, a pickup: not, or in either
    direction), ``grid`` (a grid to its cathode), ``unknown`` (a value that is not written: open, or
    a short), ``pot`` (ccw, cw), ``tap`` (the wiper of a pot
    not at its tap, or at it), ``insulation`` (holds, or has broken down).
    """

    kind: AxisKind
    name: str


@dataclass(frozen=True, slots=True)
class Variant:
    """A path of ``siemens`` that exists in one position (0 or 1) of an axis only."""

    axis: EitherWay
    position: int
    part: str
    name: str
    nodes: tuple[str, str]
    siemens: float
    rectifies: bool = False

    @property
    def weights(self) -> tuple[float, ...]:
        """The weights of a path between two nodes."""
        return (1.0, -1.0)
