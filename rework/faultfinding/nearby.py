"""The point at rest of a circuit that differs in one thing from one that is known."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rework.solve.arrays import Floats
from rework.solve.bias import Averaged, Bias, Knob, knobs_of
from rework.solve.devices import DeviceLaw, Rectifier
from rework.solve.network import Network
from rework.solve.periodic import Steady

#: Ohms of the averages of a rectifier that the known circuit does not have.
OHMS = 200.0


def nearby(network: Network, steady: Steady, known: Bias) -> tuple[Bias, Floats]:
    """Return a circuit at rest, from its steady state and the bias of a circuit near to it, and the
    slopes (m, m) of its devices there.

    The means are its own. What its rectifiers do to their volts as the load, the line or a part of
    the supply changes is taken over from the known circuit, so that slopes cost one solution of
    direct current instead of one of a whole period; they only weigh how far a reading may be off.
    """
    laws, shifts = [], []
    contacts = (_here(network, knob) for knob in known.knobs if knob.kind == "contact")
    knobs = (*knobs_of(network), *(knob for knob in contacts if knob is not None))
    column = {(knob.kind, knob.name): k for k, knob in enumerate(known.knobs)}
    place = [column.get((knob.kind, knob.name), -1) for knob in knobs]
    before = {device.key: n for n, device in enumerate(known.network.ordered)}
    across = network.across(steady.x).mean(0)
    for device, row in zip(network.ordered, network.starts, strict=True):
        shift = np.zeros(len(knobs))
        law: DeviceLaw = device.law
        if isinstance(law, Rectifier) and network.hertz:
            old = before.get(device.key)
            averaged = known.laws[old] if old is not None else None
            ohms = averaged.ohms if isinstance(averaged, Averaged) else OHMS
            law = Averaged(float(steady.currents[:, row].mean()), float(across[row]), ohms)
            if old is not None:
                shift = np.where(np.array(place) >= 0, known.shifts[old][place], 0.0)
        laws.append(law)
        shifts.append(shift)
    moved = np.array(shifts).reshape(len(laws), len(knobs))
    slopes, slopes_of_devices = _slopes(network, steady.mean, laws, knobs, moved)
    rest = Bias(
        network=network,
        laws=tuple(laws),
        source=network.direct_source(),
        point=steady.mean,
        steady=steady,
        knobs=knobs,
        slopes=slopes,
        shifts=moved,
        ripples=np.zeros_like(slopes),
    )
    return rest, slopes_of_devices


def _here(network: Network, knob: Knob) -> Knob | None:
    """Return a contact potential by the place of its tube here; None where that is not there."""
    name = knob.name.removeprefix("contact potential of ")
    for n, device in enumerate(network.ordered):
        if f"{device.name} {device.unit}".strip() == name and device.law.controls > 1:
            return Knob(knob.name, "contact", n, knob.share)
    return None


def _slopes(
    network: Network,
    x: Floats,
    laws: Sequence[DeviceLaw],
    knobs: Sequence[Knob],
    shifts: Floats,
) -> tuple[Floats, Floats]:
    """Return how the unknowns (n, knobs) move with each knob under direct current, -A^-1 dF/dp, and
    the slopes (m, m) of the devices.
    """
    tubes = {
        k: knob.at
        for k, knob in enumerate(knobs)
        if knob.kind == "tube" and not isinstance(laws[knob.at], Averaged)
    }
    scales = np.ones((2, len(laws)))  # each tube as it is, and with twice its emission
    scales[1, list(tubes.values())] = 2.0
    currents, entries = network.device_entries(np.stack([x, x]), scales=scales, laws=laws)
    device, gained = network.squares(entries[0]), currents[1] - currents[0]
    pushes = np.zeros((network.n, len(knobs)))
    for n, (law, start) in enumerate(zip(laws, network.starts, strict=True)):
        if isinstance(law, Averaged):
            pushes -= np.outer(network.reads[start], shifts[n] / law.ohms)
    resistors = [k for k, knob in enumerate(knobs) if knob.kind == "ohms"]
    pushes[:, resistors] += _of_ohms(network, x, [knobs[k].at for k in resistors])
    for k, at in tubes.items():
        rows = slice(network.starts[at], network.starts[at] + laws[at].controls)
        pushes[:, k] += gained[rows] @ network.reads[rows]
    for k, knob in enumerate(knobs):
        if knob.kind in ("line", "coil ohms", "contact"):
            pushes[:, k] += _push(network, x, device, knob)
    jacobian = network.g + network.reads.T @ device @ network.reads
    return np.asarray(-np.linalg.solve(jacobian, pushes), np.float64), device


def _of_ohms(network: Network, x: Floats, places: Sequence[int]) -> Floats:
    """Return the derivative (n, places) of the direct-current equations by some resistances."""
    at = network.ohmic_at[list(places)]
    ohms = np.array([network.ohmic[place].value for place in places])
    pushes: Floats = -(at @ x / ohms) * at.T
    return pushes


def _push(network: Network, x: Floats, device: Floats, knob: Knob) -> Floats:
    """Return the derivative (n) of the direct-current equations by the line, a winding's ohms or a
    contact potential.
    """
    push: Floats = np.zeros(network.n)
    match knob.kind:
        case "line" if not network.hertz:
            push -= network.direct_source()
        case "coil ohms":
            coil = network.coils[knob.at]
            row = network.rows[coil.row]
            push[row] = -coil.ohms * x[row]
        case "contact":
            grid = network.starts[knob.at] + network.ordered[knob.at].law.controls - 1
            push += device[grid, grid] * network.reads[grid]
    return push
