"""Touch current: from every node in reach to earth and between every two of them, in every state, the worst of each told.

The person is a Thevenin load on the solved network (open-circuit volts over inside and body impedance), so it never enters
the matrix.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import combinations
from typing import TYPE_CHECKING

from rework.circuit.circuit import Circuit
from rework.safety.current.network import Patterns, seen
from rework.safety.current.parts import EARTH
from rework.safety.current.person import Network, assumed, body_amps, limit, networks
from rework.safety.current.route import route
from rework.safety.current.study import FEEDS, Row, Study

if TYPE_CHECKING:
    import numpy as np

NOTE = ("Computed from the netlist as written; what had to be assumed, --all prints. It proves nothing: the leakage test by meter does, with the set on the "
        "wall outlet and not behind the bench isolation transformer, its earth lifted by an adaptor, plug both ways, switch ON and OFF. "
        "One hand in the pocket, the meter clipped on with the plug out.")
UNSEEN = ("A ground-fault interrupter sees only what returns past it to earth: it cannot see a current that stays on the isolated side, and below "
          "about 5 mA it does nothing.")


#: Currents that differ by less, relative, are the same: the first state tried is then the one told.
ALIKE = 1e-7


@dataclass(frozen=True, slots=True)
class Touch:
    """The worst of one node to earth (``other`` is then empty) or of a pair: amperes rms, volts rms, ohms, and the state.

    ``amps`` flow through the person's network, ``reading`` is what the instrument makes of it, ``volts`` stand open
    circuit, ``ohms`` is the impedance behind them; ``dc_amps`` and ``dc_volts`` are the worst direct ones, found apart.
    ``verdict`` is ``over``, ``under`` or ``not known`` (under, but a value is missing); what has no more than 35 V peak open
    circuit, or 60 V DC, is under whatever its current (IEC 60065, hazardous live test).
    """

    node: str
    other: str
    amps: float
    reading: float
    volts: float
    ohms: float
    state: str
    condition: str
    path: str
    dc_amps: float
    dc_volts: float
    dc_state: str
    insulated_amps: float
    body_amps: float
    body_volts: float
    verdict: str


@dataclass(frozen=True, slots=True)
class TouchReport:
    """All of it for one circuit. ``states`` is how many were solved; ``unknown`` says which values were missing."""

    title: str
    line: str
    network: Network
    limit_amps: float
    limit_words: str
    touches: tuple[Touch, ...]
    unknown: tuple[str, ...]
    states: int
    tried: str
    notes: tuple[str, ...] = field(default=(NOTE, UNSEEN))

    @property
    def worst(self) -> Touch | None:
        """The largest reading of all."""
        return max(self.touches, key=lambda touch: touch.reading, default=None)

    @property
    def exit_status(self) -> int:
        """1 where anything is over its limit or cannot be told to be under, else 0."""
        return int(any(touch.verdict != "under" for touch in self.touches))


def touch_ports(circuit: Circuit) -> list[tuple[str, str]]:
    """Return (node, other) for every node in reach to earth, and every two of them."""
    reached = sorted(node for node in circuit.within_reach if node in circuit.at)
    return [(node, EARTH) for node in reached] + list(combinations(reached, 2))


def touch(circuit: Circuit, *, network: str = "iec", limit_name: str = "0.5", body: int = 5, wet: bool = False,
          changes: tuple[tuple[str, float], ...] = ()) -> TouchReport:
    """Return the touch currents of a circuit: worst plug way, switch position, open conductor and condition of parts.

    ``network`` and ``limit_name`` are names in limits.toml, ``body`` the percentage of people of IEC 60479-1, ``changes``
    figures to assume otherwise. Raises KeyError for a name that is not there.
    """
    known = assumed(changes)
    study = Study(circuit, known)
    person, least = networks()[network], limit(limit_name)
    ports = touch_ports(circuit)
    if not ports:
        return _report(study, person, least, ())
    patterns = study.frame.patterns([(port, (1.0, -1.0)) for port in ports])
    ohms = person.impedance(study.hertz)
    best: list[tuple[float, complex, complex, Row | None, int]] = [(-1.0, 0j, 0j, None, 0)] * len(ports)
    direct = [(0.0, 0.0, "")] * len(ports)
    for rows, admittance, solved in study.blocks():
        found = seen(solved, patterns, study.feeds)
        volts = found.volts * study.volts
        amps = abs(volts / (found.ohms[:, :, None] + ohms))
        _mask(rows, amps)
        for number in range(len(ports)):
            row, feed = _worst(amps[:, number])
            if amps[row, number, feed] > best[number][0] * (1 + ALIKE):
                best[number] = (float(amps[row, number, feed]), complex(volts[row, number, feed]), complex(found.ohms[row, number]), rows[row], feed)
        _direct(study, rows, admittance, solved, patterns, direct)
    touches = []
    for number, (port, (amps, volts, inside, row, feed)) in enumerate(zip(ports, best, strict=True)):
        dc_volts, dc_amps, dc_state = direct[number]
        stray = 1 / (2j * math.pi * study.hertz * known["person_farad"])
        through = body_amps(abs(volts), inside, percent=body, wet=wet)
        reading = person.reading(amps, study.hertz)
        over = (reading > least.amps and abs(volts) * math.sqrt(2) > limit("35 V peak").volts
                or dc_amps > limit("2 DC").amps and dc_volts > limit("60 V DC").volts)
        missing = bool(study.model.unknown)
        touches.append(Touch(
            port[0], "" if port[1] == EARTH else port[1], amps, reading, abs(volts), abs(inside), row.words(feed, study.earth_pin),
            study.condition(row).words(), route(study, row, feed, port), dc_amps, dc_volts, dc_state,
            abs(volts / (inside + ohms + stray)) if port[1] == EARTH else 0.0, *through,
            "over" if over else "not known" if missing else "under"))
    return _report(study, person, least, tuple(touches))


def _worst(amps: np.ndarray) -> tuple[int, int]:
    """Return the (row, feed) of the largest, the first of those that are alike."""
    row, feed = divmod(int((amps >= amps.max() * (1 - ALIKE)).argmax()), amps.shape[1])
    return row, feed


def _mask(rows: tuple[Row, ...], amps: np.ndarray) -> None:
    """Take out the feeds that do not go with the blades of a row."""
    for number, row in enumerate(rows):
        for feed in range(len(FEEDS)):
            if feed not in row.feeds():
                amps[number, :, feed] = -1.0


def _direct(study: Study, rows: tuple[Row, ...], admittance: np.ndarray, solved, patterns: Patterns, worst: list[tuple[float, float, str]]) -> None:
    """Keep the worst direct volts and amperes of every port."""
    from rework.safety.current.direct import direct

    found = direct(study, rows, admittance, solved, patterns)
    if found is None:
        return
    chosen, volts, ohms = found
    amps = abs(volts / (ohms[:, :, None] + 2000.0))
    _mask(chosen, amps)
    for number in range(len(worst)):
        row, feed = _worst(amps[:, number])
        if amps[row, number, feed] > worst[number][1] * (1 + ALIKE):
            worst[number] = (float(abs(volts[row, number, feed])), float(amps[row, number, feed]), chosen[row].words(feed, study.earth_pin))


def _report(study: Study, person: Network, least, touches: tuple[Touch, ...]) -> TouchReport:
    words = f"{least.amps * 1e3:g} mA {least.kind}: {least.case} ({least.standard}; {least.mark})"
    states = sum(len(row.feeds()) for row in study.rows)
    return TouchReport(study.circuit.title, study.line_words, person, least.amps, words, touches, study.model.unknown, states, study.tried.words)
