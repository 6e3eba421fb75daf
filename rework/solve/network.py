"""The equations of a circuit as arrays: C x' + G x + B' i(B x) = s(t), x the node volts and the
branch currents.

Modified nodal analysis, Ho, Ruehli and Brennan, IEEE Trans. CAS-22(6), 504-509 (1975).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import NamedTuple

import numpy as np

from rework.circuit.place import Problem
from rework.solve.arrays import Floats, Ints
from rework.solve.devices import DeviceLaw, Rectifier, RectifierBank, bank

#: Conductance that keeps a node without a direct-current path in place, siemens.
LEAK = 1e-10


class CannotSolve(Exception):
    """A circuit that has no numbers; ``problems`` name the parts and the remedies."""

    def __init__(self, *problems: Problem) -> None:
        super().__init__(problems[0].message if problems else "cannot be solved")
        self.problems = problems


class NotSettled(CannotSolve):
    """The sums did not come to an end: nothing is known of the circuit from that."""


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


#: Spread of cathode current from tube to tube, one standard deviation: 0.90, 1.02 and 1.16 mA in
#: the three 12AX7 specimens of Dempwolf and Zoelzer, DAFx-11 (2011), Table 1; taken for rectifier
#: tubes too.
TUBE_SPREAD = 0.13


@dataclass(frozen=True, slots=True)
class Device:
    """A law with the unknown of each plate, screen and grid, and that of its cathode (-1 is the
    reference); ``spread`` is one standard deviation of its emission.
    """

    name: str
    unit: str
    law: DeviceLaw
    from_: tuple[int, ...]
    to: int
    spread: float = TUBE_SPREAD

    @property
    def key(self) -> tuple[str, str]:
        """The part and its unit."""
        return self.name, self.unit


class DeviceRun(NamedTuple):
    """A law of one device, or the bank of several rectifiers: the ``rows`` of their controlling
    volts, the ``entries`` of their slopes and their ``devices``, by number in group order.
    """

    law: DeviceLaw | RectifierBank
    rows: slice
    entries: slice
    devices: slice


@dataclass(eq=False)
class Network:
    """A circuit as arrays.

    ``names`` of the unknowns; ``node_of`` gives the unknown of every node of the circuit, -1 the
    reference.

    ``fixed_g`` and ``fixed_c`` (n, n) hold sources, windings and chokes, whose nominal ohms and
    henries ``coils`` tells; ``rows`` names the branch currents. ``notes`` tell what was assumed,
    ``warnings`` what looks like a slip. ``volts_peak`` of the rows ``sources``; ``hertz`` 0 is
    direct current. Derived: ``g`` and ``c`` (n, n) with every branch in; ``reads`` (m, n) gives the
    controlling volts of the devices; ``entries`` the rows and columns of their nonzero slopes.
    ``cold`` names the tubes taken as cold because their heaters have too few volts.
    """

    names: tuple[str, ...]
    node_of: dict[str, int]
    reference: str
    branches: tuple[Branch, ...]
    devices: tuple[Device, ...]
    fixed_g: Floats
    fixed_c: Floats
    rows: dict[str, int]
    sources: tuple[int, ...]
    volts_peak: float
    hertz: float
    notes: tuple[str, ...] = ()
    coils: tuple[Coil, ...] = ()
    warnings: tuple[str, ...] = ()
    cold: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.names)
        self.n = n
        currents = set(self.rows.values())
        #: The unknowns that are node volts.
        self.node_at: Ints = np.array([at for at in range(n) if at not in currents], np.int64)
        self.ohmic = tuple(branch for branch in self.branches if branch.kind == "r")
        self.caps = tuple(branch for branch in self.branches if branch.kind == "c")
        self.ohmic_at = _incidence(self.ohmic, n)
        self.caps_at = _incidence(self.caps, n)
        self.c: Floats = self.fixed_c + self.caps_at.T @ (
            np.array([b.value for b in self.caps])[:, None] * self.caps_at
        )
        self.g: Floats = self.conductances()
        #: The devices by kind of law, in the order of ``scales``, ``laws`` and ``starts``.
        self.ordered = tuple(sorted(self.devices, key=lambda device: type(device.law).__name__))
        widths = [device.law.controls for device in self.ordered]
        self.starts: tuple[int, ...] = tuple(int(at) for at in np.cumsum([0, *widths])[:-1])
        ends = [(start, device.to) for device in self.ordered for start in device.from_]
        high, low = np.array(ends, np.int64).reshape(-1, 2).T
        self.ends: tuple[Ints, Ints] = high, low
        self.reads: Floats = np.zeros((len(ends), n))
        for row, (start, to) in enumerate(ends):
            if start >= 0:
                self.reads[row, start] += 1.0
            if to >= 0:
                self.reads[row, to] -= 1.0
        blocks = [
            (row + p, row + q)
            for row, width in zip(self.starts, widths, strict=True)
            for p in range(width)
            for q in range(width)
        ]
        rows, columns = np.array(blocks, np.int64).reshape(-1, 2).T
        self.entries: tuple[Ints, Ints] = rows, columns

    def conductances(self, factors: Floats | None = None) -> Floats:
        """Return G (n, n), or a stack (samples, n, n) for ``factors`` on the resistances: (samples,
        resistors), or (samples, resistors and coils).
        """
        siemens = 1 / np.array([b.value for b in self.ohmic])
        if factors is None:
            return self.fixed_g + self.ohmic_at.T @ (siemens[:, None] * self.ohmic_at)
        each = siemens / factors[:, : len(siemens)]
        g: Floats = self.fixed_g + np.matmul(self.ohmic_at.T, each[:, :, None] * self.ohmic_at)
        if factors.shape[1] > len(siemens):
            rows = [self.rows[coil.row] for coil in self.coils]
            g[:, rows, rows] -= (factors[:, len(siemens) :] - 1) * np.array(
                [coil.ohms for coil in self.coils]
            )
        return g

    def device_currents(
        self, x: Floats, *, scales: Floats | None = None, laws: Sequence[DeviceLaw] | None = None
    ) -> tuple[Floats, Floats]:
        """Return the device currents (..., m) and their slopes (..., m, m) at unknowns x (..., n).

        ``scales`` (..., devices) multiplies each tube's cathode current. ``laws`` stand instead of
        the devices' own, in group order.
        """
        out, entries = self.device_entries(x, scales=scales, laws=laws)
        return out, self.squares(entries)

    def squares(self, entries: Floats) -> Floats:
        """Return the slopes (..., m, m) of these nonzero ones (..., entries)."""
        slopes = np.zeros((*entries.shape[:-1], len(self.reads), len(self.reads)))
        slopes[(..., *self.entries)] = entries
        return slopes

    def device_entries(
        self, x: Floats, *, scales: Floats | None = None, laws: Sequence[DeviceLaw] | None = None
    ) -> tuple[Floats, Floats]:
        """Return the device currents (..., m) and the nonzero slopes (..., entries), whose rows and
        columns are ``entries``.
        """
        return self.entries_at(self.across(x), self.runs(laws), scales=scales)

    def runs(self, laws: Sequence[DeviceLaw] | None = None) -> tuple[DeviceRun, ...]:
        """Return the devices in runs that are answered at once: neighbouring rectifiers together,
        every other law by itself.
        """
        every = laws if laws is not None else [device.law for device in self.ordered]
        runs: list[DeviceRun] = []
        entry = number = 0
        for _, same in groupby(every, key=lambda law: isinstance(law, Rectifier)):
            alike = tuple(same)
            rectifiers = tuple(law for law in alike if isinstance(law, Rectifier))
            each: Sequence[DeviceLaw | RectifierBank] = (
                [bank(rectifiers)] if rectifiers else list(alike)
            )
            for law in each:
                count = len(rectifiers) or 1
                width = count if isinstance(law, RectifierBank) else law.controls
                start = self.starts[number]
                size = count if isinstance(law, RectifierBank) else width * width
                rows, entries = slice(start, start + width), slice(entry, entry + size)
                runs.append(DeviceRun(law, rows, entries, slice(number, number + count)))
                entry, number = entry + size, number + count
        return tuple(runs)

    def entries_at(
        self, volts: Floats, runs: Sequence[DeviceRun], *, scales: Floats | None = None
    ) -> tuple[Floats, Floats]:
        """Return ``device_entries`` where the controlling volts (..., m) are known."""
        out = np.zeros_like(volts)
        slopes = np.zeros((*volts.shape[:-1], len(self.entries[0])))
        for run in runs:
            law = run.law
            if isinstance(law, RectifierBank):
                scale = 1.0 if scales is None else scales[..., run.devices]
                out[..., run.rows], slopes[..., run.entries] = law.currents(
                    volts[..., run.rows], scale
                )
                continue
            scale = 1.0 if scales is None else scales[..., run.devices.start]
            out[..., run.rows], block = law.currents(volts[..., run.rows], scale)
            slopes[..., run.entries] = block.reshape(*block.shape[:-2], law.controls**2)
        return out, slopes

    def across(self, x: Floats) -> Floats:
        """Return the controlling volts of the devices (..., m) at unknowns x (..., n)."""
        high, low = self.ends
        return np.where(high >= 0, x[..., high], 0.0) - np.where(low >= 0, x[..., low], 0.0)

    def volts(self, x: Floats, node: str) -> Floats:
        """Return the volts (...) of a node of the circuit against the reference at x (..., n)."""
        at = self.node_of[node]
        return x[..., at] if at >= 0 else 0.0 * x[..., 0]

    def between(self, x: Floats, node: str, other: str) -> Floats:
        """Return the volts (...) from ``other`` to ``node`` at x (..., n)."""
        return self.volts(x, node) - self.volts(x, other)

    def direct_source(self) -> Floats:
        """Return the right-hand side (n) of a direct-current line; nothing where it alternates."""
        source = np.zeros(self.n)
        if not self.hertz:
            source[list(self.sources)] = self.volts_peak
        return source


def _incidence(branches: Sequence[Branch], n: int) -> Floats:
    at = np.zeros((len(branches), n))
    for row, branch in enumerate(branches):
        if branch.a >= 0:
            at[row, branch.a] += 1
        if branch.b >= 0:
            at[row, branch.b] -= 1
    return at


def entries_together(
    networks: Sequence[Network], x: Sequence[Floats], laws: Sequence[Sequence[DeviceLaw]]
) -> list[tuple[Floats, Floats]]:
    """Return ``device_entries`` of many networks, each at its own unknowns (..., n) and with its
    own laws, in group order; all have the same leading axes.

    A law that several of them have answers all of these at once.
    """
    volts = [network.across(state) for network, state in zip(networks, x, strict=True)]
    answers = [
        (np.zeros_like(across), np.zeros((*across.shape[:-1], len(network.entries[0]))))
        for network, across in zip(networks, volts, strict=True)
    ]
    asked: dict[DeviceLaw, list[tuple[int, int, int]]] = {}
    for place, (network, own_laws) in enumerate(zip(networks, laws, strict=True)):
        entry = 0
        for start, law in zip(network.starts, own_laws, strict=True):
            asked.setdefault(law, []).append((place, start, entry))
            entry += law.controls**2
    for law, places in asked.items():
        width = law.controls
        some = np.stack([volts[place][..., at : at + width] for place, at, _ in places])
        out, slopes = law.currents(some)
        slopes = slopes.reshape(*slopes.shape[:-2], width * width)
        for row, (place, at, entry) in enumerate(places):
            answers[place][0][..., at : at + width] = out[row]
            answers[place][1][..., entry : entry + width * width] = slopes[row]
    return answers
