"""What the amplifier needs of its supply, worked out from the amplifier as the job leaves it; the
user may fix any of it.

B+ aims at the printed row of typical operation that the output stage, as it stands after the job,
comes nearest to: at the B+ where its plate has the volts of the row, the plate current and the load
of the output transformer are compared with the row's. Only rows whose B+ keeps every part of the
amplifier within its rating count, and it never aims nearer than 3 % to the B+ at which the first
part reaches its rating; where there is no such row, a twentieth under it. What the user fixes goes
before all that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import log, pi
from typing import Any

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.place import Problem
from rework.safety.heaters import Heaters
from rework.safety.survey import Survey
from rework.solve.assemble import assemble
from rework.solve.bias import Bias
from rework.solve.chart import HIGH_LINE
from rework.solve.linear import Linear, linearised
from rework.solve.network import Branch, CannotSolve, Network
from rework.solve.newton import operating_point
from rework.solve.periodic import mains_steady, steady_state
from rework.solve.power import GENERATOR, INSTANTS, TONE, Driver
from rework.solve.signal import input_ends, speaker_of
from rework.supply.amplifier import STIFF, Amplifier
from rework.supply.bench import Limit, in_order, loads, reaches
from rework.supply.stage import presented_ohms
from rework.tubes import library

#: What may be fixed, with the dimension of each.
FIXABLE = {
    "bplus": "voltage",
    "idle": "current",
    "full": "current",
    "heater": "voltage",
    "heater-current": "current",
    "hum": "voltage",
    "line": "voltage",
}
#: B+ may miss its aim by this share at the nominal line: what the printed volts of small sets
#: allow, and a line of 10 % (common practice, no source).
WINDOW = 0.10
#: Hum at the speaker below full power that is aimed at, as a ratio: 60 dB (the tool's own choice;
#: no source).
HUM_SHARE = 1e-3
#: Hum that is wanted where nobody can say how much there is, volts.
ANY_HUM = 1e6
#: Share of the ceiling that is aimed at where no printed row can be had, and the most that is aimed
#: at where one can.
UNDER, NEAR = 0.95, 0.97
#: B+ volts at which the amplifier is solved.
VOLTS = tuple(float(volts) for volts in range(10, 521, 5))
#: What a capacitor is judged by here.
WARM_CAPACITOR = "volts, line 10 % high"
#: An amplifier that settles up to these volts only has something wrong with it.
LEAST = 60.0


@dataclass(frozen=True, slots=True)
class Aim:
    """A printed row as the amplifier meets it: tube, its row, the B+ that gives the row's plate
    volts, and how far current and load are off.

    ``plate_amps`` is what the amplifier draws there; ``miss`` is the sum of the logarithms of both
    ratios.
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


@dataclass(frozen=True)
class Needs:
    """What a supply must bring, SI units, and why.

    ``bplus`` with the band ``low`` to ``high`` is meant at the umbilical, nominal line, idle;
    ``ceiling`` is the B+ at which the first old part reaches its rating (``limits`` names more).
    ``extra_amps`` is what the user fixed beyond what the amplifier draws. ``hum`` is wanted at the
    speaker, ``hum_of_ripple`` gives volts there per volt of ripple at the line's frequency and at
    twice that. ``open_limit`` is the most B+ with cold tubes that the amplifier's capacitors stand.
    ``load`` pairs B+ with the amps drawn. ``fixed`` names what the user fixed.
    """

    mains: Mains
    bplus: float
    low: float
    high: float
    idle_amps: float
    full_amps: float
    heater_volts: float
    heater_amps: float
    hum: float
    hum_of_ripple: tuple[float, float]
    ceiling: float
    open_limit: float
    limits: tuple[Limit, ...]
    aims: tuple[Aim, ...]
    load: tuple[tuple[float, float], ...]
    full_watts: float
    full_volts: float
    stops: tuple[tuple[str, float], ...]
    why: tuple[tuple[str, str], ...]
    fixed: tuple[str, ...]
    extra_amps: float = 0.0

    def amps_at(self, volts):
        """Return the amps the amplifier draws at some B+, scalar or array."""
        import numpy as np

        at, drawn = zip(*self.load, strict=True)
        return np.interp(volts, at, drawn) + self.extra_amps


def needs(amp: Amplifier, wants: Mapping[str, float] | None = None) -> Needs:
    """Return what the amplifier needs.

    ``wants`` fixes some of ``FIXABLE`` by name, in SI. Raises CannotSolve where it has no numbers.
    """
    wants = dict(wants or {})
    circuit = amp.stand_in
    stage = _Stage(amp)
    limits = stage.limits()
    most = float(stage.volts[-1])
    ceiling = limits[0].volts if limits else most
    aims = stage.aims()
    reachable = [aim for aim in aims if aim.bplus <= ceiling]
    why: list[tuple[str, str]] = []
    if "bplus" in wants:
        bplus = wants["bplus"]
        why.append(
            (
                "bplus",
                "fixed by the user"
                + (
                    f"; over the {ceiling:.0f} V at which {limit_words(limits[0])}"
                    if limits and bplus > ceiling
                    else ""
                ),
            )
        )
    elif reachable:
        bplus = min(reachable[0].bplus, NEAR * ceiling)
        why.append(
            (
                "bplus",
                _row_words(reachable[0])
                + (
                    ""
                    if bplus == reachable[0].bplus
                    else f"; kept 3 % under the {ceiling:.0f} V at which {limit_words(limits[0])}"
                ),
            )
        )
    else:
        bplus = UNDER * ceiling
        why.append(
            (
                "bplus",
                (
                    "no printed row of the output tube can be had"
                    if aims
                    else "the output tube has no printed row"
                )
                + f"; a twentieth under the {ceiling:.0f} V at which"
                f" {limit_words(limits[0]) if limits else 'nothing in the set is known to be over its rating'}",
            )
        )
    if not VOLTS[0] <= bplus <= most:
        raise CannotSolve(
            Problem(
                f"B+ of {bplus:.3g} V is beyond what can be designed here",
                expected=f"{VOLTS[0]:.0f} to {most:.0f} V",
            )
        )
    high = (
        bplus * (1 + WINDOW) if "bplus" in wants else min(bplus * (1 + WINDOW), max(ceiling, bplus))
    )
    why.append(
        (
            "ceiling",
            (
                limit_words(limits[0])
                if limits
                else "no part of the set has a rating that B+ could pass"
            ),
        )
    )
    drive = stage.driven(bplus)
    idle, full = stage.amps_at(bplus), drive.full_amps
    why += [
        ("idle", "fixed by the user" if "idle" in wants else "the solved amplifier at that B+"),
        (
            "full",
            (
                "fixed by the user"
                if "full" in wants
                else (
                    f"the same at the onset of clipping, {drive.watts:.2g} W"
                    if drive.watts
                    else drive.note
                )
            ),
        ),
    ]
    extra = wants.get("idle", idle) - idle
    full = max(wants.get("full", full + extra), 0.0)
    volts, amps, told = _heaters(circuit, amp, wants)
    why.append(("heaters", told))
    hum, told = _hum(amp, drive, wants)
    why.append(("hum", told))
    mains = Mains(wants.get("line", amp.mains.volts), amp.mains.hertz)
    why.append(
        (
            "line",
            (
                f"fixed by the user; every other command reads it from {amp.job.circuit_file}, so"
                " write it there too"
                if "line" in wants
                else f"mains line of {amp.job.circuit_file}"
            ),
        )
    )
    return Needs(
        mains,
        bplus,
        bplus * (1 - WINDOW),
        high,
        idle + extra,
        full,
        volts,
        amps,
        hum,
        drive.hum_of_ripple,
        ceiling,
        stage.open_limit(),
        stage.limits(bplus),
        aims,
        stage.load(),
        drive.watts,
        drive.volts,
        tuple(sorted(drive.stops.items())),
        tuple(why),
        tuple(sorted(wants)),
        extra,
    )


def limit_words(limit: Limit) -> str:
    """Return which rating a part reaches, in words."""
    element, _, what = limit.what.rpartition(" ")
    rated = (
        f"its {1e3 * limit.rating:g} mA"
        if limit.unit == "A"
        else f"its {limit.rating:g} {limit.unit}"
    )
    if limit.what == WARM_CAPACITOR:
        return f"{limit.part}, on a line a tenth high, stands at {rated}"
    return (
        f"{f'the {element} of ' if element else ''}{limit.part}"
        f" {'stands at' if what == 'volts' else 'takes'} {rated}"
    )


def _row_words(aim: Aim) -> str:
    load = (
        f", load {aim.row_load:.0f} ohm where the transformer gives {aim.load_ohms:.0f}"
        if aim.row_load and aim.load_ohms
        else ""
    )
    grade = {"seen": "verified", "memory": "from memory"}.get(aim.grade, aim.grade)
    return (
        f"puts {aim.part} ({aim.type}) at the {aim.plate_volts:.0f} V on its plate of a printed row"
        f" ({grade}): {1e3 * aim.plate_amps:.0f} mA where the row has"
        f" {1e3 * aim.row_amps:.0f}{load}"
    )


@dataclass(frozen=True)
class _Drive:
    """The amplifier at its aim with the controls loudest: watts and volts at the onset of clipping,
    B+ amps there, hum of ripple.
    """

    stops: dict[str, float]
    watts: float
    volts: float
    full_amps: float
    hum_of_ripple: tuple[float, float]
    note: str = ""


class _Stage:
    """The amplifier on a stiff B+ of every size at once."""

    def __init__(self, amp: Amplifier) -> None:
        import numpy as np

        self.amp, self.circuit = amp, amp.stand_in
        self.network = assemble(self.circuit)
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
        self.volts, self.x = np.array(VOLTS[:settled]), point.x[:settled]
        self.amps = (self.volts - self.across(self.network, self.x)) / STIFF

    def _into(self, network: Network):
        import numpy as np

        into = np.zeros(network.n)
        for port, sign in (("bplus", 1.0), ("common", -1.0)):
            at = network.node_of[self.amp.node(port)]
            if at >= 0:
                into[at] += sign
        return into

    def across(self, network: Network, x):
        """Return the volts from B+ to the supply's common."""
        return network.volts(x, self.amp.node("bplus")) - network.volts(x, self.amp.node("common"))

    def load(self) -> tuple[tuple[float, float], ...]:
        return tuple(
            zip(
                (float(volts) for volts in self.volts),
                (float(amps) for amps in self.amps),
                strict=True,
            )
        )

    def amps_at(self, bplus: float) -> float:
        import numpy as np

        return float(np.interp(bplus, self.volts, self.amps))

    def units(self):
        """Yield every tube unit that amplifies: device, type, volts to its cathode and amps (volts,
        controls).
        """
        out, _ = self.network.device_currents(self.x)
        across, row = self.x @ self.network.reads.T, 0
        for device in self.network.ordered:
            at, row = slice(row, row + device.law.controls), row + device.law.controls
            if device.law.controls > 1:
                yield (
                    device,
                    library.find(self.circuit.by_name[device.name].type),
                    across[:, at],
                    out[:, at],
                )

    def limits(self, bplus: float | None = None) -> tuple[Limit, ...]:
        """Return what reaches its rating as B+ rises on the nominal line, the first in front, each
        at some B+ (None: the highest solved).

        Capacitors are taken warm and on a line a tenth high; what they stand cold is
        ``open_limit``.
        """
        import numpy as np

        rows = [row for row in loads(self.network, self.circuit, self.x)[0] if self.amp.own(row[0])]
        for part in self.circuit.parts:
            if (
                part.kind in ("capacitor", "electrolytic")
                and self.amp.own(part.name)
                and (most := part.value("voltage"))
            ):
                held = abs(
                    self.network.volts(self.x, part.pins[0][1])
                    - self.network.volts(self.x, part.pins[-1][1])
                )
                rows.append((part.name, WARM_CAPACITOR, HIGH_LINE * held, most, "V"))
        at = self.volts[-1] if bplus is None else bplus
        found = (
            Limit(
                part,
                what,
                float(np.interp(at, self.volts, values)),
                most,
                unit,
                reaches(self.volts, values, most),
            )
            for part, what, values, most, unit in rows
        )
        return in_order(limit for limit in found if limit.volts is not None)

    def open_limit(self) -> float:
        """Return the most B+ that every capacitor of the amplifier stands while the tubes are cold."""
        network = assemble(self.circuit, emission=False)
        x = operating_point(network, self._into(network) / STIFF).x[0]
        found = [1e9]
        for part in self.circuit.parts:
            if part.kind in ("capacitor", "electrolytic") and self.amp.own(part.name):
                share = abs(
                    float(network.volts(x, part.pins[0][1]) - network.volts(x, part.pins[-1][1]))
                )
                if share > 0.01 and part.value("voltage"):
                    found.append(part.value("voltage") / share)
        return min(found)

    def aims(self) -> tuple[Aim, ...]:
        """Return the printed rows of the output tubes as the amplifier meets them, the nearest
        first.
        """
        import numpy as np

        outputs = [
            (device, tube, volts, amps, load)
            for device, tube, volts, amps in self.units()
            if (load := self._load(device)) is not None
        ]
        found = []
        for device, tube, volts, amps, load in outputs:
            for row in tube.typical:
                if (
                    row.unit not in ("", device.unit)
                    or "plate_volts" not in row
                    or "plate_amps" not in row
                    or len(outputs) != (2 if "push-pull" in row.use else 1)
                ):
                    continue
                wanted, own = row["plate_volts"].value, np.maximum.accumulate(volts[:, 0])
                if not own[0] < wanted < own[-1]:
                    continue
                bplus = float(np.interp(wanted, own, self.volts))
                drawn = float(np.interp(bplus, self.volts, amps[:, 0]))
                printed = row["plate_amps"].value / len(outputs)
                row_load = row["load_ohms"].value if "load_ohms" in row else None
                miss = abs(log(max(drawn, 1e-6) / printed)) + (
                    abs(log(load / row_load)) if row_load and load else 0.0
                )
                found.append(
                    Aim(
                        device.name,
                        tube.type,
                        bplus,
                        wanted,
                        drawn,
                        printed,
                        load or None,
                        row_load,
                        row["plate_amps"].grade,
                        miss,
                    )
                )
        return tuple(sorted(found, key=lambda aim: (aim.miss, aim.bplus, aim.row_load or 0.0)))

    def _load(self, device) -> float | None:
        """Return the load that the output transformer gives a unit, 0 where that cannot be told,
        None where no transformer is on its plate.
        """
        for part in self.circuit.parts:
            if part.kind == "output transformer" and device.from_[0] in {
                self.network.node_of[node]
                for terminal, node in part.pins
                if terminal.startswith("primary")
            }:
                return presented_ohms(self.circuit, part) or 0.0
        return None

    def driven(self, bplus: float) -> _Drive:
        """Return the amplifier driven to the onset of clipping on a stiff B+, controls where they
        are loudest.
        """
        import numpy as np

        try:
            source, back = input_ends(self.circuit)
            speaker = speaker_of(self.circuit)
        except CannotSolve as error:
            return _Drive(
                {}, 0.0, 0.0, self.amps_at(bplus), (0.0, 0.0), f"{error}: taken as at idle"
            )
        ends, load = (speaker.node("1"), speaker.node("2")), speaker.value("resistance")
        stops: dict[str, float] = {}
        for part in self.circuit.parts:
            if part.kind == "pot" and self.amp.own(part.name):
                stops[part.name] = float(
                    np.argmax(
                        [
                            self._gain(
                                self._found({part.name: turn}, bplus, source, back),
                                source,
                                back,
                                ends,
                            )
                            for turn in (0.0, 1.0)
                        ]
                    )
                )
        found = self._found(stops, bplus, source, back)
        linear, network = linearised(found), found.network
        gain = self._gain(found, source, back, ends)
        driver = Driver(found, source, back, ends, load)
        full = driver.full(gain)
        into = (linear.column(source, back) * 2**0.5 * full.input_volts / GENERATOR)[None]
        wave = np.sin(2 * pi * np.arange(INSTANTS) / INSTANTS)[:, None] * into
        steady = steady_state(
            network, found.source[None] + wave, 1 / TONE, start=found.point, laws=found.laws
        )
        amps = (bplus - float(self.across(network, steady.x).mean())) / STIFF
        hertz = self.circuit.mains.hertz
        ripple = abs(
            linear.transfer(self._into(network) / STIFF, linear.column(*ends), (hertz, 2 * hertz))
        )
        return _Drive(
            stops, full.watts, full.load_volts, amps, (float(ripple[0]), float(ripple[1]))
        )

    def _found(self, stops: Mapping[str, float], bplus: float, source: str, back: str) -> Bias:
        network = with_generator(assemble(self.circuit, rotation=stops), source, back)
        rhs = bplus / STIFF * self._into(network)
        laws = tuple(device.law for device in network.ordered)
        start = self.x[int(abs(self.volts - bplus).argmin())]
        point = operating_point(network, rhs, laws=laws, start=start)
        return Bias(network, None, laws, rhs, point.x[0])

    def _gain(self, found: Bias, source: str, back: str, ends: tuple[str, str]) -> float:
        linear: Linear = linearised(found)
        return abs(
            complex(
                linear.transfer(
                    linear.column(source, back) / GENERATOR, linear.column(*ends), (TONE,)
                )[0]
            )
        )


def with_generator(network: Network, source: str, back: str) -> Network:
    """Return a network with the ohm of a silent generator at its input, as ``rework signal`` has
    it.
    """
    from dataclasses import replace

    a, b = network.node_of[source], network.node_of[back]
    return (
        network
        if a == b
        else replace(
            network, branches=(*network.branches, Branch("generator", "r", a, b, GENERATOR))
        )
    )


def hum_at(circuit: Circuit, stops: Mapping[str, float], start: Any = None) -> tuple[float, Any]:
    """Return the RMS hum at the speaker of a whole circuit, input shorted, controls at ``stops``,
    and the unknowns of its steady state.
    """
    source, back = input_ends(circuit)
    speaker = speaker_of(circuit)
    network = with_generator(assemble(circuit, rotation=stops), source, back)
    steady = mains_steady(network, start=start)
    wave = network.volts(steady.x, speaker.node("1")) - network.volts(steady.x, speaker.node("2"))
    return float((wave - wave.mean()).std()), steady.x


def _heaters(
    circuit: Circuit, amp: Amplifier, wants: Mapping[str, float]
) -> tuple[float, float, str]:
    """Return volts and amps of the heaters between the heater ports and where that is from."""
    survey = Survey(circuit)
    ends = {survey.rail[amp.node("heater1")], survey.rail[amp.node("heater2")]}
    across = [
        element
        for element in Heaters(survey).elements
        if set(element.ends) == ends and amp.own(element.part.name)
    ]
    tubes = [element for element in across if element.way]
    volts = sorted({element.way.volts.value for element in tubes})
    if len(volts) > 1 and "heater" not in wants:
        told = ", ".join(f"{element.part.name} {element.way.volts.value:g} V" for element in tubes)
        raise CannotSolve(
            Problem(
                f"the heaters across the supply do not want the same volts: {told}",
                hint="exchange or rewire a tube, or fix the volts: --want heater=6.3V",
            )
        )
    if not tubes and not {"heater", "heater-current"} <= wants.keys():
        raise CannotSolve(
            Problem(
                "no heater hangs between the heater ports, so their volts and amps are not known",
                hint=(
                    "cut the heater string before the supply is attached, or fix both: --want"
                    " heater=6.3V --want heater-current=1A"
                ),
            )
        )
    amps = sum(element.amps for element in tubes) + sum(
        element.part.value("current") or 0.0 for element in across if not element.way
    )
    told = "; ".join(
        f"{element.part.name} {element.part.type} {element.amps:g} A" for element in tubes
    )
    fixed = [name for name in ("heater", "heater-current") if name in wants]
    return (
        wants.get("heater", volts[0] if volts else 0.0),
        wants.get("heater-current", amps),
        told + (f"; {' and '.join(fixed)} fixed by the user" if fixed else ""),
    )


def _hum(amp: Amplifier, drive: _Drive, wants: Mapping[str, float]) -> tuple[float, str]:
    """Return the hum wanted at the speaker: 60 dB under full power, and no more than the set had."""
    if "hum" in wants:
        return wants["hum"], "fixed by the user"
    if not drive.volts:
        return ANY_HUM, "not looked at: " + drive.note
    wanted = HUM_SHARE * drive.volts
    told = f"60 dB under the {drive.volts:.2g} V of full power"
    try:
        found, _ = hum_at(amp.before, drive.stops)
    except CannotSolve:
        return wanted, f"{told}; the set as found has no numbers to compare with"
    if found < wanted:
        return (
            found,
            f"no more than the {1e3 * found:.2g} mV of the set as found, which is less than {told}",
        )
    return wanted, f"{told}; the set as found had {1e3 * found:.2g} mV"
