"""Stages from input to load: which unit drives which, through what, and in what order."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from rework.anatomy.ports import SignalPort, inputs, loads
from rework.anatomy.signal import SignalWays, way_back
from rework.anatomy.units import TubeUnit
from rework.circuit.graph import Merged
from rework.circuit.kinds import KINDS, Law

StageKind = Literal["amplifier", "follower", "split-load", "grounded-grid", "output", "idle"]
OutputKind = Literal["single-ended", "push-pull", "parallel", "follower"]


@dataclass(frozen=True, slots=True)
class Coupling:
    """How the signal gets from a source to the grid (or the cathode) of a unit.

    ``source`` is the label of a unit, or the name of an input part; ``target`` the label of a unit.
    ``start`` and ``end`` are points, ``way`` the shortest way between as (part, point behind it),
    ``parts`` everything on any way. Empty where the two are wired together.
    """

    source: str
    target: str
    start: str
    end: str
    way: tuple[tuple[str, str], ...]
    parts: frozenset[str]
    into: Literal["grid", "cathode"] = "grid"


@dataclass(frozen=True, slots=True)
class Feedback:
    """Parts that lead a signal back from the output of one unit (or from the secondary it drives)
    to the grid or cathode of the same or an earlier one.
    """

    source: str
    target: str
    start: str
    end: str
    parts: frozenset[str]
    into: Literal["grid", "cathode"]


@dataclass(frozen=True, slots=True)
class SignalStage:
    """One unit that amplifies, in its place.

    ``number`` counts units from an input, the first being 1; ``channel`` distinguishes chains that
    share no signal (stereo), from 1 in the order of their first units.
    """

    unit: TubeUnit
    kind: StageKind
    number: int
    channel: int

    @property
    def label(self) -> str:
        """The label of the unit: ``V1`` or ``V1 triode2``."""
        return self.unit.label


@dataclass(frozen=True, slots=True)
class Output:
    """What drives the loads of one output transformer, or without one a load.

    ``transformer`` is None where the load is driven through a capacitor. ``stages`` are labels.
    """

    kind: OutputKind
    stages: tuple[str, ...]
    transformer: str | None
    loads: tuple[str, ...]


class Chain:
    """The stages of one circuit, their couplings and feedback.

    Parameters
    ----------
    signal
        What passes a signal in the circuit.
    """

    def __init__(self, signal: SignalWays) -> None:
        self.signal = signal
        self.wiring = signal.wiring
        self.units = {unit.label: unit for unit in signal.units}

    @cached_property
    def inputs(self) -> tuple[SignalPort, ...]:
        """Where a signal comes in, in the order of the file."""
        return inputs(self.signal)

    @cached_property
    def loads(self) -> tuple[SignalPort, ...]:
        """Where it goes out, in the order of the file."""
        return loads(self.signal)

    # who drives whom

    def outputs_of(self, unit: TubeUnit) -> tuple[str, ...]:
        """Return the points at which a unit gives out a signal: its plate, and its cathode with the
        resistors below it.
        """
        plates = tuple(point for point in unit.plates if point in self.signal.plates)
        return (*plates, *self.signal.cathode_leg(unit))

    @cached_property
    def _reached(self) -> dict[str, frozenset[str]]:
        """Labels of the units whose grids each unit and each input reaches."""
        reached: dict[str, frozenset[str]] = {}
        for port in self.inputs:
            reached[port.part] = self._grids_from((port.hot,))
        for unit in self.signal.units:
            starts = self._starts(unit)
            reached[unit.label] = self._grids_from(starts) - {unit.label}
        return reached

    def _starts(self, unit: TubeUnit) -> tuple[str, ...]:
        """Return the outputs that a unit's signal is followed from: of a cathode leg only what a
        capacitor, a winding or another tube takes up, for what a resistor leads to from there is
        feedback, unless the plate stands still.
        """
        plates = [point for point in unit.plates if point in self.signal.plates]
        if not plates:
            return self.signal.cathode_leg(unit)
        leg = [
            point
            for point in self.signal.cathode_leg(unit)
            if point in self.signal.grids or self._couples_on(point)
        ]
        return (*plates, *leg)

    def _couples_on(self, point: str) -> bool:
        """Return whether a capacitor leads from a point of a cathode leg to a point that is neither
        still, nor an output, nor in a cathode leg.
        """
        parts = self.wiring.circuit.by_name
        outputs = self.signal.plates | self.signal.secondaries | self.signal.legs
        return any(
            KINDS[parts[name].kind].law == Law.CAPACITANCE and other not in outputs
            for name, other in self.signal.at.get(point, ())
        )

    def _grids_from(self, starts: Iterable[str]) -> frozenset[str]:
        """Return the labels of the units whose grids a signal reaches from some points; a grid that
        only follows its own cathode leg is not driven from there.
        """
        return frozenset(
            unit.label
            for start in starts
            if start not in self.signal.still
            for point in self.signal.forward((start,))
            for unit in self.signal.grids.get(point, ())
            if start not in self.signal.cathode_leg(unit)
        )

    @cached_property
    def _drives(self) -> dict[str, tuple[str, ...]]:
        """Every unit's and input's label with those it drives, feedback left out."""
        order = list(self.units)
        kept: dict[str, list[str]] = {source: [] for source in self._reached}
        state: dict[str, str] = {}
        driven = {label for port in self.inputs for label in self._reached[port.part]}
        roots = [label for label in order if label in driven]
        into: dict[str, int] = dict.fromkeys(order, 0)
        for source in self.units:
            for label in self._reached[source]:
                into[label] += 1
        roots += sorted(
            (x for x in order if x not in driven), key=lambda x: (into[x] > 0, order.index(x))
        )
        for port in self.inputs:
            kept[port.part] = [label for label in order if label in self._reached[port.part]]
        for root in roots:
            self._visit(root, kept, state, order)
        self._by_cathode(kept)
        return {source: tuple(labels) for source, labels in kept.items()}

    def _visit(
        self, root: str, kept: dict[str, list[str]], state: dict[str, str], order: list[str]
    ) -> None:
        """Walk on from a unit, depth first; what leads to a unit that is still being walked from is
        feedback.
        """
        if root in state:
            return
        state[root] = "open"
        line = [(root, iter([label for label in order if label in self._reached[root]]))]
        while line:
            label, onward = line[-1]
            for other in onward:
                if state.get(other) == "open":
                    continue
                kept[label].append(other)
                if other not in state:
                    state[other] = "open"
                    line.append((other, iter([x for x in order if x in self._reached[other]])))
                    break
            else:
                state[label] = "done"
                line.pop()

    def _by_cathode(self, kept: dict[str, list[str]]) -> None:
        """Add the units that are driven at the cathode: what no grid brings a signal to, where the
        cathode is on another unit's cathode or plate.
        """
        driven = {label for labels in kept.values() for label in labels}
        for unit in self.signal.units:
            cathode = unit.at("cathode")
            if unit.label in driven or cathode is None or cathode in self.signal.still:
                continue
            for other in self.signal.units:
                if other.label != unit.label and (
                    cathode in other.plates
                    or (cathode in self.signal.cathode_leg(other) and other.label in driven)
                ):
                    kept[other.label].append(unit.label)
                    break

    @cached_property
    def _numbers(self) -> dict[str, int]:
        """Every unit with the length of the longest way to it, counted in units."""
        number = dict.fromkeys(self.units, 1)
        for _ in self.units:
            changed = False
            for source in self.units:
                for label in self._drives[source]:
                    if number[label] <= number[source] < len(self.units):
                        number[label] = number[source] + 1
                        changed = True
            if not changed:
                break
        return number

    @cached_property
    def _channels(self) -> dict[str, int]:
        merged = Merged()
        for source, labels in self._drives.items():
            for label in labels:
                merged.join(source, label)
        for output in self.outputs:
            for label in output.stages[1:]:
                merged.join(output.stages[0], label)
        numbers: dict[str, int] = {}
        for label in self.units:
            numbers.setdefault(merged.find(label), len(numbers) + 1)
        return {label: numbers[merged.find(label)] for label in self.units}

    @cached_property
    def stages(self) -> tuple[SignalStage, ...]:
        """Every unit that amplifies, channel by channel in the order of the signal."""
        stages = [
            SignalStage(unit, self._kind(unit), self._numbers[label], self._channels[label])
            for label, unit in self.units.items()
        ]
        return tuple(sorted(stages, key=lambda stage: (stage.channel, stage.number)))

    def _kind(self, unit: TubeUnit) -> StageKind:
        plates = [point for point in unit.plates if point in self.signal.plates]
        leg = self.signal.cathode_leg(unit)
        grid = unit.at("grid")
        if unit.label in self._output_stages:
            return "output"
        if not plates and not leg:
            return "idle"
        if not plates:
            return "follower"
        if grid is None or not any(unit.label in labels for labels in self._drives.values()):
            return "amplifier"
        if unit.label not in {x for labels in self._reached.values() for x in labels}:
            return "grounded-grid"
        if set(leg) & set(self._starts(unit)) and len(self._drives[unit.label]) > 1:
            return "split-load"
        return "amplifier"

    # output

    @cached_property
    def _output_stages(self) -> dict[str, tuple[str | None, frozenset[str]]]:
        """Label of each output stage with its transformer and the loads it drives."""
        output_stages: dict[str, tuple[str | None, frozenset[str]]] = {}
        hot = {port.hot: port.part for port in self.loads}
        for unit in self.signal.units:
            starts = [p for p in self._starts(unit) if p not in self.signal.still]
            reached = self.signal.forward(starts, into_loads=True)
            names = frozenset(hot[point] for point in reached if point in hot)
            through = [
                part.name
                for part in self.signal.transformers
                if part.name in self.signal.output_transformers
                and set(starts) & set(self.signal.windings(part, primary=True))
            ]
            if through or (names and not self._reached[unit.label]):
                output_stages[unit.label] = (through[0] if through else None, names)
        return output_stages

    @cached_property
    def outputs(self) -> tuple[Output, ...]:
        """What drives the loads, in the order of the file."""
        groups: dict[tuple[str | None, frozenset[str]], list[str]] = {}
        for label, (transformer, driven) in self._output_stages.items():
            key = (transformer, frozenset() if transformer else driven)
            groups.setdefault(key, []).append(label)
        return tuple(
            Output(
                self._output_kind(labels),
                tuple(labels),
                transformer,
                tuple(
                    port.part
                    for port in self.loads
                    if port.part in self._output_stages[labels[0]][1]
                ),
            )
            for (transformer, _), labels in groups.items()
        )

    def _output_kind(self, labels: list[str]) -> OutputKind:
        units = [self.units[label] for label in labels]
        plates = {point for unit in units for point in unit.plates}
        if not plates & self.signal.plates:
            return "follower"
        if len(units) == 1:
            return "single-ended"
        return "parallel" if len(plates) == 1 else "push-pull"

    # couplings and feedback

    @cached_property
    def couplings(self) -> tuple[Coupling, ...]:
        """Every way on which a signal goes forward, from inputs first."""
        couplings = []
        starts: dict[str, tuple[str, ...]] = {port.part: (port.hot,) for port in self.inputs}
        starts |= {label: self._starts(unit) for label, unit in self.units.items()}
        for source, labels in self._drives.items():
            for label in labels:
                couplings += self._couplings(source, starts[source], self.units[label])
        return tuple(couplings)

    def _couplings(self, source: str, starts: tuple[str, ...], target: TubeUnit) -> list[Coupling]:
        couplings = []
        for start in starts:
            reached = self.signal.forward((start,)) if start not in self.signal.still else {}
            for element in ("grid", "signal-grid"):
                end = target.at(element)
                if end is not None and end in reached:
                    parts = self.signal.between(start, end).parts
                    steps = way_back(reached, end)
                    parts |= {name for name, _ in steps}
                    couplings.append(Coupling(source, target.label, start, end, steps, parts))
        cathode = target.at("cathode")
        if not couplings and cathode is not None:
            couplings.append(
                Coupling(source, target.label, cathode, cathode, (), frozenset(), "cathode")
            )
        return couplings

    @cached_property
    def feedbacks(self) -> tuple[Feedback, ...]:
        """Every way on which a signal comes back, in the order of the stages that it comes from."""
        forward = frozenset(name for coupling in self.couplings for name in coupling.parts)
        feedbacks: list[Feedback] = []
        for stage in self.stages:
            for start in self._feedback_starts(stage.unit):
                for target in self.stages:
                    if target.number <= stage.number:
                        feedbacks += self._feedback(stage.unit, start, target.unit, forward)
        return tuple(feedbacks)

    def _feedback_starts(self, unit: TubeUnit) -> tuple[str, ...]:
        starts = [point for point in unit.plates if point in self.signal.plates]
        transformer = self._output_stages.get(unit.label, (None, frozenset()))[0]
        if transformer is not None:
            part = self.wiring.circuit.by_name[transformer]
            starts += [
                point
                for point in self.signal.windings(part, primary=False)
                if point not in self.signal.still
            ]
        return tuple(dict.fromkeys(starts))

    def _feedback(
        self, source: TubeUnit, start: str, target: TubeUnit, forward: frozenset[str]
    ) -> list[Feedback]:
        feedbacks = []
        ends: list[tuple[str, Literal["grid", "cathode"]]] = [
            (point, "cathode") for point in self.signal.cathode_leg(target)
        ]
        grid = target.at("grid")
        if grid is not None and grid not in self.signal.still:
            ends.append((grid, "grid"))
        others = (self.signal.cathodes | self.signal.grids.keys()) - {start}
        for end, into in ends:
            between = self.signal.between(start, end, without=forward)
            if between.parts and not between.points & (others - {end}):
                feedbacks.append(
                    Feedback(source.label, target.label, start, end, between.parts, into)
                )
        return feedbacks
