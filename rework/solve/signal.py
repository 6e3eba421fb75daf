"""What the amplifier does with a signal: gain, response with every control, watts at the onset of clipping, distortion, hum, stability."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log10, pi
from typing import Any

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.circuit.place import Problem
from rework.solve.assemble import assemble
from rework.solve.bias import Bias, bias
from rework.solve.linear import Linear, Mode, Remedy, growing, linearised, modes, remedies
from rework.solve.network import Branch, CannotSolve, Network
from rework.solve.newton import operating_point
from rework.solve.periodic import Steady, steady_state
from rework.tubes import library

#: The tone that power and distortion are told at, hertz, and instants of a period of it.
TONE, INSTANTS = 1000.0, 64
#: Ohms of the generator at the input.
GENERATOR = 1.0
#: Clipping begins where distortion comes to a tenth or gain has fallen by 1 dB (common practice, no source).
CLIPPING, COMPRESSED = 0.10, 10 ** (-1 / 20)
FREQUENCIES = tuple(10 ** (1 + 3.6 * k / 72) for k in range(73))


@dataclass(frozen=True, slots=True)
class Response:
    """Gain from input to speaker at FREQUENCIES with one control in one position and the others where they are loudest.

    ``low`` and ``high`` are the 3 dB points against 1 kHz in hertz, None beyond 10 Hz to 40 kHz.
    """

    control: str
    position: str
    gain: tuple[float, ...]
    at_tone: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Power:
    """A sine of 1 kHz at the speaker: RMS volts at the input and at the load, watts, total distortion as a share."""

    input_volts: float
    load_volts: float
    watts: float
    distortion: float


@dataclass(frozen=True, slots=True)
class Hum:
    """Hum at the speaker with the input shorted: RMS volts, the parts at the line's frequency and at twice that, and dB below clipping."""

    volts: float
    line_volts: float
    double_volts: float
    below_full_db: float | None


@dataclass(frozen=True, slots=True)
class Level:
    """RMS volts at a tube pin, against common, for each volt at the input: 1 kHz, controls where they are loudest."""

    part: str
    pin: str
    element: str
    node: str
    gain: float


@dataclass(frozen=True, slots=True)
class Signal:
    """Everything ``rework signal`` tells of one circuit."""

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
    remedies: tuple[Remedy, ...]
    notes: tuple[str, ...]
    levels: tuple[Level, ...] = ()


def signal(circuit: Circuit) -> Signal:
    """Return what a circuit does with a signal. Raises CannotSolve without an input, a speaker or an operating point."""
    source, back = _input(circuit)
    speaker = _speaker(circuit)
    ends = (speaker.node("1"), speaker.node("2"))
    stops = _loudest(circuit, source, back, ends)
    found = _at(circuit, stops, source, back)
    linear = linearised(found)
    gains = _gain(linear, source, back, ends)
    responses = [_response("all", "loudest", gains)]
    for part in circuit.parts:
        if part.kind == "pot":
            for turn, word in ((0.0, "ccw"), (0.5, "middle"), (1.0, "cw")):
                other = _at(circuit, stops | {part.name: turn}, source, back, like=found)
                responses.append(_response(part.name, word, _gain(linearised(other), source, back, ends)))
    load = speaker.value("resistance")
    gain = abs(_tone(linear, source, back, ends))
    driver = _Driver(found, source, back, ends, load)
    full = driver.full(gain)
    half = driver.half(full)
    natural = modes(linear)
    bad = growing(natural)
    swinging = [mode for mode in natural if mode.hertz > 0]
    notes = (*found.network.notes, "tube and wiring capacitances are not in it, so the top of the response reads high",
             "noise is left out: no figure for it is in the library")
    return Signal(circuit.title, source, speaker.name, load, gain, _output_ohms(linear, ends, load), tuple(responses), full,
                  half, _hum(found, ends, full), swinging[0] if swinging else None, bad, remedies(found, linear) if bad else (), notes,
                  _levels(circuit, linear, source, back))


@dataclass(frozen=True, slots=True)
class Loudest:
    """A circuit with every control where it passes the most of 1 kHz: ``gain`` there, and the sine at the onset of clipping."""

    gain: float
    full: Power


def loudest(circuit: Circuit) -> Loudest:
    """Return gain and watts alone, a few times quicker than ``signal``. Raises CannotSolve as that does."""
    source, back = _input(circuit)
    speaker = _speaker(circuit)
    ends = (speaker.node("1"), speaker.node("2"))
    found = _at(circuit, _loudest(circuit, source, back, ends), source, back)
    gain = abs(_tone(linearised(found), source, back, ends))
    return Loudest(gain, _Driver(found, source, back, ends, speaker.value("resistance")).full(gain))


def _levels(circuit: Circuit, linear: Linear, source: str, back: str) -> tuple[Level, ...]:
    """Return the signal at every grid, cathode, screen and plate of the tubes that amplify."""
    rows, common = [], linear.network.reference
    for part in circuit.parts:
        tube = library.find(part.type) if part.kind == "tube" else None
        for pin, node in part.pins if tube is not None and not tube.is_rectifier else ():
            element = tube.element(pin)
            if element.rpartition(".")[2] in ("grid", "cathode", "screen", "plate"):
                gain = complex(linear.transfer(linear.column(source, back) / GENERATOR, linear.column(node, common), (TONE,))[0])
                rows.append(Level(part.name, pin, element, node, abs(gain)))
    return tuple(rows)


def _input(circuit: Circuit) -> tuple[str, str]:
    for kind, hot, back in (("jack", "tip", "sleeve"), ("pickup", "signal", "shield"), ("microphone", "signal", "shield")):
        for part in circuit.parts:
            if part.kind == kind and part.node(hot) and part.node(back) and "speaker" not in part.words and "output" not in part.words:
                return part.node(hot), part.node(back)
    raise CannotSolve(Problem("the circuit has no input: no jack, pickup or microphone", hint="add the input jack, as in J1 jack input : tip=IN, sleeve=COMMON"))


def _speaker(circuit: Circuit) -> Part:
    found = [part for part in circuit.parts if part.kind in ("speaker", "dummy load")]
    if not found:
        raise CannotSolve(Problem("the circuit has no speaker and no dummy load, so there is nowhere to read the output", hint="add one, as in SP1 speaker 4 ohm : SP -- COMMON"))
    if found[0].value("resistance") is None:
        raise CannotSolve(Problem(f"{found[0].name} has no ohms in the file", found[0].place, hint="write its ohms, as in speaker 4 ohm"))
    return found[0]


def _at(circuit: Circuit, turned: dict[str, float], source: str, back: str, *, like: Bias | None = None) -> Bias:
    """Return the operating point with controls turned and a generator at the input; ``like`` lends its averaged rectifiers."""
    network = assemble(circuit, rotation=turned)
    a, b = network.node_of[source], network.node_of[back]
    if a != b:
        network = replace(network, branches=(*network.branches, Branch("generator", "r", a, b, GENERATOR)))
    if like is None:
        return bias(network)
    point = operating_point(network, like.source, laws=like.laws, start=like.point)
    return Bias(network, like.steady, like.laws, like.source, point.x[0])


def _loudest(circuit: Circuit, source: str, back: str, ends) -> dict[str, float]:
    """Return the stop of every control that passes the more of 1 kHz, the others in the middle."""
    stops: dict[str, float] = {}
    found = _at(circuit, {}, source, back)
    for part in circuit.parts:
        if part.kind == "pot":
            loud = [abs(_tone(linearised(_at(circuit, {part.name: turn}, source, back, like=found)), source, back, ends)) for turn in (0.0, 1.0)]
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
                share = (np.log10(size[inner]) - np.log10(limit)) / (np.log10(size[inner]) - np.log10(size[outer]))
                return float(10 ** (logs[inner] + share * (logs[outer] - logs[inner])))
        return None

    low = crossing((k, k - 1) for k in range(middle, 0, -1))
    high = crossing((k, k + 1) for k in range(middle - 1, len(size) - 1))
    return Response(control, position, tuple(float(f"{value:.6g}") for value in size), tone, low, high)


def _output_ohms(linear: Linear, ends, load: float) -> float:
    out = linear.column(*ends)
    both = abs(complex(linear.transfer(out, out, (TONE,))[0]))
    return 1 / max(1 / both - 1 / load, 1e-12)


def _driven(found: Bias, source: str, back: str, peak: float, start: Any) -> Steady:
    import numpy as np

    network: Network = found.network
    into = np.zeros(network.n)
    for node, sign in ((source, 1.0), (back, -1.0)):
        if network.node_of[node] >= 0:
            into[network.node_of[node]] += sign / GENERATOR
    wave = peak * np.sin(2 * pi * np.arange(INSTANTS) / INSTANTS)
    return steady_state(network, found.source[None] + wave[:, None] * into, 1 / TONE, start=start, laws=found.laws)


class _Driver:
    """A sine at the input, as large as is asked for; each steady state begins where the last one ended."""

    def __init__(self, found: Bias, source: str, back: str, ends, load: float) -> None:
        self.found, self.source, self.back, self.ends, self.load = found, source, back, ends, load
        self._x, self._peak = found.point, 0.0

    def at(self, peak: float) -> Power:
        """Return what comes out for a sine of ``peak`` volts."""
        import numpy as np

        network = self.found.network
        start = self.found.point if peak < self._peak / 3 else self._x
        steady = _driven(self.found, self.source, self.back, peak, start)
        self._x, self._peak = steady.x, peak
        wave = network.volts(steady.x, self.ends[0]) - network.volts(steady.x, self.ends[1])
        wave = wave - wave.mean()
        size = np.abs(np.fft.rfft(wave))[1:12]
        rms = float((wave**2).mean() ** 0.5)
        return Power(peak / 2**0.5, rms, rms * rms / self.load, float((size[1:] ** 2).sum() ** 0.5 / max(size[0], 1e-30)))

    def full(self, gain: float) -> Power:
        """Return the sine at the onset of clipping. Raises CannotSolve where none is found."""

        def clipped(one: Power) -> bool:
            return one.distortion >= CLIPPING or one.load_volts < COMPRESSED * gain * one.input_volts

        peak = 0.3 * 2**0.5 * self.load**0.5 / max(gain, 1e-9)
        low = high = None
        for _ in range(30):
            if clipped(self.at(peak)):
                high = peak
                peak /= 1.4
            else:
                low = peak
                peak *= 1.4
            if low and high:
                break
        if not (low and high):
            raise CannotSolve(Problem("no clipping was found at the speaker", hint="look whether the input reaches the output tube"))
        for _ in range(6):
            middle = (low * high) ** 0.5
            low, high = (low, middle) if clipped(self.at(middle)) else (middle, high)
        return self.at(low)

    def half(self, full: Power) -> Power:
        """Return the sine at half the watts of ``full``."""
        inner, outer = full.input_volts * 2**0.5 * 0.4, full.input_volts * 2**0.5
        for _ in range(6):
            middle = (inner * outer) ** 0.5
            found = self.at(middle)
            inner, outer = (inner, middle) if found.watts > full.watts / 2 else (middle, outer)
        return found


def _hum(found: Bias, ends, full: Power) -> Hum:
    import numpy as np

    network, steady = found.network, found.steady
    wave = network.volts(steady.x, ends[0]) - network.volts(steady.x, ends[1])
    size = np.abs(np.fft.rfft(wave - wave.mean())) / len(wave) * 2**0.5
    total = float((size**2).sum() ** 0.5)
    return Hum(total, float(size[1]) if len(size) > 1 else 0.0, float(size[2]) if len(size) > 2 else 0.0, 20 * log10(full.load_volts / total) if total > 1e-12 else None)
