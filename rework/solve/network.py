"""The equations of a circuit as arrays: C x' + G x + B' i(B x) = s(t), x the node volts and the
branch currents.

Modified nodal analysis, Ho, Ruehli and Brennan, IEEE Trans. CAS-22(6), 504-509 (1975).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from rework.circuit.place import Problem

if TYPE_CHECKING:
    import numpy as np

#: Conductance that keeps a node without a direct-current path in place, siemens.
LEAK = 1e-10


class CannotSolve(Exception):
    """A circuit that has no numbers; ``problems`` name the parts and the remedies."""

    def __init__(self, *problems: Problem) -> None:
        super().__init__(problems[0].message if problems else "cannot be solved")
        self.problems = problems


@dataclass(frozen=True, slots=True)
class Branch:
    """A conductance or capacitance of one part between two unknowns (-1 is the reference): ohms, or
    farads.
    """

    name: str
    kind: str
    a: int
    b: int
    value: float
    tolerance: float = 0.0


@dataclass(frozen=True, slots=True)
class Coil:
    """A winding or choke: the row of its current, its ohms and how far they may be off, and the
    henries of a choke (0 for a winding).
    """

    name: str
    row: str
    ohms: float
    tolerance: float
    henries: float = 0.0


@dataclass(frozen=True, slots=True)
class Device:
    """A law with the unknown of each plate, screen and grid, and that of its cathode (-1 is the
    reference).
    """

    name: str
    unit: str
    law: Any
    from_: tuple[int, ...]
    to: int


@dataclass(eq=False)
class Network:
    """A circuit as arrays.

    ``names`` of the unknowns; ``node_of`` gives the unknown of every node of the circuit, -1 the
    reference.

    ``fixed_g`` and ``fixed_c`` hold sources, windings and chokes, whose nominal ohms and henries
    ``coils`` tells; ``rows`` names the branch currents. ``notes`` tell what was assumed,
    ``warnings`` what looks like a slip. ``volts_peak`` of the rows ``sources``; ``hertz`` 0 is
    direct current.
    """

    names: tuple[str, ...]
    node_of: dict[str, int]
    reference: str
    branches: tuple[Branch, ...]
    devices: tuple[Device, ...]
    fixed_g: Any
    fixed_c: Any
    rows: dict[str, int]
    sources: tuple[int, ...]
    volts_peak: float
    hertz: float
    notes: tuple[str, ...] = ()
    groups: Any = field(default=None, repr=False)
    coils: tuple[Coil, ...] = ()
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        import numpy as np

        n = len(self.names)
        self.n = n
        self.ohmic = tuple(branch for branch in self.branches if branch.kind == "r")
        self.caps = tuple(branch for branch in self.branches if branch.kind == "c")
        self.ohmic_at = _incidence(self.ohmic, n)
        self.caps_at = _incidence(self.caps, n)
        self.c = self.fixed_c + self.caps_at.T @ (
            np.array([b.value for b in self.caps])[:, None] * self.caps_at
        )
        self.g = self.conductances()
        self.groups = _grouped(self.devices)
        self.reads = np.zeros((sum(len(d.from_) for _, members in self.groups for d in members), n))
        row = 0
        for _, members in self.groups:
            for device in members:
                for start in device.from_:
                    for at, sign in ((start, 1.0), (device.to, -1.0)):
                        if at >= 0:
                            self.reads[row, at] += sign
                    row += 1
        blocks, row = [], 0
        for device in self.ordered:
            width = len(device.from_)
            blocks += [(row + p, row + q) for p in range(width) for q in range(width)]
            row += width
        self.entries = tuple(np.array(blocks, int).reshape(-1, 2).T)
        self.ends = tuple(
            np.array([(start, device.to) for device in self.ordered for start in device.from_], int)
            .reshape(-1, 2)
            .T
        )

    def conductances(self, factors: np.ndarray | None = None) -> np.ndarray:
        """Return G, or a stack of them for ``factors`` on the resistances: (samples, resistors), or
        (samples, resistors and coils).
        """
        import numpy as np

        siemens = 1 / np.array([b.value for b in self.ohmic])
        if factors is None:
            return self.fixed_g + self.ohmic_at.T @ (siemens[:, None] * self.ohmic_at)
        each = siemens / factors[:, : len(siemens)]
        g = self.fixed_g + np.matmul(self.ohmic_at.T, each[:, :, None] * self.ohmic_at)
        if factors.shape[1] > len(siemens):
            rows = [self.rows[coil.row] for coil in self.coils]
            g[:, rows, rows] -= (factors[:, len(siemens) :] - 1) * np.array(
                [coil.ohms for coil in self.coils]
            )
        return g

    def device_currents(
        self, x: np.ndarray, *, scales: np.ndarray | None = None, laws: Sequence[Any] | None = None
    ):
        """Return the device currents (..., m) and their slopes (..., m, m) at unknowns x (..., n).

        ``scales`` (..., devices) multiplies each tube's cathode current. ``laws`` stand instead of
        the devices' own, in group order.
        """
        out, found = self.device_entries(x, scales=scales, laws=laws)
        return out, self.squares(found)

    def squares(self, found: np.ndarray) -> np.ndarray:
        """Return the slopes (..., m, m) of these entries."""
        import numpy as np

        slopes = np.zeros((*found.shape[:-1], len(self.reads), len(self.reads)))
        slopes[(..., *self.entries)] = found
        return slopes

    def device_entries(
        self, x: np.ndarray, *, scales: np.ndarray | None = None, laws: Sequence[Any] | None = None
    ):
        """Return the same with the slopes as the few that are not nothing (..., entries), whose
        rows and columns are ``entries``.
        """
        import numpy as np

        volts = self.across(x)
        out = np.zeros_like(volts)
        slopes = np.zeros((*volts.shape[:-1], len(self.entries[0])))
        row, number, entry = 0, 0, 0
        for _, members in self.groups:
            for device in members:
                law = laws[number] if laws is not None else device.law
                width = law.controls
                scale = 1.0 if scales is None else scales[..., number]
                at = slice(row, row + width)
                out[..., at], own = law.currents(volts[..., at], scale)
                slopes[..., entry : entry + width * width] = own.reshape(
                    *own.shape[:-2], width * width
                )
                row, number, entry = row + width, number + 1, entry + width * width
        return out, slopes

    def across(self, x: np.ndarray) -> np.ndarray:
        """Return the controlling volts of the devices (..., m) at unknowns x (..., n)."""
        import numpy as np

        high, low = self.ends
        return np.where(high >= 0, x[..., high], 0.0) - np.where(low >= 0, x[..., low], 0.0)

    @property
    def ordered(self) -> tuple[Device, ...]:
        """The devices in the order of ``scales`` and ``laws``."""
        return tuple(device for _, members in self.groups for device in members)

    def volts(self, x: np.ndarray, node: str) -> np.ndarray:
        """Return the volts of a node of the circuit against the reference."""
        at = self.node_of[node]
        return x[..., at] if at >= 0 else 0.0 * x[..., 0]


def _incidence(branches: Sequence[Branch], n: int):
    import numpy as np

    at = np.zeros((len(branches), n))
    for row, branch in enumerate(branches):
        if branch.a >= 0:
            at[row, branch.a] += 1
        if branch.b >= 0:
            at[row, branch.b] -= 1
    return at


def _grouped(devices: Sequence[Device]) -> tuple[tuple[str, tuple[Device, ...]], ...]:
    kinds = sorted({type(device.law).__name__ for device in devices})
    return tuple(
        (kind, tuple(d for d in devices if type(d.law).__name__ == kind)) for kind in kinds
    )
