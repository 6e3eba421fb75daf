"""What an ammeter shows in the lead of a part, and how that moves with every part.

The drop of the ammeter itself, some tenths of a volt, is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from rework.faultfinding.case import Case
from rework.faultfinding.points import BenchFigure
from rework.language.terminals import tube_of
from rework.solve.arrays import Floats
from rework.solve.bias import Averaged, Bias
from rework.solve.network import Device, Network

#: Where the mean of a current is under this share of its RMS, the meter is on alternating current.
DIRECT = 0.2


def amps(case: Case, figures: Sequence[BenchFigure], names: Sequence[str]) -> tuple[Floats, Floats]:
    """Return the amps in the leads (figures), and how one unit of each of the knobs ``names`` moves
    each (figures, names).
    """
    size, slopes = np.zeros(len(figures)), np.zeros((len(figures), len(names)))
    for n, figure in enumerate(figures):
        wave, moved = _lead(case, figure.at.part, figure.at.terminal, names)
        mean, rms = float(wave.mean()), float((wave**2).mean() ** 0.5)
        size[n] = abs(mean) if abs(mean) >= DIRECT * rms else rms
        slopes[n] = moved * np.sign(mean)
    return size, slopes


def _lead(case: Case, name: str, terminal: str, names: Sequence[str]) -> tuple[Floats, Floats]:
    """Return the current in a lead (instants), and how its mean moves with each knob."""
    rest, part = case.bias, case.circuit.part(name)
    network, x = rest.network, rest.steady.x
    wave, moved = np.zeros(len(x)), np.zeros(len(names))
    if part is None:
        return wave, moved
    tube = tube_of(part)
    element = tube.element(terminal).rpartition(".")[2] if tube is not None else ""
    at = network.node_of.get(part.node(terminal) or "", -2)
    rows = list(_rows(network, name, element, at))
    if rows:
        wave = rest.steady.currents[:, rows].sum(1)
        return wave, _device_slopes(rest, rows, names)
    for n, branch in enumerate(network.ohmic):
        is_heater = bool(element) and branch.name.startswith(f"{name}.heater")
        if (branch.name == name or is_heater) and at in (branch.a, branch.b):
            row = network.ohmic_at[n] / branch.value
            moved[: rest.slopes.shape[1]] = row @ rest.slopes
            knob = f"ohms {branch.name}"
            if knob in names:
                moved[list(names).index(knob)] -= float(row @ rest.point)
            return x @ row, moved
    winding = f"{name}.{terminal.split('.')[0]}"
    runs = [c.row for c in network.coils if f"{c.row}.".startswith(f"{winding}.") or c.row == name]
    if runs:
        row_at = network.rows[runs[0] if terminal.endswith("start") else runs[-1]]
        moved[: rest.slopes.shape[1]] = rest.slopes[row_at]
        return x[:, row_at], moved
    return wave, moved


def _rows(network: Network, name: str, element: str, at: int) -> Iterator[int]:
    """Yield the rows of the device currents that flow in the lead of an element on unknown ``at``;
    of a part that is no tube (``element`` ""), of every junction on it.
    """
    for device, start in zip(network.ordered, network.starts, strict=True):
        if device.name != name:
            continue
        if device.to == at and element in ("", "cathode"):
            yield from range(start, start + device.law.controls)
        else:
            place = _place(device, element)
            if place is not None and device.from_[place] == at:
                yield start + place


def _place(device: Device, element: str) -> int | None:
    """Return the place of an element among the currents of a device."""
    if element.startswith("plate") or not element:
        return 0
    if element == "screen" and device.law.controls > 2:
        return 1
    return device.law.controls - 1 if element == "grid" and device.law.controls > 1 else None


def _device_slopes(rest: Bias, rows: Sequence[int], names: Sequence[str]) -> Floats:
    """Return how the sum of some device currents moves with each knob at the point at rest."""
    network = rest.network
    currents, slopes = network.device_currents(rest.point, laws=rest.laws)
    moved = np.zeros(len(names))
    moved[: rest.slopes.shape[1]] = slopes[list(rows)].sum(0) @ network.reads @ rest.slopes
    for law, start, shift in zip(rest.laws, network.starts, rest.shifts, strict=True):
        if isinstance(law, Averaged) and start in rows:
            moved[: len(shift)] -= shift / law.ohms
    for k, knob in enumerate(rest.knobs):
        if knob.kind == "tube":
            start = network.starts[knob.at]
            width = network.ordered[knob.at].law.controls
            moved[k] += float(currents[[r for r in rows if start <= r < start + width]].sum())
    return moved
