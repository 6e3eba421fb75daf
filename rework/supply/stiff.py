"""The amplifier of a job on a stiff B+ of every size at once, for what its supply has to give."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import log, pi

import numpy as np
from numpy.typing import NDArray

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.circuit.place import Problem
from rework.solve.assemble import assemble
from rework.solve.bias import Rest
from rework.solve.cold import HIGH_LINE
from rework.solve.linear import Linear, linearised
from rework.solve.network import Branch, CannotSolve, Device, Network
from rework.solve.newton import operating_point
from rework.solve.periodic import mains_steady, steady_state
from rework.solve.places import input_ends, speaker_of
from rework.solve.power import GENERATOR, INSTANTS, TONE, Driver
from rework.supply.amplifier import STIFF, Amplifier
from rework.supply.bench import RatingLimit, capacitor_load, capacitors, in_order, loads, reaches
from rework.supply.stage import presented_ohms
from rework.tubes import library
from rework.tubes.tubetype import TubeType

Floats = NDArray[np.float64]
#: B+ volts at which the amplifier is solved.
VOLTS = tuple(float(volts) for volts in range(10, 521, 5))
#: Shares of B+ under this are as good as none.
LEAST_SHARE = 0.01
#: An amplifier that settles up to these volts only has something wrong with it.
LEAST = 60.0


@dataclass(frozen=True, slots=True)
class Aim:
    """A printed row as the amplifier meets it: tube, its row, the B+ that gives the row's plate
    volts, and how far current and load are off.

    ``plate_amps`` is what the amplifier draws there; ``miss`` is the sum of the logarithms of both
    ratios. ``doubled``: a pair is held to a row of one tube, so ``row_load`` is twice the row's.
    """

    part: str
    type: str
    bplus: float
    plate_volts: float
    plate_amps: float
    row_amps: float
    load_ohms: float | None
    row_load: float | None
    grade: str
    miss: float
    doubled: bool = False


@dataclass(frozen=True)
class Drive:
    """The amplifier at its aim with the controls loudest: watts and volts at the onset of clipping,
    B+ amps there, volts at the speaker per volt of ripple at the line's frequency and twice that.

    ``note`` says why there are none.
    """

    stops: Mapping[str, float]
    watts: float
    volts: float
    full_amps: float
    hum_of_ripple: tuple[float, float]
    note: str = ""


@dataclass(frozen=True)
class _Output:
    """A unit that drives an output transformer: its type, volts to its cathode and amps over the
    B+ volts, and the load it sees (0: not known).
    """

    device: Device
    tube: TubeType
    volts: Floats
    amps: Floats
    load: float

    @property
    def key(self) -> tuple[str, str]:
        """The tube and the unit in it."""
        return self.device.name, self.device.unit


class StiffAmplifier:
    """The amplifier on a stiff B+ of every size at once.

    Raises CannotSolve where it settles at no B+ worth the name.
    """

    def __init__(self, amp: Amplifier) -> None:
        self.amp, self.circuit = amp, amp.stand_in
        self.network = assemble(self.circuit, cold=())
        self.into = self._into(self.network)
        point = operating_point(self.network, np.array(VOLTS)[:, None] / STIFF * self.into)
        settled = len(VOLTS) if point.converged.all() else int(np.argmin(point.converged))
        if VOLTS[max(settled - 1, 0)] < LEAST:
            raise CannotSolve(
                Problem(
                    f"the amplifier has no operating point on a B+ of {VOLTS[settled]:.0f} V",
                    hint="look at the values of its parts",
                )
            )
        self.volts: Floats = np.array(VOLTS[:settled])
        self.x: Floats = point.x[:settled]
        self.amps: Floats = (self.volts - self.across(self.network, self.x)) / STIFF

    def _into(self, network: Network) -> Floats:
        """Return where a current into B+ enters a network, (n,)."""
        into = np.zeros(network.n)
        for port, sign in (("bplus", 1.0), ("common", -1.0)):
            at = network.node_of[self.amp.node(port)]
            if at >= 0:
                into[at] += sign
        return into

    def across(self, network: Network, x: Floats) -> Floats:
        """Return the volts from B+ to the supply's common at unknowns ``x`` (..., n)."""
        bplus, common = self.amp.node("bplus"), self.amp.node("common")
        return np.asarray(network.volts(x, bplus) - network.volts(x, common))

    def load(self) -> tuple[tuple[float, float], ...]:
        """Return pairs of B+ volts and the amps drawn there."""
        return tuple(zip(self.volts.tolist(), self.amps.tolist(), strict=True))

    def amps_at(self, bplus: float) -> float:
        """Return the amps drawn at some B+."""
        return float(np.interp(bplus, self.volts, self.amps))

    def limits(self, bplus: float | None = None) -> tuple[RatingLimit, ...]:
        """Return what reaches its rating as B+ rises on the nominal line, the first in front, each
        at some B+ (None: the highest solved).

        Capacitors are taken warm and on a line a tenth high; what they stand cold is
        ``open_limit``.
        """
        swept = loads(self.network, self.circuit, self.x)
        for part, start, end in capacitors(self.circuit):
            volts = HIGH_LINE * self._across_part(self.network, self.x, start, end)
            swept.append(capacitor_load(part, "high_line_volts", volts))
        at = self.volts[-1] if bplus is None else bplus
        limits = (
            RatingLimit(
                replace(stress, amount=float(np.interp(at, self.volts, values))),
                reaches(self.volts, values, stress.rating),
            )
            for stress, values in swept
            if stress.rating is not None and self.amp.own(stress.part)
        )
        return in_order(limit for limit in limits if limit.volts is not None)

    def _across_part(self, network: Network, x: Floats, start: str, end: str) -> Floats:
        return np.asarray(np.abs(network.volts(x, start) - network.volts(x, end)))

    def open_limit(self) -> float:
        """Return the most B+ that every capacitor of the amplifier stands, tubes cold."""
        limits = ((part.value("voltage") or 0.0) / share for part, share in self.cold_shares())
        return min(limits, default=1e9)

    def cold_shares(self) -> Iterator[tuple[Part, float]]:
        """Yield every capacitor of the amplifier that states its volts, with its share of B+ while
        the tubes are cold; without those that have next to nothing.
        """
        network = assemble(self.circuit, emission=False, cold=())
        x = operating_point(network, self._into(network) / STIFF).x[0]
        for part, start, end in capacitors(self.circuit):
            share = float(self._across_part(network, x, start, end))
            if self.amp.own(part.name) and part.value("voltage") and share > LEAST_SHARE:
                yield part, share

    # printed rows

    def aims(self) -> tuple[Aim, ...]:
        """Return the printed rows of the output tubes as the amplifier meets them, the nearest
        first.
        """
        outputs = list(self._outputs())
        count = self._beside(outputs)
        aims = [aim for output in outputs for aim in self._aims_of(output, count[output.key])]
        return tuple(sorted(aims, key=lambda aim: (aim.miss, aim.bplus, aim.row_load or 0.0)))

    def _outputs(self) -> Iterator[_Output]:
        amps, _ = self.network.device_currents(self.x)
        volts, row = self.x @ self.network.reads.T, 0
        for device in self.network.ordered:
            at, row = slice(row, row + device.law.controls), row + device.law.controls
            load = self._load(device)
            tube = library.find(self.circuit.by_name[device.name].type)
            if device.law.controls > 1 and load is not None and tube is not None:
                yield _Output(device, tube, volts[:, at], amps[:, at], load)

    def _beside(self, outputs: list[_Output]) -> dict[tuple[str, str], int]:
        """Return for each unit how many units drive its output transformer, itself included."""
        on = {output.key: self._transformer(output.device) for output in outputs}
        return {key: sum(other == part for other in on.values()) for key, part in on.items()}

    def _aims_of(self, output: _Output, count: int) -> Iterator[Aim]:
        """Yield the aims of one unit of ``count`` that drive its transformer.

        A pair without a printed row of a pair is held to those of one tube, each half of the
        primary working for its tube as in class A (common practice, no source).
        """
        rows = [
            row
            for row in output.tube.typical
            if row.unit in ("", output.device.unit) and "plate_volts" in row and "plate_amps" in row
        ]
        of_pairs = [row for row in rows if "push-pull" in row.use and "triode" not in row.use]
        doubled = count > 1 and not of_pairs
        for row in of_pairs if count > 1 and of_pairs else rows:
            pair = 2 if "push-pull" in row.use else 1
            if pair > count:
                continue
            wanted = row["plate_volts"].value
            reached: Floats = np.maximum.accumulate(output.volts[:, 0])
            if not reached[0] < wanted < reached[-1]:
                continue
            bplus = float(np.interp(wanted, reached, self.volts))
            drawn = float(np.interp(bplus, self.volts, output.amps[:, 0]))
            printed = row["plate_amps"].value / (1 if "per tube" in row.use else pair)
            row_load = row["load_ohms"].value if "load_ohms" in row else None
            if row_load and doubled:
                row_load *= 2
            miss = abs(log(max(drawn, 1e-6) / printed))
            if row_load and output.load:
                miss += abs(log(output.load / row_load))
            yield Aim(
                output.device.name,
                output.tube.type,
                bplus,
                wanted,
                drawn,
                printed,
                output.load or None,
                row_load,
                row["plate_amps"].grade,
                miss,
                doubled,
            )

    def _transformer(self, device: Device) -> str | None:
        """Return the output transformer on whose primary the plate of a unit is."""
        for part in self.circuit.parts:
            if part.kind == "output transformer" and device.from_[0] in {
                self.network.node_of[node]
                for terminal, node in part.pins
                if terminal.startswith("primary")
            }:
                return part.name
        return None

    def _load(self, device: Device) -> float | None:
        """Return the load that the output transformer gives a unit, 0 where that is not
        known, None where no transformer is on its plate.
        """
        name = self._transformer(device)
        if name is None:
            return None
        return presented_ohms(self.circuit, self.circuit.by_name[name]) or 0.0

    # driven

    def driven(self, bplus: float) -> Drive:
        """Return the amplifier driven to the onset of clipping on a stiff B+, controls where they
        are loudest.
        """
        try:
            source, back = input_ends(self.circuit)
            speaker = speaker_of(self.circuit)
        except CannotSolve as error:
            note = f"{error}: taken as at idle"
            return Drive({}, 0.0, 0.0, self.amps_at(bplus), (0.0, 0.0), note)
        trial = _DrivenAmplifier(self, bplus, (source, back), (speaker.at("1"), speaker.at("2")))
        stops = trial.loudest_stops()
        bias = trial.bias(stops)
        linear, network = linearised(bias), bias.network
        ohms = speaker.value("resistance")
        if ohms is None:
            note = f"{speaker.name} has no ohms in the file: taken as at idle"
            return Drive({}, 0.0, 0.0, self.amps_at(bplus), (0.0, 0.0), note)
        driver = Driver(bias, source, back, trial.speaker, ohms)
        full = driver.full(trial.gain(bias))
        into = (linear.column(source, back) * 2**0.5 * full.input_volts / GENERATOR)[None]
        wave = np.sin(2 * pi * np.arange(INSTANTS) / INSTANTS)[:, None] * into
        steady = steady_state(
            network, bias.source[None] + wave, 1 / TONE, start=bias.point, laws=bias.laws
        )
        amps = (bplus - float(self.across(network, steady.x).mean())) / STIFF
        mains = self.circuit.mains
        hertz = mains.hertz if mains else 60.0
        ripple = np.abs(
            linear.transfer(
                self._into(network) / STIFF, linear.column(*trial.speaker), (hertz, 2 * hertz)
            )
        )
        hum = (float(ripple[0]), float(ripple[1]))
        return Drive(stops, full.watts, full.load_volts, amps, hum)


@dataclass(frozen=True)
class _DrivenAmplifier:
    """The amplifier with a signal at its input: where that is, and where the speaker is."""

    stage: StiffAmplifier
    bplus: float
    source: tuple[str, str]
    speaker: tuple[str, str]

    def loudest_stops(self) -> dict[str, float]:
        """Return the end of each control at which the amplifier is louder."""
        return {
            part.name: max((0.0, 1.0), key=lambda turn: self.gain(self.bias({part.name: turn})))
            for part in self.stage.circuit.parts
            if part.kind == "pot" and self.stage.amp.own(part.name)
        }

    def bias(self, stops: Mapping[str, float]) -> Rest:
        """Return the operating point with the controls at ``stops``."""
        stage = self.stage
        network = with_generator(assemble(stage.circuit, rotation=stops, cold=()), *self.source)
        rhs = self.bplus / STIFF * stage._into(network)
        laws = tuple(device.law for device in network.ordered)
        start = stage.x[int(abs(stage.volts - self.bplus).argmin())]
        point = operating_point(network, rhs, laws=laws, start=start)
        return Rest(network=network, laws=laws, source=rhs, point=point.x[0])

    def gain(self, bias: Rest) -> float:
        """Return the gain from the input to the speaker at the test tone."""
        linear: Linear = linearised(bias)
        into = linear.column(*self.source) / GENERATOR
        return abs(complex(linear.transfer(into, linear.column(*self.speaker), (TONE,))[0]))


def with_generator(network: Network, source: str, back: str) -> Network:
    """Return a network with the ohm of a silent generator at its input, as ``rework signal`` has
    it.
    """
    a, b = network.node_of[source], network.node_of[back]
    if a == b:
        return network
    generator = Branch("generator", "r", a, b, GENERATOR)
    return replace(network, branches=(*network.branches, generator))


def hum_at(
    circuit: Circuit, stops: Mapping[str, float], start: Floats | None = None
) -> tuple[float, Floats]:
    """Return the RMS hum at the speaker of a whole circuit, input shorted, controls at ``stops``,
    and the unknowns of its steady state.
    """
    source, back = input_ends(circuit)
    speaker = speaker_of(circuit)
    network = with_generator(assemble(circuit, rotation=stops), source, back)
    steady = mains_steady(network, start=start)
    wave = network.volts(steady.x, speaker.at("1")) - network.volts(steady.x, speaker.at("2"))
    return float((wave - wave.mean()).std()), steady.x
