"""One path for current inside a part, as the study of touch current sees it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Element:
    """One path for current inside a part: ``siemens`` one a condition, with ``henries`` in series and ``farads`` across.

    ``nodes`` and ``weights`` as in ``network``; only the first two carry DC. ``gate`` says what must stand so that it is
    there: ("switch", name, position...), ("umbilical", name), ("blade", plug, terminal) or ("earth", plug).
    ``rectifies`` marks anode and cathode. ``kind`` is how it may fail: see ``faults``.
    """

    part: str
    name: str
    nodes: tuple[str, ...]
    siemens: tuple[float, ...]
    weights: tuple[float, ...] = (1.0, -1.0)
    farads: float = 0.0
    henries: float = 0.0
    gate: tuple[str, ...] = ()
    rectifies: bool = False
    kind: str = "part"
