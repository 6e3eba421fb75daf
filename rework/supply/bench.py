"""An amplifier solved on direct B+, a stack of variants at a time: every tube's working point, and
what each part is at against its rating.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.circuit.place import Problem
from rework.solve.assemble import assemble
from rework.solve.cold import HIGH_LINE
from rework.solve.network import CannotSolve, Device, Network
from rework.solve.newton import operating_point
from rework.solve.stress import Stress, rating, tube_rating
from rework.supply.feed import Feed, fed
from rework.tubes import library
from rework.tubes.tubetype import TubeType

Floats = NDArray[np.float64]
#: At how many B+ ratings are looked up: fewer, but at least the first of COUNTS, where so many
#: matrices would hold more than NUMBERS.
NUMBERS, COUNTS = 3_000_000, (24, 150)


@dataclass(frozen=True, slots=True, eq=False)
class Work:
    """One tube unit at idle, an array over the variants in every figure: volts to the cathode,
    amps; no screen gives None.
    """

    part: str
    tube: TubeType
    unit: str
    plate_volts: Floats
    screen_volts: Floats | None
    grid_volts: Floats
    plate_amps: Floats
    screen_amps: Floats | None

    @property
    def loads(self) -> tuple[tuple[Stress, Floats], ...]:
        """Return everything of the unit that a manual rates: the stress as it is in the last of
        the variants, its rating None where the library has none, and its amounts in all.
        """
        cathode = (
            self.plate_amps if self.screen_amps is None else self.plate_amps + self.screen_amps
        )
        amounts = {
            "plate_volts": (self.plate_volts, "V"),
            "plate_watts": (self.plate_volts * self.plate_amps, "W"),
        }
        if self.screen_volts is not None and self.screen_amps is not None:
            amounts["screen_volts"] = (self.screen_volts, "V")
            amounts["screen_watts"] = (self.screen_volts * self.screen_amps, "W")
        amounts["cathode_amps"] = (cathode, "A")
        return tuple(
            (self._stress(key, float(values[-1]), unit), values)
            for key, (values, unit) in amounts.items()
        )

    def _stress(self, key: str, amount: float, unit: str) -> Stress:
        limit = tube_rating(self.tube, key, self.unit)
        return Stress(
            self.part, "tube", key, amount, unit, limit, of=self.unit, type=self.tube.type
        )


def capacitors(circuit: Circuit) -> Iterator[tuple[Part, str, str]]:
    """Yield every capacitor with the nodes at its two ends; an empty can that was left in its place
    has none.
    """
    for part in circuit.parts:
        if part.is_capacitor and len(part.ends) == 2:
            yield part, *part.ends


class AmplifierBench:
    """One amplifier on its feed at ``volts``. Raises CannotSolve where it has no numbers."""

    def __init__(self, circuit: Circuit, feed: Feed, volts: float) -> None:
        self.circuit, self.feed, self.volts = circuit, feed, volts
        self.fed = fed(circuit, feed, volts)
        self.network: Network = assemble(self.fed, cold=())
        self.point = self.solve()[0]

    def solve(
        self,
        *,
        volts: Floats | None = None,
        ohms: Mapping[str, Sequence[float] | Floats] | None = None,
    ) -> Floats:
        """Return the unknowns of a stack of variants: other ``volts`` of B+, or other ``ohms`` of
        resistors by name, an array each.
        """
        network, changed = self.network, ohms or {}
        sizes = [len(each) for each in changed.values()]
        size = max([1 if volts is None else len(volts), *sizes])
        supply = np.broadcast_to(np.asarray(self.volts if volts is None else volts), size)
        source = np.zeros((size, network.n))
        source[:, list(network.sources)] = supply[:, None]
        factors = np.ones((size, len(network.ohmic)))
        for number, branch in enumerate(network.ohmic):
            if branch.name in changed:
                factors[:, number] = np.asarray(changed[branch.name]) / branch.value
        start = self.point * (supply / self.volts)[:, None] if hasattr(self, "point") else None
        point = operating_point(network, source, factors=factors, start=start)
        if not point.converged.all():
            raise CannotSolve(
                Problem(
                    f"the amplifier does not settle at {float(supply[~point.converged][0]):.3g} V"
                    " of B+",
                    hint="look at its values",
                )
            )
        return np.asarray(point.x)

    def work(self, x: Floats) -> tuple[Work, ...]:
        """Return every tube unit at the unknowns ``x`` (variants, n)."""
        return working(self.network, self.circuit, x)

    def device(self, part: str, unit: str) -> Device:
        """Return the law of one tube unit with the unknowns it depends on."""
        return next(
            device for device in self.network.devices if (device.name, device.unit) == (part, unit)
        )

    def grid_ohms(self, part: str, unit: str) -> float:
        """Return the largest resistance for direct current from a grid to the reference over the
        stops of all controls, tubes cold, in ohms.
        """
        paths = []
        for network in self._stops:
            unknown = next(
                device for device in network.devices if (device.name, device.unit) == (part, unit)
            ).from_[-1]
            if unknown < 0:
                return 0.0
            push = np.zeros(network.n)
            push[unknown] = 1.0
            nodes = np.array([name not in network.rows for name in network.names])
            paths.append(float(np.linalg.solve(network.g + np.diag(1e-12 * nodes), push)[unknown]))
        return max(paths)

    @cached_property
    def _stops(self) -> tuple[Network, ...]:
        pots = [part.name for part in self.fed.parts if part.kind == "pot"]
        return (
            self.network,
            *(
                assemble(self.fed, rotation=dict.fromkeys(pots, turn), cold=())
                for turn in (0.0, 1.0)
                if pots
            ),
        )

    def across(self, x: Floats, part: str) -> Floats:
        """Return the volts across a two-terminal part, positive where its first terminal is."""
        pins = self.circuit.by_name[part].pins
        start, end = pins[0][1], pins[-1][1]
        return np.asarray(self.network.volts(x, start) - self.network.volts(x, end))


def working(network: Network, circuit: Circuit, x: Floats) -> tuple[Work, ...]:
    """Return every tube unit that amplifies at the unknowns ``x`` (variants, n) of a circuit's
    network.
    """
    rows, row = [], 0
    volts = x @ network.reads.T
    amps, _ = network.device_currents(x)
    for device in network.ordered:
        at, row = row, row + device.law.controls
        tube = library.find(circuit.by_name[device.name].type)
        if device.law.controls > 1 and tube is not None:
            screened = device.law.controls == 3
            rows.append(
                Work(
                    device.name,
                    tube,
                    device.unit,
                    volts[:, at],
                    volts[:, at + 1] if screened else None,
                    volts[:, row - 1],
                    amps[:, at],
                    amps[:, at + 1] if screened else None,
                )
            )
    return tuple(rows)


@dataclass(frozen=True, slots=True)
class RatingLimit:
    """A stress at the B+ asked for, with its rating, and the B+ at which it reaches that
    (``volts``; None: above the range looked at).
    """

    stress: Stress
    volts: float | None

    @property
    def rating(self) -> float:
        """The rating, in the unit of the stress."""
        assert self.stress.rating is not None
        return self.stress.rating

    @property
    def is_over(self) -> bool:
        """Whether the part is over its rating at the B+ asked for."""
        return self.stress.amount > self.rating


@dataclass(frozen=True, slots=True)
class Ratings:
    """Every rating of every part of an amplifier, that which B+ reaches first in front; ``unrated``
    are the stresses of which neither the file nor the library has a rating.

    Capacitors are taken at their worst: the line 10 % high and every tube cold, so that no filter
    resistor drops anything.
    """

    limits: tuple[RatingLimit, ...]
    unrated: tuple[Stress, ...]
    top: float

    @property
    def most_volts(self) -> float:
        """The highest B+ that keeps every part inside its rating; ``top`` where nothing comes to
        its limit below that.
        """
        return next((limit.volts for limit in self.limits if limit.volts is not None), self.top)

    @property
    def over(self) -> tuple[RatingLimit, ...]:
        """What is over its rating at the B+ asked for, by part."""
        over = (limit for limit in self.limits if limit.is_over)
        return tuple(sorted(over, key=lambda limit: (limit.stress.part, limit.stress.key)))


def ratings(bench: AmplifierBench) -> Ratings:
    """Return the stress of every part, and the B+ at which it reaches its rating; tried up to twice
    the B+, and 300 V at least.
    """
    top = max(2 * bench.volts, 300.0)
    count = int(np.clip(NUMBERS // bench.network.n**2, *COUNTS))
    steps = np.append(np.linspace(top / count, top, count), bench.volts)
    x = bench.solve(volts=steps)
    cold = _cold(bench)
    swept = loads(bench.network, bench.circuit, x)
    for part, _, _ in capacitors(bench.circuit):
        volts = HIGH_LINE * np.maximum(abs(bench.across(x, part.name)), cold[part.name] * steps)
        swept.append(capacitor_load(part, "cold_volts", volts))
    limits = [
        RatingLimit(stress, reaches(steps[:-1], values[:-1], stress.rating))
        for stress, values in swept
        if stress.rating is not None
    ]
    return Ratings(in_order(limits), unrated(swept), top)


#: A stress, as it is in the last of the variants, and its amounts in all of them.
Swept = tuple[Stress, Floats]
#: A resistor that burns fewer watts, or a capacitor at fewer volts, needs no rating.
UNRATED_LEAST = {"watts": 0.05, "cold_volts": 1.0}


def loads(network: Network, circuit: Circuit, x: Floats) -> list[Swept]:
    """Return the stresses of every tube and resistor of a circuit at the unknowns ``x`` (variants,
    n) of its network.
    """
    swept = [load for work in working(network, circuit, x) for load in work.loads]
    across = x @ network.ohmic_at.T
    for number, branch in enumerate(network.ohmic):
        part = circuit.by_name.get(branch.name)
        if part is not None and part.kind == "resistor":
            watts = across[:, number] ** 2 / branch.value
            limit = rating(part, "watts")
            stress = Stress(part.name, part.kind, "watts", float(watts[-1]), "W", limit)
            swept.append((stress, watts))
    return swept


def capacitor_load(part: Part, key: str, volts: Floats) -> Swept:
    """Return the volts across a capacitor as a stress."""
    stress = Stress(part.name, part.kind, key, float(volts[-1]), "V", rating(part, "volts"))
    return stress, volts


def unrated(swept: Iterable[Swept]) -> tuple[Stress, ...]:
    """Return the stresses without a rating; the sheets of few tubes rate the cathode current."""
    return tuple(
        stress
        for stress, _ in swept
        if stress.rating is None
        and stress.key != "cathode_amps"
        and stress.amount > UNRATED_LEAST.get(stress.key, 0.0)
    )


def in_order(limits: Iterable[RatingLimit]) -> tuple[RatingLimit, ...]:
    """Return limits, that which B+ reaches first in front; what it reaches together (to a part in a
    million) goes by name.
    """

    def order(limit: RatingLimit) -> tuple[bool, float, str, str]:
        volts = float(f"{limit.volts or 0.0:.6g}")
        return limit.volts is None, volts, limit.stress.part, limit.stress.key

    return tuple(sorted(limits, key=order))


def _cold(bench: AmplifierBench) -> dict[str, float]:
    """Return the share of B+ across every capacitor while no tube conducts."""
    network = assemble(bench.fed, emission=False, cold=())
    source = np.zeros(network.n)
    source[list(network.sources)] = bench.volts
    x = operating_point(network, source).x[0]
    return {
        part.name: abs(float(network.volts(x, start) - network.volts(x, end))) / bench.volts
        for part, start, end in capacitors(bench.circuit)
    }


def reaches(steps: Floats, values: Floats, limit: float) -> float | None:
    """Return the B+ among rising ``steps`` at which ``values`` first pass a limit, None where they
    do not.
    """
    past = np.nonzero(values > limit)[0]
    if not len(past):
        return None
    at = int(past[0])
    if at == 0:
        return float(steps[0])
    share = (limit - values[at - 1]) / (values[at] - values[at - 1])
    return float(steps[at - 1] + share * (steps[at] - steps[at - 1]))
