"""One path for current inside a part, as the study of touch current sees it, and what may or may
not be there beside it.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Element:
    """One path for current inside a part: ``siemens`` hot, with ``henries`` in series and
    ``farads`` across; ``cold`` where it differs.

    ``nodes`` and ``weights`` as in ``network``; only the first two carry DC. ``gate`` says what
    must stand so that it is there: ("switch", name, position...), ("umbilical", name), ("blade",
    plug, terminal) or ("earth", plug). ``rectifies`` marks anode and cathode. ``turned`` are the
    weights with the polarity of the winding the other way round. ``kind`` is how it may fail: see
    ``failures``.
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


@dataclass(frozen=True, slots=True)
class Axis:
    """One thing that may stand in either of two ways: what it is, and its part or parts.

    ``kind``: ``conducts`` (a tube, a rectifier, a pickup: not, or in either direction), ``unknown``
    (a value that is not written: open, or a short), ``pot`` (ccw, cw), ``insulation`` (holds, or is
    not there).
    """

    kind: str
    name: str


@dataclass(frozen=True, slots=True)
class Variant:
    """A path of ``siemens`` that is there in one position (0 or 1) of an axis and not in the other."""

    axis: Axis
    position: int
    part: str
    name: str
    nodes: tuple[str, str]
    siemens: float
    rectifies: bool = False
