"""What faults do to a network in some of its states, alternating and direct, as seen from where a
person touches it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rework.touch.direct import Direct, DrivenState, driven
from rework.touch.failures import Fault
from rework.touch.network import UNIT, Floats, Frame, Integers, Numbers, Solved, joined
from rework.touch.ports import Port, touch_ports
from rework.touch.study import FEEDS, Combo, Row, Study
from rework.touch.updates import Change, FaultSpread, after, moving, spread

#: Units of an element that is not there.
NOTHING = 1e26


class Probe:
    """Where a fault is looked at: the person's ports, the current of every fuse, blade and
    rectifier.
    """

    def __init__(self, study: Study, ports: Sequence[Port] | None = None) -> None:
        self.study = study
        self.ports = touch_ports(study.circuit) if ports is None else list(ports)
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
            frame.currents([((number,), (1.0,)) for number in study.rectifiers]),
        )
        count = len(self.ports)
        self.fuse_ports = range(count, count + len(self.fuses))
        self.seen_ports = range(count + len(self.fuses) + len(self.blades))
        self.rectifier_ports = slice(len(self.seen_ports), len(self.patterns))
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
    voided = np.zeros((len(combos), len(faults)), bool)
    for number, fault in enumerate(faults):
        names = {study.elements[opened].name for opened in fault.opened}
        gone = [
            study.axes.index(variant.axis)
            for variant in study.variants
            if variant.axis.kind not in ("pot", "tap") and variant.name in names
        ]
        voided[:, number] = [any(combo[axis] for axis in gone) for combo in combos]
    return voided


@dataclass(frozen=True, slots=True, eq=False)
class DirectEffects:
    """Direct current under some faults: ``volts`` at the person's ports and ``amps`` through a
    person, (rows, combinations, faults, ports, feeds); amperes of fuses and blades, ``carried``, in
    place of ports; the ``watts`` of all rectifiers, without ports; and what each of these gives,
    ``given`` (rows, combinations, faults, feeds, rectifiers), no number where one is off.
    """

    volts: Floats
    amps: Floats
    carried: Floats
    watts: Floats
    given: Floats

    def some(self, chosen: Integers) -> DirectEffects:
        """Return that of some of the faults."""
        return DirectEffects(
            self.volts[:, :, chosen],
            self.amps[:, :, chosen],
            self.carried[:, :, chosen],
            self.watts[:, :, chosen],
            self.given[:, :, chosen],
        )


class Effects:
    """The effects of faults in some rows: alternating and, where anything rectifies, direct.

    A fault of one change is put in by an update. Where several elements open at once a piece may be
    left connected through stray capacitance alone, and an update would lose its digits:
    such a fault comes alone, in matrices of its own.
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
        self.changes = changes_of(study, faults, study.frame, admittance)
        self.found = spread(
            solved,
            moving(study, combos),
            joined(probe.patterns, self.changes.patterns),
            joined(study.feeds, probe.patterns),
        )
        if steady:
            self._charge(steady, faults, gone)
            self.levels = tuple(
                self._level(steady, faults, level, gone) for level in steady.admittances(rows)
            )

    def _charge(self, steady: Direct, faults: Sequence[Fault], gone: tuple[int, ...]) -> None:
        """Work out what the rectifiers see while none of them conducts."""
        study, admittance = self.study, steady.open_admittance(self.rows)
        admittance[:, list(gone)] = 0.0
        self.opened = changes_of(study, faults, study.frame, admittance)
        fuses = study.frame.currents([((number,), (1.0,)) for number in self.probe.fuses])
        ports = joined(steady.across, fuses)
        self.charging = spread(
            steady.open(self.rows, admittance),
            steady.charging,
            joined(ports, self.opened.patterns),
            joined(study.feeds, ports),
        )

    def _level(
        self, steady: Direct, faults: Sequence[Fault], admittance: Numbers, gone: tuple[int, ...]
    ) -> tuple[FaultSpread, Change]:
        """Return what the person's ports see of the rectifiers at 0 Hz, and the faults there."""
        admittance[:, list(gone)] = 0.0
        still = changes_of(self.study, faults, steady.frame, admittance)
        level = spread(
            steady.solved(admittance),
            steady.varies,
            joined(self.probe.patterns, still.patterns),
            joined(steady.sources, self.probe.patterns),
        )
        return level, still

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
        self, faults: Sequence[int] | Integers, feeds: list[int], opened: int | None = None
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
            feeds,
            (len(self.probe.patterns), len(FEEDS)),
            opened,
            self.void[:, faults],
        )
        return volts, ohms[..., : len(self.probe.ports)] * UNIT

    def healthy_direct(self, load: float) -> tuple[Floats, Floats, Floats] | None:
        """Return direct volts at the person's ports without a fault and amperes through ``load``
        ohms, (rows, combinations, ports, feeds), and what the rectifiers give, (rows, combinations,
        feeds, rectifiers), no number where one is off; None where nothing rectifies.
        """
        if not self.steady:
            return None
        count, people = len(self.steady.sources), len(self.probe.ports)
        across = self.charging.across[:, :, :count, : len(FEEDS)]
        peaks = self.steady.peak_volts(across)[:, None]
        pieces = []
        for level, _ in self.levels:
            passed = level.across[:, :, self.probe.rectifier_ports, :count]
            shares, alone = level.across[:, :, :people, :count], level.own[:, :, :people]
            pieces.append(driven(shares, alone, passed, peaks, load))
        amps = np.concatenate([piece.amps for piece in pieces], axis=1)
        return _volts(pieces), amps, _given(pieces)

    def direct(
        self,
        faults: Sequence[int] | Integers,
        feeds: list[int],
        load: float,
        opened: int | None = None,
    ) -> DirectEffects | None:
        """Return what direct current does at the person's ports, with ``load`` ohms there; None
        where nothing rectifies.

        ``opened`` is the place of a fuse that is open as well.
        """
        if not self.steady:
            return None
        count, people = len(self.steady.sources), len(self.probe.ports)
        fuse = None if opened is None else self.probe.fuse_ports[opened]
        across, _ = after(
            self.charging,
            self.opened,
            faults,
            range(count),
            feeds,
            (count + len(self.probe.fuses), len(FEEDS)),
            None if opened is None else count + opened,
        )
        peaks = self.steady.peak_volts(across)[:, None]
        every, sources = range(len(self.probe.patterns)), range(count)
        pieces = []
        for level, still in self.levels:
            shares, own = after(level, still, faults, every, sources, (len(every), count), fuse)
            seen, passed = np.split(shares, [len(self.probe.seen_ports)], axis=3)
            inside = own[..., : len(self.probe.seen_ports)]
            pieces.append(driven(seen, inside, passed, peaks, load, self.steady.fed))
        volts = _volts(pieces)
        amps = np.concatenate([piece.amps[..., :people, :] for piece in pieces], axis=1)
        watts = np.concatenate([piece.watts for piece in pieces], axis=1)
        carried = volts[..., people:, :] / UNIT
        return DirectEffects(volts[..., :people, :], amps, carried, watts, _given(pieces))


def _given(pieces: Sequence[DrivenState]) -> Floats:
    """Return what rectifiers give in several pieces, no number where one of them is off."""
    return np.concatenate(
        [np.where(piece.off.any(-1, keepdims=True), math.nan, piece.give) for piece in pieces],
        axis=1,
    )


def _volts(pieces: Sequence[DrivenState]) -> Floats:
    """Return the volts of several pieces, one after the other along the combinations."""
    return np.concatenate([abs(piece.volts) for piece in pieces], axis=1)
