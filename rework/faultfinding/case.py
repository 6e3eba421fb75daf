"""A circuit solved for what a bench can see of it: every state of its power, its fuses included."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part, Value
from rework.circuit.place import Problem
from rework.faultfinding.laws import sick
from rework.faultfinding.nearby import nearby
from rework.faultfinding.patched import patched
from rework.faultfinding.trouble import SingleTrouble
from rework.solve.arrays import Floats
from rework.solve.assemble import assemble
from rework.solve.bias import Bias, bias
from rework.solve.dense import LARGE
from rework.solve.draft import LEAST_OHMS
from rework.solve.heated import cold_by_line, cold_by_wave, rectified
from rework.solve.linear import Linear
from rework.solve.many import NEAR, RAISED, SOFTENED, Resting, Wanted, resting_points, steady_states
from rework.solve.network import CannotSolve, Network
from rework.solve.periodic import INSTANTS as FINE
from rework.solve.periodic import Steady, mains_steady
from rework.solve.places import path_of
from rework.solve.power import GENERATOR
from rework.solve.stress import rating
from rework.tubes import library

#: Instants of a period: means differ by less than a thousandth from those of a chart.
INSTANTS = 32
#: A fuse that carries so many times its rating opens while one looks: 2.1 times opens within two
#: minutes (IEC 60127-2, quick; UL 248-14 has 2.0 times), the two largest figures of both.
BLOWS = 2.1
#: A fuse that carries so many times its rating opens within an hour (UL 248-14, from memory).
TIRES = 1.35
#: Amps from the outlet at which the breaker of the building opens at once, and what stands there
#: for a fuse.
BREAKER_AMPS, BREAKER = 100.0, "the breaker of the outlet"
#: Ohms of a wire or solder bridge where an ideal one would be a short of a winding or of the line.
COPPER = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """A circuit under one trouble, solved.

    ``device`` (m, m) are the slopes of its devices at rest; ``off`` is the circuit without power;
    ``linear`` the small signals around the point at rest, and ``into`` (n) the current that a volt
    of the generator drives in (None without an input).
    ``blown`` names the fuses that opened: everything else is then reported with these out.
    """

    trouble: SingleTrouble
    circuit: Circuit
    bias: Bias
    device: Floats
    off: Network
    linear: Linear | None
    into: Floats | None
    blown: tuple[str, ...]

    @property
    def cold(self) -> tuple[str, ...]:
        """The tubes without enough heater volts."""
        return self.bias.network.cold


@dataclass(frozen=True, slots=True)
class UnsolvedTrouble:
    """A trouble without numbers, and why."""

    trouble: SingleTrouble
    problems: tuple[Problem, ...]


def solved_cases(
    wanted: Sequence[tuple[SingleTrouble, Circuit]],
    *,
    line: float | None = None,
    sound: Case | None = None,
    instants: int = INSTANTS,
) -> tuple[Case | UnsolvedTrouble, ...]:
    """Return every circuit with its trouble solved, or why it has no numbers.

    ``line`` is the RMS volts read at the outlet; ``sound`` is the set without trouble, to begin
    from.
    """
    drafts = [_drafted(trouble, circuit, line, sound) for trouble, circuit in wanted]
    settled = _settled(drafts, sound, instants)
    cases: list[Case | UnsolvedTrouble] = []
    for draft, steady in zip(drafts, settled, strict=True):
        cases.append(_case(draft, steady, line, sound))
    return tuple(cases)


def refined(case: Case) -> Case:
    """Return a case solved with as many instants as a chart is.

    Raises CannotSolve where these do not settle.
    """
    network, coarse = case.bias.network, case.bias.steady.x
    if not network.hertz:
        return case
    times = max(FINE // len(coarse), 1)
    steady = mains_steady(network, instants=FINE, start=np.repeat(coarse, times, axis=0))
    rest, device = nearby(network, steady, case.bias)
    linear, into = _driven(case.circuit, rest, device)
    return replace(case, bias=rest, device=device, linear=linear, into=into)


@dataclass(frozen=True, slots=True, eq=False)
class _Posed:
    trouble: SingleTrouble
    circuit: Circuit
    network: Network | CannotSolve


def _drafted(
    trouble: SingleTrouble, circuit: Circuit, line: float | None, sound: Case | None
) -> _Posed:
    """Return a circuit with its equations. Where it has none as it is, wires that the sound set
    does not have are copper with its ohms, and elements on nothing get a node each.
    """
    common = sound.bias.network.reference if sound is not None else ""
    if sound is not None and (near := _from_network(trouble, circuit, sound)) is not None:
        return _Posed(trouble, circuit, near)
    try:
        return _Posed(trouble, circuit, _network(trouble, circuit, line, common))
    except CannotSolve as error:
        if sound is None:
            return _Posed(trouble, circuit, error)
    circuit = _with_ends(_with_copper(circuit, sound.circuit))
    try:
        return _Posed(trouble, circuit, _network(trouble, circuit, line, common))
    except CannotSolve as error:
        return _Posed(trouble, circuit, error)


def _from_network(trouble: SingleTrouble, circuit: Circuit, sound: Case) -> Network | None:
    """Return the equations of a circuit as those of the sound set with a branch or law changed;
    None where they differ in more, or leave other tubes cold.
    """
    network = patched(circuit, sound.circuit, sound.bias.network)
    if network is None or network.cold:
        return None
    if network is not sound.bias.network and cold_by_line(circuit, network):
        return None
    return sick(network, trouble.laws)


def _with_copper(circuit: Circuit, sound: Circuit) -> Circuit:
    def copper(part: Part) -> Part:
        known = sound.part(part.name)
        same = known is not None and known.pins == part.pins
        if not part.is_conductor or same or len(part.ends) != 2 or part.ends[0] == part.ends[1]:
            return part
        return replace(part, kind="resistor", values=(Value("resistance", COPPER),), words=())

    return circuit.with_parts(tuple(map(copper, circuit.parts)))


def _with_ends(circuit: Circuit) -> Circuit:
    """Return a circuit in which every tube element that is on nothing has a node of its own."""
    parts = []
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        loose = tube.socket_pins if tube is not None else ()
        ends = tuple(
            (pin, f"{part.name}-{pin}-loose")
            for pin in loose
            if part.node(pin) is None and pin in part.unused
        )
        parts.append(replace(part, pins=(*part.pins, *ends)) if ends else part)
    return circuit.with_parts(tuple(parts))


def _network(
    trouble: SingleTrouble,
    circuit: Circuit,
    line: float | None,
    common: str,
    cold: Collection[str] | None = None,
) -> Network:
    """Return the equations of a circuit with the tubes cold that have no heater volts from the
    line; ``cold`` names them where that is known better.
    """
    linked = _with_links(circuit)
    network = assemble(linked, reference=common, cold=())
    if cold is None:
        cold = tuple(cold_by_line(linked, network))
    if cold:
        network = replace(assemble(linked, reference=common, cold=cold), cold=tuple(cold))
    network = sick(network, trouble.laws)
    if line is not None:
        root = 2**0.5 if network.hertz else 1.0
        network = replace(network, volts_peak=line * root)
    return network


def _with_links(circuit: Circuit) -> Circuit:
    """Return a circuit whose fuses are ohms too few to matter, so that each has its current."""

    def link(part: Part) -> Part:
        ends = part.node("1"), part.node("2")
        if not part.traits.is_overcurrent or None in ends or ends[0] == ends[1]:
            return part
        values = (Value("resistance", LEAST_OHMS), Value("fraction", 0.0))
        pins = (("1", str(ends[0])), ("2", str(ends[1])))
        return Part(part.name, "resistor", values=values, pins=pins)

    return circuit.with_parts(tuple(map(link, circuit.parts)))


def _settled(
    drafts: Sequence[_Posed], sound: Case | None, instants: int
) -> list[Steady | CannotSolve]:
    """Return the steady state of each network: in stacks, from near the sound set; alone and from
    nothing where that does not settle.
    """
    networks = [posed.network for posed in drafts if isinstance(posed.network, Network)]
    near = iter(_from_sound(networks, sound, instants) if sound else [None] * len(networks))
    results: list[Steady | CannotSolve] = []
    for posed in drafts:
        if not isinstance(posed.network, Network):
            results.append(posed.network)
            continue
        steady = next(near)
        results.append(steady if isinstance(steady, Steady) else _alone(posed.network, instants))
    return results


def _from_sound(
    networks: Sequence[Network], sound: Case, instants: int
) -> Sequence[Steady | CannotSolve | None]:
    small = [n for n in networks if n.n < LARGE and n.hertz]
    starts = _starts(small, sound, instants) if small else ()
    results: list[Steady | CannotSolve] = [CannotSolve()] * len(small)
    for way in (NEAR, SOFTENED, RAISED):
        left = [n for n, steady in enumerate(results) if isinstance(steady, CannotSolve)]
        wanted = [
            Wanted(small[n], 1.0, starts[n] if way is not RAISED else np.zeros_like(starts[n]))
            for n in left
        ]
        for n, steady in zip(left, steady_states(wanted, way), strict=True):
            results[n] = steady
    done = iter(results)
    return [next(done) if n.n < LARGE and n.hertz else None for n in networks]


def _starts(networks: Sequence[Network], sound: Case, instants: int) -> Sequence[Floats]:
    """Return the wave of the sound set moved by as much as the direct current of each network goes
    elsewhere, (instants, n).
    """
    before = sound.bias
    steady = before.steady.x[:: len(before.steady.x) // instants]
    rest = Resting(before.network, before.laws, before.steady.mean)
    place = {name: at for at, name in enumerate(before.network.names)}
    averaged = {
        device.key: law
        for device, law in zip(before.network.ordered, before.laws, strict=True)
        if law.controls == 1  # another tube in the socket may be no rectifier, or one
    }
    waves, wanted = list[Floats](), [rest]
    for network in networks:
        at = np.array([place.get(name, -1) for name in network.names])
        wave = np.where(at >= 0, steady[:, at], 0.0)
        laws = (
            averaged.get(d.key, d.law) if d.law.controls == 1 else d.law for d in network.ordered
        )
        waves.append(wave)
        wanted.append(Resting(network, tuple(laws), wave.mean(0)))
    still, *points = resting_points(wanted)
    shared = before.steady.mean if still is None else still
    starts = []
    for network, wave, point in zip(networks, waves, points, strict=True):
        at = np.array([place.get(name, -1) for name in network.names])
        starts.append(wave if point is None else wave - np.where(at >= 0, shared[at], 0.0) + point)
    return starts


def _alone(network: Network, instants: int) -> Steady | CannotSolve:
    try:
        return mains_steady(network, instants=instants)
    except CannotSolve:
        pass
    try:  # a fine grid settles where a coarse one goes round in circles
        fine = mains_steady(network)
        return mains_steady(network, instants=instants, start=fine.x[:: len(fine.x) // instants])
    except CannotSolve as error:
        return error


def _case(
    draft: _Posed, steady: Steady | CannotSolve, line: float | None, sound: Case | None
) -> Case | UnsolvedTrouble:
    if isinstance(steady, CannotSolve):
        return UnsolvedTrouble(draft.trouble, steady.problems)
    assert isinstance(draft.network, Network)
    network, circuit, instants = draft.network, draft.circuit, len(steady.x)
    try:
        warm = _by_rectifiers(draft, steady)
        if warm is not None:
            network = _network(draft.trouble, circuit, line, network.reference, warm)
            steady = mains_steady(network, instants=instants)
        blown = _blowing(circuit, network, steady)
        if blown:
            parts = tuple(part for part in circuit.parts if part.name not in blown)
            less = circuit.with_parts(parts)
            network = _network(draft.trouble, less, line, network.reference)
            steady = mains_steady(network, instants=instants)
        if _line_amps(network, steady) > BREAKER_AMPS:
            blown = (*blown, BREAKER)
            network = replace(network, volts_peak=0.0, cold=_heated(circuit))
            steady = mains_steady(network, instants=instants)
        rest, device = _at_rest(network, steady, sound)
        near = patched(circuit, sound.circuit, sound.off) if sound is not None else None
        off = near or assemble(circuit, powered=False, reference=network.reference)
    except CannotSolve as error:
        return UnsolvedTrouble(draft.trouble, error.problems)
    linear, into = _driven(circuit, rest, device)
    return Case(draft.trouble, circuit, rest, device, off, linear, into, blown)


def _at_rest(network: Network, steady: Steady, sound: Case | None) -> tuple[Bias, Floats]:
    """Return a circuit at rest and the slopes (m, m) of its devices there."""
    if sound is not None:
        return nearby(network, steady, sound.bias)
    rest = bias(network, steady)
    return rest, network.device_currents(rest.point, laws=rest.laws)[1]


def _by_rectifiers(draft: _Posed, steady: Steady) -> tuple[str, ...] | None:
    """Return the cold tubes where a rectifier feeds heaters so that they are others; else None."""
    network = draft.network
    assert isinstance(network, Network)
    if not network.cold or not rectified(draft.circuit, network):
        return None
    cold = tuple(cold_by_wave(draft.circuit, network, steady.x))
    return cold if cold and set(cold) != set(network.cold) else None


def tired_fuses(case: Case) -> tuple[str, ...]:
    """Return the fuses that open within an hour, of those that a case leaves whole."""
    return _blowing(case.circuit, case.bias.network, case.bias.steady, TIRES)


def _blowing(
    circuit: Circuit, network: Network, steady: Steady, times: float = BLOWS
) -> tuple[str, ...]:
    """Return the fuses that carry so many times their rating."""
    blown = []
    for number, branch in enumerate(network.ohmic):
        part = circuit.part(branch.name)
        rated = part.value("current") if part is not None else None
        if part is not None and part.traits.is_overcurrent and rated:
            volts = steady.x @ network.ohmic_at[number]
            if float((volts**2).mean() ** 0.5) / branch.value > times * rated:
                blown.append(part.name)
    return tuple(blown)


def _line_amps(network: Network, steady: Steady) -> float:
    """Return the most RMS current through a plug."""
    squares = (steady.x[:, list(network.sources)] ** 2).mean(0)
    return float(squares.max(initial=0.0) ** 0.5)


def _heated(circuit: Circuit) -> tuple[str, ...]:
    return tuple(part.name for part in circuit.parts if part.kind == "tube")


def _driven(circuit: Circuit, rest: Bias, device: Floats) -> tuple[Linear | None, Floats | None]:
    """Return the small signals with a generator at the input, and the current of one volt of it."""
    try:
        path = path_of(circuit)
    except CannotSolve:
        return None, None
    network = rest.network
    linear = Linear(network, network.g + network.reads.T @ device @ network.reads, network.c)
    into = linear.column(path.source, path.back)
    g = linear.g + np.outer(into, into) / GENERATOR
    return replace(linear, g=g), into / GENERATOR


def overloads(case: Case) -> Mapping[str, float]:
    """Return how many times its rating everything burns that has one in watts: plates and screens
    of tubes, resistors and controls.
    """
    network, steady = case.bias.network, case.bias.steady
    loads: dict[str, float] = {}
    volts = network.across(steady.x)
    for device, start in zip(network.ordered, network.starts, strict=True):
        part = case.circuit.part(device.name)
        if part is None or device.law.controls < 2 or library.find(part.type) is None:
            continue
        for row, key in zip(
            range(device.law.controls - 1), ("plate_watts", "screen_watts"), strict=False
        ):
            limit = rating(part, key, device.unit)
            watts = float((volts[:, start + row] * steady.currents[:, start + row]).mean())
            if limit:
                name = f"{device.name} {key.partition('_')[0]}"
                loads[name] = max(loads.get(name, 0.0), watts / limit)
    squares = ((steady.x @ network.ohmic_at.T) ** 2).mean(0)
    for branch, square in zip(network.ohmic, squares.tolist(), strict=True):
        part = case.circuit.part(branch.name)
        limit = rating(part, "watts") if part is not None and part.kind == "resistor" else None
        if limit:
            loads[branch.name] = square / branch.value / limit
    return loads
