"""What faults do to a network in some of its states, alternating and direct, as seen from where a
person touches it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from rework.touch.direct import Direct
from rework.touch.failures import Fault
from rework.touch.network import UNIT, Floats, Frame, Numbers, Solved, joined, solve
from rework.touch.ports import touch_ports
from rework.touch.study import FEEDS, Combo, Row, Study
from rework.touch.updates import Change, after, moving, spread

#: Units of an element that is not there.
NOTHING = 1e26


class Probe:
    """Where a fault is looked at: the person's ports, the current of every fuse and blade, the
    volts across rectifiers.
    """

    def __init__(self, study: Study) -> None:
        self.study = study
        self.ports = touch_ports(study.circuit)
        self.fuses = [
            number for number, element in enumerate(study.elements) if element.kind == "fuse"
        ]
        self.blades = [
            number for number, element in enumerate(study.elements) if element.kind == "blade"
        ]
        frame = study.frame
        self.patterns = joined(
            joined(
                frame.patterns([(port.nodes, (1.0, -1.0)) for port in self.ports]),
                frame.currents([((number,), (1.0,)) for number in (*self.fuses, *self.blades)]),
            ),
            frame.elements.take(study.rectifiers),
        )
        count = len(self.ports)
        self.fuse_ports = range(count, count + len(self.fuses))
        self.seen_ports = range(count + len(self.fuses) + len(self.blades))
        self.rectifier_ports = range(len(self.seen_ports), len(self.patterns))
        self.hot = [
            [(study.elements[number].gate[2] == "line") == (feed.hot == "line") for feed in FEEDS]
            for number in self.blades
        ]


def changes_of(study: Study, faults: Sequence[Fault], frame: Frame, admittance: Numbers) -> Change:
    """Return the changes that faults make in a frame; none for those that change several elements
    at once.
    """
    held: list[tuple[tuple[int, ...], tuple[float, ...]]] = []
    wanted: list[tuple[tuple[str, ...], tuple[float, ...]]] = []
    order: list[tuple[int, int]] = []
    ohms: list[Numbers] = []
    members: list[tuple[int, ...]] = []
    for fault in faults:
        first = len(order)
        for number in fault.opened if fault.changes == 1 else ():
            if number in frame.branch_at:
                order.append((0, len(held)))
                held.append(((number,), (1.0,)))
                ohms.append(np.zeros(len(admittance), admittance.dtype))
            else:
                order.append((1, len(wanted)))
                count = 2 if admittance.dtype.kind == "f" else len(study.elements[number].nodes)
                wanted.append(
                    (study.elements[number].nodes[:count], study.elements[number].weights[:count])
                )
                passed = -admittance[:, number] * UNIT
                ohms.append(np.where(passed == 0, NOTHING, 1 / np.where(passed == 0, 1.0, passed)))
        for nodes, siemens in fault.added if fault.changes == 1 else ():
            order.append((1, len(wanted)))
            wanted.append((nodes, (1.0, -1.0)))
            ohms.append(np.full(len(admittance), 1 / (siemens * UNIT), admittance.dtype))
        members.append(tuple(range(first, len(order))))
    patterns = joined(frame.currents(held), frame.patterns(wanted)).take(
        [place + which * len(held) for which, place in order]
    )
    return Change(patterns, np.array(ohms).reshape(len(order), len(admittance)).T, tuple(members))


def void(study: Study, faults: Sequence[Fault], combos: tuple[Combo, ...]) -> NDArray[np.bool_]:
    """Return the combinations that a fault leaves no room for, (combinations, faults): a part that
    is out cannot conduct.
    """
    found = np.zeros((len(combos), len(faults)), bool)
    for number, fault in enumerate(faults):
        names = {study.elements[opened].name for opened in fault.opened}
        gone = [
            study.axes.index(variant.axis)
            for variant in study.variants
            if variant.axis.kind != "pot" and variant.name in names
        ]
        found[:, number] = [any(combo[axis] for axis in gone) for combo in combos]
    return found


class Effects:
    """The effects of faults in some rows: alternating and, where anything rectifies, direct.

    A fault of one change is put in by an update. Where several elements open at once a piece may be
    left hanging on stray capacitance alone, and an update would lose its digits: such a fault comes
    alone, in matrices of its own.
    """

    def __init__(
        self,
        probe: Probe,
        faults: Sequence[Fault],
        rows: tuple[Row, ...],
        admittance: Numbers,
        solved: Solved,
        combos: tuple[Combo, ...],
        steady: Direct | None,
        gone: tuple[int, ...] = (),
    ) -> None:
        study = self.study = probe.study
        self.void = void(study, faults, combos)
        self.probe, self.rows, self.steady = probe, rows, steady
        self.changes, self.offset = (
            changes_of(study, faults, study.frame, admittance),
            len(probe.patterns),
        )
        wanted = (*combos, steady.charging) if steady else combos
        found = spread(
            solved,
            moving(study, wanted),
            joined(probe.patterns, self.changes.patterns),
            joined(study.feeds, probe.patterns),
        )
        self.found, self.charging = (
            found.part(slice(len(combos))),
            found.part(slice(len(combos), None)),
        )
        if steady:
            level = steady.admittance(rows)
            level[:, list(gone)] = 0.0
            self.still = changes_of(study, faults, steady.frame, level)
            self.level = spread(
                solve(steady.frame, level),
                steady.varies,
                joined(probe.patterns, self.still.patterns),
                joined(steady.sources, probe.patterns),
            )

    @classmethod
    def alone(
        cls,
        probe: Probe,
        fault: Fault,
        rows: tuple[Row, ...],
        admittance: Numbers,
        combos: tuple[Combo, ...],
        steady: Direct | None,
    ) -> Effects:
        """Return the effects of a fault that opens several elements at once."""
        without = admittance.copy()
        without[:, list(fault.opened)] = 0.0
        return cls(
            probe,
            [fault],
            rows,
            without,
            probe.study.solved(rows, without),
            combos,
            steady,
            fault.opened,
        )

    def alternating(
        self, faults: Sequence[int], feeds: list[int], opened: int | None = None
    ) -> tuple[Numbers, Numbers]:
        """Return (volts, ohms) of the person's ports and (amperes in place of volts) of fuses and
        blades, at one volt of line.

        ``faults`` are places in the list of them, all with one change or all with none; ``opened``
        a port of a fuse that is open as well.
        """
        volts, ohms = after(
            self.found,
            self.changes,
            faults,
            self.probe.seen_ports,
            len(FEEDS),
            self.offset,
            opened,
            self.void[:, faults],
        )
        return volts[..., feeds], ohms[..., : len(self.probe.ports)] * UNIT

    def healthy_direct(self) -> tuple[Floats, Numbers] | None:
        """Return (volts, ohms) at 0 Hz of the person's ports without a fault, or None where nothing
        rectifies.
        """
        if not self.steady:
            return None
        ports, across = (
            len(self.probe.ports),
            self.charging.across[:, 0, list(self.probe.rectifier_ports), : len(FEEDS)],
        )
        return (
            self.steady.volts(self.level.across[:, :, :ports, : len(self.steady.across)], across),
            self.level.own[:, :, :ports] * UNIT,
        )

    def direct(
        self, faults: Sequence[int], feeds: list[int], opened: int | None = None
    ) -> tuple[Floats, Numbers] | None:
        """Return (volts, ohms) at 0 Hz of the person's ports, or None where nothing rectifies."""
        if not self.steady:
            return None
        across, _ = after(
            self.charging,
            self.changes,
            faults,
            self.probe.rectifier_ports,
            len(FEEDS),
            self.offset,
            opened,
        )
        ohms, inside = after(
            self.level,
            self.still,
            faults,
            range(len(self.probe.ports)),
            len(self.steady.across),
            self.offset,
            opened,
        )
        return self.steady.volts(ohms, across[:, 0][..., feeds]), inside * UNIT
