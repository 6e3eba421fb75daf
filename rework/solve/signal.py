"""What the amplifier does with a signal: gain, response with every control, watts at the onset of
clipping, distortion, hum, stability.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import log10

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.circuit.place import Problem
from rework.solve.assemble import assemble
from rework.solve.bias import Bias, bias
from rework.solve.held import bias_held
from rework.solve.linear import Linear, linearised
from rework.solve.network import Branch, CannotSolve, Network
from rework.solve.newton import operating_point
from rework.solve.oscillation import Swing, swing
from rework.solve.periodic import mains_steady
from rework.solve.power import GENERATOR, TONE, Driver, Orbit, Power
from rework.solve.stability import AUDIBLE, Mode, Remedy, growing, modes, remedies
from rework.solve.strays import with_strays
from rework.tubes import library

#: Hertz of a response: 10 Hz to 100 kHz.
FREQUENCIES = tuple(10 ** (1 + 4 * k / 80) for k in range(81))
#: Below this gain from input to speaker an amplifier is silent; below so many amps a tube is dead
#: (the tool's own choice; no source).
FAINT, DEAD = 1e-2, 1e-5


@dataclass(frozen=True, slots=True)
class Response:
    """Gain from input to speaker at FREQUENCIES with one control in one position and the others
    where they are loudest.

    ``low`` and ``high`` are the 3 dB points against 1 kHz in hertz, None beyond 10 Hz to 100 kHz.
    ``grows`` is the motion that grows in that position, None where all die away.
    """

    control: str
    position: str
    gain: tuple[float, ...]
    at_tone: float
    low: float | None
    high: float | None
    grows: Mode | None = None


@dataclass(frozen=True, slots=True)
class Hum:
    """Hum at the speaker from the supply, input shorted: RMS volts, the parts at the line's
    frequency and at twice that, and dB below clipping.

    ``wave`` is one line period of it in volts. Leakage from heater to cathode is not in it, since
    no sheet prints it: ``leak_ohms`` are the volts at the speaker for each amp of it, at the line's
    frequency, into the cathode of ``leak_part``, the tube that minds it most (None where every
    cathode sits on common, or the line is direct current).
    """

    volts: float
    line_volts: float
    double_volts: float
    below_full_db: float | None
    leak_part: str | None
    leak_ohms: float | None
    wave: tuple[float, ...]


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
    """Everything ``rework signal`` tells of one circuit.

    ``sweep`` are sines from small to past clipping; ``orbit`` is what the plate of the output tube
    goes through at ``full``. ``grows`` are the motions that grow, ``swing`` what the worst of them
    comes to (None where it does not come to repeat itself), ``remedies`` what tames them. Then
    everything else is told with the first remedy in, and of the controls only where they are
    loudest. ``least_damped`` is the motion nearest to growing below 20 kHz.
    """

    title: str
    input: str
    speaker: str
    load_ohms: float
    gain: float
    output_ohms: float
    responses: tuple[Response, ...]
    full: Power
    half: Power
    hum: Hum
    least_damped: Mode | None
    grows: tuple[Mode, ...]
    swing: Swing | None
    remedies: tuple[Remedy, ...]
    notes: tuple[str, ...]
    levels: tuple[Level, ...]
    sweep: tuple[Power, ...]
    orbit: Orbit | None


def signal(circuit: Circuit, *, step: Callable[[int], None] | None = None) -> Signal:
    """Return what a circuit does with a signal.

    Raises CannotSolve without an input, a speaker or an operating point.

    ``step`` is called with 1 after each of ``STEPS`` pieces of the work.
    """
    done = step or (lambda _: None)
    source, back = input_ends(circuit)
    speaker = speaker_of(circuit)
    ends = (speaker.node("1"), speaker.node("2"))
    stops = _loudest(circuit, source, back, ends)
    done(1)
    found = _at(circuit, stops, source, back)
    done(1)
    natural = modes(linearised(found))
    bad = growing(natural)
    swinging = [mode for mode in natural if 0 < mode.hertz < AUDIBLE]
    swung = swing(found, bad[0].node, bad[0].pace) if bad else None
    tamed = remedies(found) if bad else ()
    quiet = replace(tamed[0][1], steady=mains_steady(tamed[0][1].network)) if tamed else found
    done(1)
    linear = linearised(quiet)
    responses = [_response("all", "loudest", _gain(linear, source, back, ends))]
    for part in circuit.parts if not bad else ():
        if part.kind == "pot":
            for turn, word in ((0.0, "ccw"), (0.5, "middle"), (1.0, "cw")):
                other = _at(circuit, stops | {part.name: turn}, source, back, like=found)
                there = linearised(other)
                grows = growing(modes(there))
                responses.append(
                    replace(
                        _response(part.name, word, _gain(there, source, back, ends)),
                        grows=grows[0] if grows else None,
                    )
                )
    done(1)
    load = speaker.value("resistance")
    gain = abs(_tone(linear, source, back, ends))
    levels = _levels(circuit, linear, source, back)
    if gain < FAINT:
        raise CannotSolve(*_silent(quiet, levels, gain))
    driver = Driver(quiet, source, back, ends, load)
    try:
        full = driver.full(gain)
        half, orbit, sweep = driver.half(full), driver.orbit(full), driver.sweep(full)
    except CannotSolve as error:
        why = (
            (
                Problem(
                    f"it oscillates, strongest at {bad[0].node}, and nothing tried tames it: it has"
                    " no watts",
                    hint=(
                        "look for feedback where there should be none, and at the decoupling of the"
                        " supply"
                    ),
                ),
            )
            if bad
            else _silent(quiet, levels, gain)
        )
        raise CannotSolve(*(why or error.problems)) from error
    done(1)
    return Signal(
        circuit.title,
        source,
        speaker.name,
        load,
        gain,
        _output_ohms(linear, ends, load),
        tuple(responses),
        full,
        half,
        _hum(quiet, linear, ends, full),
        swinging[0] if swinging else None,
        bad,
        swung,
        tuple(remedy for remedy, _ in tamed),
        found.network.notes,
        levels,
        sweep,
        orbit,
    )


def _silent(found: Bias, levels: tuple[Level, ...], gain: float) -> tuple[Problem, ...]:
    """Return what keeps an amplifier silent: tubes without current, and where the signal gets lost."""
    network, row, dead = found.network, 0, []
    amps = network.device_currents(found.point, laws=found.laws)[0]
    for device in network.ordered:
        if len(device.from_) > 1 and amps[row] < DEAD:
            dead.append(f"{device.name}{' ' + device.unit if device.unit else ''}")
        row += len(device.from_)
    dead.sort()
    names = " and ".join(filter(None, (", ".join(dead[:-1]), *dead[-1:])))
    problems = (
        [
            Problem(
                f"{names} {'draws' if len(dead) == 1 else 'draw'} no plate current",
                hint="look at what feeds plate and screen, and at what the cathode returns through",
            )
        ]
        if dead
        else []
    )
    if gain < FAINT:
        most = max(levels, key=lambda one: one.gain, default=None)
        problems.append(
            Problem(
                f"hardly any signal reaches the speaker: {gain:.1g} V for each volt at the input,"
                " 1 kHz",
                hint=(
                    f"it is strongest at {most.part} pin {most.pin} ({most.element}, node"
                    f" {most.node}): look behind that"
                    if most
                    else ""
                ),
            )
        )
    return tuple(problems)


#: How often ``signal`` calls its ``step``.
STEPS = 5


@dataclass(frozen=True, slots=True, eq=False)
class Loudest:
    """A circuit with every control where it passes the most of 1 kHz (``stops``): ``gain`` there,
    the sine at the onset of clipping, hum, the least damped motion that swings, those that grow,
    and the operating point all this was read off.
    """

    gain: float
    full: Power
    hum: Hum
    least_damped: Mode | None
    grows: tuple[Mode, ...]
    stops: dict[str, float]
    found: Bias


def loudest(circuit: Circuit, *, stops: Mapping[str, float] | None = None) -> Loudest:
    """Return what ``signal`` tells of the loudest position alone, a few times quicker.

    Raises CannotSolve as that does.

    ``stops`` are the loudest positions where they are known already, as from the same amplifier on
    another supply.
    """
    source, back = input_ends(circuit)
    speaker = speaker_of(circuit)
    ends = (speaker.node("1"), speaker.node("2"))
    turned = dict(stops) if stops is not None else _loudest(circuit, source, back, ends)
    found = _at(circuit, turned, source, back)
    linear = linearised(found)
    gain = abs(_tone(linear, source, back, ends))
    if gain < FAINT:
        raise CannotSolve(*_silent(found, _levels(circuit, linear, source, back), gain))
    full = Driver(found, source, back, ends, speaker.value("resistance")).full(gain)
    natural = modes(linear)
    return Loudest(
        gain,
        full,
        _hum(found, linear, ends, full),
        next((mode for mode in natural if 0 < mode.hertz < AUDIBLE), None),
        growing(natural),
        turned,
        found,
    )


def _levels(circuit: Circuit, linear: Linear, source: str, back: str) -> tuple[Level, ...]:
    """Return the signal at every grid, cathode, screen and plate of the tubes that amplify."""
    rows, common = [], linear.network.reference
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        for pin, node in part.pins if tube is not None and not tube.is_rectifier else ():
            element = tube.element(pin)
            if element.rpartition(".")[2] in ("grid", "cathode", "screen", "plate"):
                gain = complex(
                    linear.transfer(
                        linear.column(source, back) / GENERATOR,
                        linear.column(node, common),
                        (TONE,),
                    )[0]
                )
                rows.append(Level(part.name, pin, element, node, abs(gain)))
    return tuple(rows)


def input_ends(circuit: Circuit) -> tuple[str, str]:
    """Return the two nodes of the input: a jack's, else a pickup's or microphone's.

    Raises CannotSolve where there is none.
    """
    for kind, hot, back in (
        ("jack", "tip", "sleeve"),
        ("pickup", "signal", "shield"),
        ("microphone", "signal", "shield"),
    ):
        for part in circuit.parts:
            if (
                part.kind == kind
                and part.node(hot)
                and part.node(back)
                and "speaker" not in part.words
                and "output" not in part.words
            ):
                return part.node(hot), part.node(back)
    raise CannotSolve(
        Problem(
            "the circuit has no input: no jack, pickup or microphone",
            hint="add the input jack, as in J1 jack input : tip=IN, sleeve=COMMON",
        )
    )


def speaker_of(circuit: Circuit) -> Part:
    """Return the first speaker or dummy load.

    Raises CannotSolve where there is none or its ohms are not said.
    """
    found = [part for part in circuit.parts if part.kind in ("speaker", "dummy load")]
    if not found:
        raise CannotSolve(
            Problem(
                "the circuit has no speaker and no dummy load, so there is nowhere to read the"
                " output",
                hint="add one, as in SP1 speaker 4 ohm : SP -- COMMON",
            )
        )
    if found[0].value("resistance") is None:
        raise CannotSolve(
            Problem(
                f"{found[0].name} has no ohms in the file",
                found[0].place,
                hint="write its ohms, as in speaker 4 ohm",
            )
        )
    return found[0]


def _at(
    circuit: Circuit, turned: dict[str, float], source: str, back: str, *, like: Bias | None = None
) -> Bias:
    """Return the operating point with controls turned and a generator at the input; ``like`` lends
    its averaged rectifiers.
    """
    network = assemble(circuit, rotation=turned)
    a, b = network.node_of[source], network.node_of[back]
    if a != b:
        network = replace(
            network, branches=(*network.branches, Branch("generator", "r", a, b, GENERATOR))
        )
    if like is None:
        found = _rested(network)
        return replace(found, network=with_strays(network, circuit))
    point = operating_point(network, like.source, laws=like.laws, start=like.point)
    return Bias(with_strays(network, circuit), like.steady, like.laws, like.source, point.x[0])


def _rested(network: Network) -> Bias:
    """Return the operating point; where the tubes keep the steady state from settling because they
    oscillate, that beneath it.
    """
    try:
        return bias(network)
    except CannotSolve as error:
        found = bias_held(network)
        if not growing(modes(linearised(found))):
            raise error from None
        return found


def _loudest(circuit: Circuit, source: str, back: str, ends) -> dict[str, float]:
    """Return the stop of every control that passes the more of 1 kHz, the others in the middle."""
    stops: dict[str, float] = {}
    found = _at(circuit, {}, source, back)
    for part in circuit.parts:
        if part.kind == "pot":
            loud = [
                abs(
                    _tone(
                        linearised(_at(circuit, {part.name: turn}, source, back, like=found)),
                        source,
                        back,
                        ends,
                    )
                )
                for turn in (0.0, 1.0)
            ]
            stops[part.name] = float(loud[1] >= loud[0])
    return stops


def _gain(linear: Linear, source: str, back: str, ends, hertz=FREQUENCIES):
    into = linear.column(source, back) / GENERATOR
    return linear.transfer(into, linear.column(*ends), hertz)


def _tone(linear: Linear, source: str, back: str, ends) -> complex:
    return complex(_gain(linear, source, back, ends, (TONE,))[0])


def _response(control: str, position: str, gains) -> Response:
    import numpy as np

    size = np.abs(gains)
    logs = np.log10(FREQUENCIES)
    tone = float(10 ** np.interp(log10(TONE), logs, np.log10(np.maximum(size, 1e-30))))
    limit = tone / 2**0.5
    middle = int(np.searchsorted(FREQUENCIES, TONE))

    def crossing(order) -> float | None:
        for inner, outer in order:
            if size[inner] >= limit > size[outer]:
                share = (np.log10(size[inner]) - np.log10(limit)) / (
                    np.log10(size[inner]) - np.log10(size[outer])
                )
                return float(10 ** (logs[inner] + share * (logs[outer] - logs[inner])))
        return None

    low = crossing((k, k - 1) for k in range(middle, 0, -1))
    high = crossing((k, k + 1) for k in range(middle - 1, len(size) - 1))
    return Response(
        control, position, tuple(float(f"{value:.6g}") for value in size), tone, low, high
    )


def _output_ohms(linear: Linear, ends, load: float) -> float:
    out = linear.column(*ends)
    both = abs(complex(linear.transfer(out, out, (TONE,))[0]))
    return 1 / max(1 / both - 1 / load, 1e-12)


def _hum(found: Bias, linear: Linear, ends, full: Power) -> Hum:
    import numpy as np

    network, steady = found.network, found.steady
    wave = network.volts(steady.x, ends[0]) - network.volts(steady.x, ends[1])
    wave = wave - wave.mean()
    size = np.abs(np.fft.rfft(wave)) / len(wave) * 2**0.5
    total = float((size**2).sum() ** 0.5)
    leak = _leak(network, linear, ends) if network.hertz else None
    return Hum(
        total,
        float(size[1]) if len(size) > 1 else 0.0,
        float(size[2]) if len(size) > 2 else 0.0,
        20 * log10(full.load_volts / total) if total > 1e-12 else None,
        *(leak or (None, None)),
        tuple(float(f"{volt:.4g}") for volt in wave[::4]),
    )


def _leak(network, linear: Linear, ends) -> tuple[str, float] | None:
    """Return the tube whose cathode brings most of a leakage current from its heater to the
    speaker, and the ohms.
    """
    import numpy as np

    found = []
    for device in network.ordered:
        if len(device.from_) > 1 and device.to >= 0:
            into = np.zeros(len(linear.g))
            into[device.to] = 1.0
            found.append(
                (
                    abs(complex(linear.transfer(into, linear.column(*ends), (network.hertz,))[0])),
                    device.name,
                )
            )
    return max(found)[::-1] if found else None
