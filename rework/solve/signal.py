"""What the amplifier does with a signal: gain, response with every control, watts at the onset of
clipping, distortion, hum, stability.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

from rework.circuit.circuit import Circuit
from rework.circuit.place import Problem
from rework.solve.assemble import assemble
from rework.solve.bias import Bias, bias, bias_alone
from rework.solve.feedback import Loop
from rework.solve.held import bias_held
from rework.solve.linear import Linear, linearised
from rework.solve.motions import motions_of, unmeant
from rework.solve.network import Branch, CannotSolve, Network, NotSettled
from rework.solve.newton import operating_point
from rework.solve.oscillation import Swing
from rework.solve.periodic import Steady, mains_steady
from rework.solve.places import SignalPath, path_of
from rework.solve.positions import Position, staying, turned
from rework.solve.power import GENERATOR, TONE, Driver, Orbit, Power
from rework.solve.remedies import StabilityRemedy
from rework.solve.response import (
    Hum,
    Response,
    gain,
    hum_of,
    output_impedance,
    response,
    tone,
)
from rework.solve.seen import outside_seen
from rework.solve.signal_bands import SignalBands, signal_bands
from rework.solve.stability import AUDIBLE, Mode, growing, modes
from rework.solve.strays import with_strays
from rework.solve.undriven import oscillating, turned_down, untamed
from rework.tubes import library

#: Below this gain from input to speaker an amplifier is silent; below so many amps a tube is dead
#: (the tool's own choice; no source).
FAINT, DEAD = 1e-2, 1e-5
#: With a dead tube on its way a signal still creeps past it through capacitances: fewer watts than
#: these are no output (the tool's own choice; no source).
LEAST_WATTS = 1e-6
#: Watts at the load under which controls that are held are said to be turned down too far.
HELD_WATTS = 1e-3
#: What finds a network's operating point, from its steady state where that is known.
FindBias: TypeAlias = Callable[[Network, Steady | None], Bias]
#: How often ``signal`` calls its ``step``.
STEPS = 5
#: The positions of a control that a response is told of.
TURNS = ((0.0, "ccw"), (0.5, "middle"), (1.0, "cw"))


@dataclass(frozen=True, slots=True)
class Level:
    """RMS volts at a tube pin, against common, for each volt at the input: 1 kHz, controls where
    they are loudest.
    """

    part: str
    pin: str
    element: str
    node: str
    gain: float


@dataclass(frozen=True, slots=True)
class Signal:
    """Everything ``rework signal`` says of one circuit.

    ``output_ohms`` is the size of the output impedance, whose parts are ``output_resistance`` and
    ``output_reactance``. ``sweep`` are sines from small to past clipping; ``orbit`` is what the
    plate of the output tube goes through at ``full``. ``feedback`` are the loops from the speaker.
    ``meant`` are the motions that grow at a tube which the file marks as an oscillator, ``grows``
    the others, ``swing`` what the worst of them comes to (None where it does not come to repeat
    itself), ``remedies`` what tames them. Then everything else is reported with the first remedy
    in, and of the controls only where they are loudest. ``least_damped`` is the motion nearest to
    growing below 20 kHz. ``held`` are the controls and switches that stay where they were asked
    for: "loudest" is then said of the other controls. ``bands`` are what tolerances, tubes and the
    line make of it, where they were asked for.
    """

    title: str
    input: str
    speaker: str
    load_ohms: float
    gain: float
    output_ohms: float
    output_resistance: float
    output_reactance: float
    responses: tuple[Response, ...]
    full: Power
    half: Power
    hum: Hum
    least_damped: Mode | None
    grows: tuple[Mode, ...]
    meant: tuple[Mode, ...]
    feedback: tuple[Loop, ...]
    swing: Swing | None
    remedies: tuple[StabilityRemedy, ...]
    notes: tuple[str, ...]
    levels: tuple[Level, ...]
    sweep: tuple[Power, ...]
    orbit: Orbit | None
    held: tuple[Position, ...] = ()
    bands: SignalBands | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Loudest:
    """A circuit with every control where it passes the most of 1 kHz (``stops``): ``gain`` there,
    the sine at the onset of clipping, hum, the least damped motion that swings, those that grow,
    and the operating point ``bias`` all this was read off.
    """

    gain: float
    full: Power
    hum: Hum
    least_damped: Mode | None
    grows: tuple[Mode, ...]
    stops: dict[str, float]
    bias: Bias


@dataclass(frozen=True, slots=True)
class Driven:
    """What sines of 1 kHz give: at the onset of clipping (``full``, with the ``orbit`` of the
    output tube's plate), at half its watts, and from small to past clipping (``sweep``).
    """

    full: Power
    half: Power
    orbit: Orbit | None
    sweep: tuple[Power, ...]


def signal(
    circuit: Circuit,
    *,
    held: Collection[str] = (),
    samples: int = 0,
    step: Callable[[int], None] | None = None,
) -> Signal:
    """Return what a circuit does with a signal.

    Raises CannotSolve without an input, a speaker or an operating point.

    ``held`` names the controls that stay where the circuit has them, as all do whose position it
    states, and the switches asked for; every other control is where it is loudest. Bands come from
    so many ``samples``, none of 0. ``step`` is called with 1 after each of ``STEPS`` pieces of the
    work.
    """
    done = step or (lambda _: None)
    path = path_of(circuit)
    stops, drawn = _loudest(circuit, path, held=held)
    done(1)
    loud = _at(circuit, stops, path, near=drawn)
    done(1)
    motions = motions_of(circuit, loud, path)
    bad, quiet = motions.grows, motions.quiet
    done(1)
    linear = linearised(quiet)
    controls = () if bad else _controls(circuit, path, stops, quiet)
    done(1)
    levels, at_tone = _levels(circuit, linear, path), tone(linear, path)
    stays = staying(circuit, held)
    driven = _driven(quiet, path, at_tone, levels=levels, grows=bad, held=stays)
    done(1)
    impedance, hum = output_impedance(linear, path), hum_of(quiet, linear, path, driven.full)
    return Signal(
        title=circuit.title,
        input=path.source,
        speaker=path.speaker,
        load_ohms=path.load,
        gain=at_tone,
        output_ohms=abs(impedance),
        output_resistance=impedance.real,
        output_reactance=impedance.imag,
        responses=(_all_controls(linear, path, stays), *controls),
        full=driven.full,
        half=driven.half,
        hum=hum,
        least_damped=_least_damped(motions.others),
        grows=bad,
        meant=motions.meant,
        feedback=motions.feedback,
        swing=motions.swing,
        remedies=motions.remedies,
        notes=(*loud.network.notes, *outside_seen(circuit, loud)),
        levels=levels,
        sweep=driven.sweep,
        orbit=driven.orbit,
        held=stays,
        bands=signal_bands(quiet, path, driven.full, hum.volts, samples=samples),
    )


def loudest(
    circuit: Circuit,
    *,
    stops: Mapping[str, float] | None = None,
    cold: Collection[str] | None = None,
) -> Loudest:
    """Return what ``signal`` says of the loudest position alone, a few times quicker.

    Raises CannotSolve as that does.

    ``stops`` are the loudest positions where they are known already, as from the same amplifier on
    another supply. ``cold`` names the tubes whose heaters are cold, for a circuit whose heaters
    are not drawn; where it is not given these are looked up.
    """
    path = path_of(circuit)
    drawn: Bias | None = None
    if stops is None:
        stops, drawn = _loudest(circuit, path, cold, find=bias_alone)
    loud = _at(circuit, stops, path, near=drawn, cold=cold, find=bias_alone)
    linear = linearised(loud)
    at_tone = tone(linear, path)
    if at_tone < FAINT:
        raise CannotSolve(*_silent(loud, _levels(circuit, linear, path), at_tone))
    natural = unmeant(circuit, loud.network, modes(linear))
    try:
        full = Driver(loud, path.source, path.back, path.ends, path.load).full(at_tone)
    except NotSettled as error:
        if bad := growing(natural):
            raise CannotSolve(oscillating(bad[0])) from error
        raise
    _heard(loud, full, _levels(circuit, linear, path), at_tone)
    hum = hum_of(loud, linear, path, full)
    return Loudest(at_tone, full, hum, _least_damped(natural), growing(natural), dict(stops), loud)


def _least_damped(natural: Sequence[Mode]) -> Mode | None:
    """Return the motion nearest to growing of those that are heard."""
    return next((mode for mode in natural if 0 < mode.hertz < AUDIBLE), None)


def _all_controls(linear: Linear, path: SignalPath, held: Sequence[Position]) -> Response:
    """Return the response of the position that all other figures are for."""
    position = "as stated, others loudest" if held else "loudest"
    return response("all", position, gain(linear, path))


def _controls(
    circuit: Circuit, path: SignalPath, stops: Mapping[str, float], rest: Bias
) -> list[Response]:
    """Return the response with every control at its stops and in its middle, the others loudest."""
    responses = []
    for part in circuit.parts:
        if part.kind == "pot":
            for turn, word in TURNS:
                moved = _at(circuit, {**stops, part.name: turn}, path, like=rest)
                linear = linearised(moved)
                grows = growing(unmeant(circuit, moved.network, modes(linear)))
                there = response(part.name, word, gain(linear, path))
                responses.append(replace(there, grows=grows[0] if grows else None))
    return responses


def _driven(
    rest: Bias,
    path: SignalPath,
    at_tone: float,
    *,
    levels: Sequence[Level],
    grows: Sequence[Mode],
    held: Sequence[Position],
) -> Driven:
    """Return what an amplifier does when it is driven up to clipping and past it.

    Raises CannotSolve where it is silent (``at_tone`` is its gain, ``levels`` say where the signal
    is lost), where the controls that are ``held`` are turned down too far for that, and where
    nothing tames the motions that grow.
    """
    low = (turned_down(held, at_tone),) if held and at_tone < 1 else ()
    if at_tone < FAINT:
        raise CannotSolve(*low, *_silent(rest, levels, at_tone))
    driver = Driver(rest, path.source, path.back, path.ends, path.load)
    try:
        full = driver.full(at_tone)
        if low and full.watts < HELD_WATTS:  # what clips is a stage before the output
            raise CannotSolve(*low)
        _heard(rest, full, levels, at_tone)
        return Driven(full, driver.half(full), driver.orbit(full), driver.sweep(full))
    except CannotSolve as error:
        why = (untamed(grows[0]),) if grows else _silent(rest, levels, at_tone)
        raise CannotSolve(*(why or low or error.problems)) from error


def _heard(rest: Bias, full: Power, levels: Sequence[Level], at_tone: float) -> None:
    """Raise CannotSolve where an amplifier gives next to nothing and a dead tube says why."""
    if full.watts < LEAST_WATTS and (why := _silent(rest, levels, at_tone)):
        raise CannotSolve(*why)


def _silent(rest: Bias, levels: Sequence[Level], at_tone: float) -> tuple[Problem, ...]:
    """Return what keeps an amplifier silent: tubes without current, where the signal is lost."""
    network, problems = rest.network, []
    if network.cold:
        problems.append(
            Problem(
                f"cold, without heater volts: {', '.join(sorted(network.cold))}",
                hint="look at what feeds the heaters",
            )
        )
    amps = network.device_entries(rest.point, laws=rest.laws)[0]
    dead = sorted(
        f"{device.name} {device.unit}".strip()
        for device, row in zip(network.ordered, network.starts, strict=True)
        if len(device.from_) > 1 and amps[row] < DEAD
    )
    if dead:
        names = " and ".join(filter(None, (", ".join(dead[:-1]), *dead[-1:])))
        problems.append(
            Problem(
                f"{names} {'draws' if len(dead) == 1 else 'draw'} no plate current",
                hint="look at what feeds plate and screen, and at what the cathode returns through",
            )
        )
    if at_tone < FAINT:
        most = max(levels, key=lambda level: level.gain, default=None)
        problems.append(
            Problem(
                f"hardly any signal reaches the speaker: {at_tone:.1g} V for each volt at the"
                " input, 1 kHz",
                hint=(
                    f"it is strongest at {most.part} pin {most.pin} ({most.element}, node"
                    f" {most.node}): look behind that"
                    if most
                    else ""
                ),
            )
        )
    return tuple(problems)


def _levels(circuit: Circuit, linear: Linear, path: SignalPath) -> tuple[Level, ...]:
    """Return the signal at every grid, cathode, screen and plate of the tubes that amplify."""
    rows, common = [], linear.network.reference
    into = linear.column(path.source, path.back) / GENERATOR
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        if tube is None or tube.is_rectifier:
            continue
        for pin, node in part.pins:
            element = tube.element(pin)
            if element.rpartition(".")[2] in ("grid", "cathode", "screen", "plate"):
                volts = linear.transfer(into, linear.column(node, common), (TONE,))[0]
                rows.append(Level(part.name, pin, element, node, float(abs(volts))))
    return tuple(rows)


def with_generator(network: Network, path: SignalPath) -> Network:
    """Return the network with a generator's ohms across its input."""
    a, b = network.node_of[path.source], network.node_of[path.back]
    if a == b:
        return network
    generator = Branch("generator", "r", a, b, GENERATOR)
    return replace(network, branches=(*network.branches, generator))


def _at(
    circuit: Circuit,
    turned: Mapping[str, float],
    path: SignalPath,
    *,
    like: Bias | None = None,
    near: Bias | None = None,
    cold: Collection[str] | None = None,
    find: FindBias = bias,
) -> Bias:
    """Return the operating point with controls turned and a generator at the input; ``like`` lends
    its averaged rectifiers, and from ``near`` the search begins. ``find`` is ``bias``, or
    ``bias_alone`` where nothing is asked of what moves the point.
    """
    if near is not None and not turned:
        return near
    network = with_generator(assemble(circuit, rotation=turned, cold=cold), path)
    if like is None:
        rest = _rested(network, near, find)
        return replace(rest, network=with_strays(network, circuit))
    point = operating_point(network, like.source, laws=like.laws, start=like.point)
    return replace(like, network=with_strays(network, circuit), point=point.x[0])


def _rested(network: Network, near: Bias | None, find: FindBias) -> Bias:
    """Return the operating point, looked for from ``near``; where the tubes keep the steady state
    from settling because they oscillate, that beneath it.
    """
    try:
        return find(network, _beside(network, near))
    except CannotSolve as error:
        held = bias_held(network)
        if not growing(modes(linearised(held))):
            raise error from None
        return held


def _beside(network: Network, near: Bias | None) -> Steady | None:
    """Return the steady state found from that of the same network otherwise turned, if both are."""
    if near is None or not near.is_whole or near.network.names != network.names:
        return None
    try:
        return mains_steady(network, instants=len(near.steady.x), start=near.steady.x)
    except CannotSolve:
        return None


def _loudest(
    circuit: Circuit,
    path: SignalPath,
    cold: Collection[str] | None = None,
    held: Collection[str] = (),
    find: FindBias = bias,
) -> tuple[dict[str, float], Bias]:
    """Return the stop of every control that is neither ``held`` nor stated which passes the
    more of 1 kHz, the others where the circuit has them, else in the middle; and the operating
    point with all there.
    """
    stops: dict[str, float] = {}
    rest = _at(circuit, {}, path, cold=cold, find=find)
    for part in circuit.parts:
        if part.kind == "pot" and part.name not in held and turned(part) is None:
            ccw, cw = (
                tone(linearised(_at(circuit, {part.name: turn}, path, like=rest, cold=cold)), path)
                for turn in (0.0, 1.0)
            )
            stops[part.name] = float(cw >= ccw)
    return stops, rest
