"""Every single fault in every state, from one factorisation a state; what clears it and what would prevent it.

The faults are changes of low rank (see ``network``): one element by Sherman and Morrison, several by Woodbury.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rework.circuit.circuit import Circuit
from rework.safety.current.failures import PREVENTED, Fault, single_faults
from rework.safety.current.network import Frame, Patterns, Seen, Solved, changed, changed_together, joined, seen, solve
from rework.safety.current.parts import EARTH
from rework.safety.current.person import Network, assumed, limit, networks
from rework.safety.current.study import FEEDS, Row, Study
from rework.safety.current.touch import ALIKE, NOTE, UNSEEN, touch_ports

if TYPE_CHECKING:
    import numpy as np

#: The feed of an outlet wired the wrong way round.
_WRONG = 2
#: Ohms of an element that is not there.
NOTHING = 1e30


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one fault does: amperes rms, volts rms.

    ``reading`` and ``volts`` are the worst of all ports and states while the fault lasts, ``lasting`` the worst of what no
    fuse in the set ends. ``line_amps`` is drawn from the outlet in that state, ``fuse`` the fuse that carries most of
    its rating with ``fuse_amps`` in it; ``before`` is the reading at the same port and in any state without the fault.
    """

    fault: Fault
    node: str
    other: str
    reading: float
    volts: float
    before: float
    lasting: float
    state: str
    condition: str
    line_amps: float
    fuse: str
    fuse_amps: float
    fuse_rating: float
    verdict: str
    cleared: str
    prevented: str


@dataclass(frozen=True, slots=True)
class FaultReport:
    """All single faults of a circuit, worst first; ``healthy`` is the worst reading without any fault."""

    title: str
    line: str
    network: Network
    limit_amps: float
    outcomes: tuple[Outcome, ...]
    healthy: float
    unknown: tuple[str, ...]
    states: int
    notes: tuple[str, ...] = (NOTE, UNSEEN)

    @property
    def exit_status(self) -> int:
        """1 where any fault leaves more than the limit, or a missing value leaves it open, else 0."""
        return int(any(outcome.verdict != "under" for outcome in self.outcomes))


@dataclass(frozen=True, slots=True)
class Probe:
    """Where a fault is looked at: the person's ports first, then every fuse, then every line blade."""

    study: Study
    ports: list[tuple[str, str]]
    fuses: list[int]
    blades: list[int]
    patterns: Patterns

    @classmethod
    def of(cls, study: Study) -> Probe:
        """Return the probe of a study."""
        ports = touch_ports(study.circuit)
        fuses = [number for number, element in enumerate(study.elements) if element.kind == "fuse"]
        blades = [number for number, element in enumerate(study.elements) if element.kind == "blade"]
        wanted = [(port, (1.0, -1.0)) for port in ports]
        wanted += [(study.elements[number].nodes, study.elements[number].weights) for number in (*fuses, *blades)]
        return cls(study, ports, fuses, blades, study.frame.patterns(wanted))

    def amps(self, volts: np.ndarray, ohms: np.ndarray, network: Network) -> np.ndarray:
        """Return the person's amperes at every port; open-circuit volts too low to count leave none."""
        import numpy as np

        count = len(self.ports)
        inside = ohms[..., :count, None]
        flow = abs(volts[..., :count, :] / (inside + network.impedance(self.study.hertz)))
        return np.where(abs(volts[..., :count, :]) * math.sqrt(2) > limit("35 V peak").volts, flow, 0.0)

    def fuse_amps(self, volts: np.ndarray) -> np.ndarray:
        """Return the amperes in every fuse."""
        count = len(self.ports)
        return abs(volts[..., count : count + len(self.fuses), :]) / self.study.assumed["fuse_ohm"]

    def line_amps(self, volts: np.ndarray) -> np.ndarray:
        """Return the amperes drawn from the hot conductor, one a feed."""
        import numpy as np

        drawn = np.zeros((*volts.shape[:-2], volts.shape[-1]))
        for place, number in enumerate(self.blades, len(self.ports) + len(self.fuses)):
            terminal = self.study.elements[number].gate[2]
            hot = np.array([self.study.volts if (terminal == "line") == (feed.hot == "line") else 0.0 for feed in FEEDS])
            drawn = np.maximum(drawn, np.where(hot > 0, abs(hot - volts[..., place, :]) / self.study.assumed["line_ohm"], 0.0))
        return drawn


def solved_faults(study: Study, faults: tuple[Fault, ...], probe: Probe, admittance: np.ndarray, solved: Solved) -> Seen:
    """Return what the probe sees of every fault at one volt of line, with the faults as second axis."""
    import numpy as np

    base = seen(solved, probe.patterns, study.feeds)
    volts = np.repeat(base.volts[:, None], len(faults), axis=1)
    ohms = np.repeat(base.ohms[:, None], len(faults), axis=1)
    single = [number for number, fault in enumerate(faults) if fault.changes == 1]
    if single:
        after = changed(solved, base, probe.patterns, study.feeds, *_changes(study, [faults[number] for number in single], admittance))
        volts[:, single], ohms[:, single] = after.volts, after.ohms
    for number, fault in enumerate(faults):
        if fault.changes > 1:
            many = changed_together(solved, base, probe.patterns, study.feeds, *_changes(study, [fault], admittance))
            volts[:, number], ohms[:, number] = many.volts, many.ohms
    return Seen(volts, ohms)


def solved_afresh(study: Study, fault: Fault, patterns: Patterns, admittance: np.ndarray) -> Seen:
    """Return what a fault does by putting it into the matrix and solving again: the check on the updates."""
    import numpy as np

    # The new elements come last among the unknowns, so that the patterns still fit.
    with_fault = admittance.copy()
    with_fault[:, list(fault.opened)] = 0.0
    wanted = [(element.nodes, element.weights) for element in study.elements] + [(nodes, (1.0, -1.0)) for nodes, _ in fault.added]
    new = np.tile(np.array([siemens for _, siemens in fault.added], admittance.dtype), (len(admittance), 1))
    branches = (*study.frame.branches, *range(len(study.elements), len(wanted)))
    frame = Frame((*study.frame.names, EARTH), EARTH, wanted, branches)
    return seen(solve(frame, np.concatenate([with_fault, new], axis=1)), patterns, study.feeds)


def _changes(study: Study, faults: list[Fault], admittance: np.ndarray) -> tuple[Patterns, np.ndarray]:
    """Return every change of the faults, one after the other, as patterns, and its ohms in every state."""
    import numpy as np

    branch_at = study.frame.branch_at
    opened, added, columns = [], [], []
    for fault in faults:
        for number in fault.opened:
            if number in branch_at:
                opened.append((len(columns), number))
                columns.append(np.zeros(len(admittance), admittance.dtype))
            else:
                added.append((len(columns), (study.elements[number].nodes, study.elements[number].weights)))
                passed = -admittance[:, number]
                columns.append(np.where(passed == 0, NOTHING, 1 / np.where(passed == 0, 1.0, passed)))
        for nodes, siemens in fault.added:
            added.append((len(columns), (nodes, (1.0, -1.0))))
            columns.append(np.full(len(admittance), 1 / siemens, admittance.dtype))
    order = [place for place, _ in (*opened, *added)]
    patterns = joined(study.frame.currents([((number,), (1.0,)) for _, number in opened]), study.frame.patterns([pattern for _, pattern in added]))
    return patterns.take(np.argsort(order)), np.stack(columns, axis=1)


def faults(circuit: Circuit, *, network: str = "iec", limit_name: str = "0.5", open_conductors: bool = False,
           changes: tuple[tuple[str, float], ...] = ()) -> FaultReport:
    """Return every single fault of a circuit in every way round of the plug, switch position and condition of the parts.

    ``open_conductors`` also tries each fault while the neutral, the earth or both are open, which is a second fault.
    Arguments otherwise as for ``touch``.
    """
    study = Study(circuit, assumed(changes), open_conductors=open_conductors, umbilicals=False)
    person, least = networks()[network], limit(limit_name)
    probe = Probe.of(study)
    every = single_faults(study)
    if not probe.ports or not every:
        return _report(study, person, least, (), 0.0)
    worst = [_Worst() for _ in every]
    healthy: dict[int, float] = {}
    for rows, admittance, solved in study.blocks():
        whole = seen(solved, probe.patterns, study.feeds)
        base = probe.amps(whole.volts * study.volts, whole.ohms, person)
        _silence(rows, base)
        for port in range(len(probe.ports)):
            healthy[port] = max(healthy.get(port, 0.0), float(base[:, port].max()))
        after = solved_faults(study, every, probe, admittance, solved)
        _keep_worst(study, probe, person, every, rows, admittance, solved, after.volts * study.volts, after.ohms, worst)
    outcomes = [_outcome(study, probe, person, least, fault, found, healthy) for fault, found in zip(every, worst, strict=True)]
    outcomes.sort(key=lambda outcome: (-round(outcome.lasting, 9), -round(outcome.reading, 9)))
    return _report(study, person, least, tuple(outcomes), person.reading(max(healthy.values()), study.hertz))


@dataclass(slots=True)
class _Worst:
    """The worst of one fault so far."""

    amps: float = -1.0
    volts: float = 0.0
    port: int = 0
    row: Row | None = None
    feed: int = 0
    lasting: float = 0.0
    line_amps: float = 0.0
    fuse: int = -1
    fuse_amps: float = 0.0


def _silence(rows: tuple[Row, ...], amps: np.ndarray, *, wrong: bool = False) -> None:
    """Take out the feeds that do not go with a row; ``amps`` is (rows, ports, feeds)."""
    for number, row in enumerate(rows):
        for feed in range(len(FEEDS)):
            if feed not in ((_WRONG,) if wrong and row.blades == "both" else row.feeds()):
                amps[number, ..., feed] = 0.0


def _keep_worst(study: Study, probe: Probe, person: Network, every: tuple[Fault, ...], rows: tuple[Row, ...], admittance: np.ndarray,
                solved: Solved, volts: np.ndarray, ohms: np.ndarray, worst: list[_Worst]) -> None:
    amps = probe.amps(volts, ohms, person)
    carried, drawn = probe.fuse_amps(volts), probe.line_amps(volts)
    ratings = [_rating(study, number) for number in probe.fuses]
    for number, (fault, kept) in enumerate(zip(every, worst, strict=True)):
        for place, fuse in enumerate(probe.fuses):
            if study.elements[fuse].part == fault.part:
                carried[:, number, place] = 0.0
        mine = amps[:, number]
        _silence(rows, mine, wrong=fault.earth_hot)
        row, port, feed = (int(place) for place in _place(int((mine >= mine.max() * (1 - ALIKE)).argmax()), mine.shape))
        lasting = _lasting(study, probe, person, fault, rows, admittance, solved, mine, carried[:, number], ratings)
        kept.lasting = max(kept.lasting, lasting)
        if mine[row, port, feed] > kept.amps * (1 + ALIKE):
            fuse = max(range(len(ratings)), key=lambda place: carried[row, number, place, feed] / (ratings[place] or math.inf), default=-1)
            kept.amps, kept.port, kept.row, kept.feed = float(mine[row, port, feed]), port, rows[row], feed
            kept.volts = float(abs(volts[row, number, port, feed]))
            kept.line_amps, kept.fuse = float(drawn[row, number, feed]), fuse
            kept.fuse_amps = float(carried[row, number, fuse, feed]) if fuse >= 0 else 0.0


def _place(flat: int, shape: tuple[int, ...]) -> tuple[int, ...]:
    """Return the place of a flat index in an array of a shape."""
    places = []
    for size in reversed(shape):
        flat, place = divmod(flat, size)
        places.append(place)
    return tuple(reversed(places))


def _lasting(study: Study, probe: Probe, person: Network, fault: Fault, rows: tuple[Row, ...], admittance: np.ndarray, solved: Solved,
             amps: np.ndarray, carried: np.ndarray, ratings: list[float]) -> float:
    """Return the worst amperes that stay: where a fuse is sure to blow, those with that fuse open as well."""
    import numpy as np

    stays = amps.max(axis=1)
    for place, rating in enumerate(ratings):
        blows = carried[:, place] >= study.assumed["fuse_blows"] * rating if rating else np.zeros_like(stays, bool)
        if not (blows & (stays > 0)).any():
            continue
        also = Fault(fault.what, fault.part, fault.kind, (*fault.opened, probe.fuses[place]), fault.added, fault.earth_hot)
        whole = seen(solved, probe.patterns, study.feeds)
        after = changed_together(solved, whole, probe.patterns, study.feeds, *_changes(study, [also], admittance))
        left = probe.amps(after.volts * study.volts, after.ohms, person)
        _silence(rows, left, wrong=fault.earth_hot)
        stays = np.where(blows, np.minimum(stays, left.max(axis=1)), stays)
    return float(stays.max())


def _rating(study: Study, number: int) -> float:
    return study.circuit.by_name[study.elements[number].part].value("current") or 0.0


def _outcome(study: Study, probe: Probe, person: Network, least, fault: Fault, found: _Worst, healthy: dict[int, float]) -> Outcome:
    node, other = probe.ports[found.port]
    element = study.elements[probe.fuses[found.fuse]] if found.fuse >= 0 else None
    rating = _rating(study, probe.fuses[found.fuse]) if element else 0.0
    reading, lasting, before = (person.reading(amps, study.hertz) for amps in (found.amps, found.lasting, healthy[found.port]))
    verdict = "over" if lasting > least.amps else "not known" if study.model.unknown else "under"
    return Outcome(fault, node, "" if other == EARTH else other, reading, found.volts, before, lasting, found.row.words(found.feed, study.earth_pin),
                   study.condition(found.row).words(), found.line_amps, element.part if element else "", found.fuse_amps, rating, verdict,
                   _cleared(study, found, element.part if element else "", rating, reading, lasting, least.amps), PREVENTED[fault.kind])


def _cleared(study: Study, found: _Worst, fuse: str, rating: float, reading: float, lasting: float, least: float) -> str:
    if reading <= least:
        return "nothing to clear"
    if found.line_amps >= study.assumed["breaker_ampere"] and found.fuse_amps < study.assumed["fuse_blows"] * rating:
        return f"nothing in the set; {found.line_amps:.3g} A from the outlet are left to the breaker of the building"
    if not fuse:
        return f"nothing: there is no fuse; {found.line_amps:.3g} A from the outlet"
    if not rating:
        return f"not known: {fuse} has no rating written"
    if found.fuse_amps >= study.assumed["fuse_blows"] * rating:
        ending = "and that ends it" if lasting <= least else f"but {lasting * 1e3:.3g} mA stay in another state or past it"
        return f"{fuse} blows, {found.fuse_amps:.3g} A against {rating:g} A, {ending}"
    return f"nothing: {fuse} carries {found.fuse_amps:.3g} A of its {rating:g} A"


def _report(study: Study, person: Network, least, outcomes: tuple[Outcome, ...], healthy: float) -> FaultReport:
    states = sum(len(row.feeds()) for row in study.rows)
    return FaultReport(study.circuit.title, study.line_words, person, least.amps, outcomes, healthy, study.model.unknown, states)
