"""Slips of the pen that a file can be read with: a capacitor the wrong way round, a stage that the
signal goes past, a control that turns the wrong way, a load far off, milliamperes for amperes.

Limits are this tool's own choice (no source), wide enough that no set on hand is reported.
"""

from __future__ import annotations

from collections.abc import Iterator

from rework.anatomy.feeding import Feeding
from rework.anatomy.function_row import Aspect, FunctionRow, Working
from rework.anatomy.roles import part_roles
from rework.anatomy.units import tube_of
from rework.anatomy.usual_values import UsualSpan, usual_spans
from rework.circuit.parts import Part, Value
from rework.language.quantity import UNIT_OF

#: So many times off every printed load an output stage is told of: its watts are down 3 dB, the
#: fall that a set is told of. A class-A stage that fills the volts and the current of its point at
#: the load R gives I^2 r / 2 into a smaller r and V^2 / 2r into a larger one, less in proportion.
_LOAD_OFF = 10**0.3
#: What a neon lamp draws, amperes (an NE-2 is for 0.3 to 0.7 mA, an NE-2H for 1.9: from memory).
_NEON_AMPS = (1e-4, 2e-2)
#: What the primary of an output transformer may be loaded with, and any winding's ohms by meter.
_PRIMARY_LOAD, _WINDING_OHMS = (300.0, 100e3), (0.0, 20e3)
#: The line of a set: volts, and hertz where it alternates.
_LINE_VOLTS, _LINE_HERTZ = (80.0, 500.0), (15.0, 133.0)


def slip_rows(feeding: Feeding) -> Iterator[FunctionRow]:
    """Yield a row for everything that is unusual enough to be a slip."""
    slips = _Slips(feeding)
    yield from slips.turned_capacitors()
    yield from slips.stages_passed_by()
    yield from slips.turned_controls()
    yield from slips.loads()
    yield from slips.values()


def place_rows(feeding: Feeding) -> Iterator[FunctionRow]:
    """Yield a row for every value that no part in such a place usually has."""
    slips = _Slips(feeding)
    # A capacitor the wrong way round, or either way, gives its neighbours other places.
    turned = any(slips.turned_capacitors())
    if not turned and not any("bipolar" in part.words for part in feeding.circuit.parts):
        yield from slips.places()


class _Slips:
    def __init__(self, feeding: Feeding) -> None:
        self.feeding = feeding
        self.anatomy = feeding.anatomy
        self.circuit = feeding.circuit

    def turned_capacitors(self) -> Iterator[FunctionRow]:
        """Yield electrolytics with their minus on B+, or on a cathode, and their plus on common."""
        anatomy, ways = self.anatomy, self.feeding.ways
        low = self.feeding.closed(anatomy.common | anatomy.b_minus)
        cathodes = [unit.at("cathode") for unit in anatomy.units if unit.amplifies]
        high = {*self.feeding.supplied} | {ways.closed(point) for point in cathodes if point}
        for part in self.circuit.parts:
            if part.traits.polar and part.traits.is_capacitor and "bipolar" not in part.words:
                ends = [anatomy.wiring.of(part, terminal) for terminal in ("plus", "minus")]
                plus, minus = (ways.closed(end) if end else "" for end in ends)
                if minus in high - low and plus in low:
                    yield FunctionRow(
                        Aspect.POLARITY, part.name, Working.FAULT, place=part.at("minus")
                    )

    def stages_passed_by(self) -> Iterator[FunctionRow]:
        """Yield stages that no input reaches, or that lead to nothing, in a set whose signal gets
        through.
        """
        anatomy = self.anatomy
        if not anatomy.inputs or not anatomy.outputs:
            return
        onward: dict[str, set[str]] = {}
        for coupling in anatomy.couplings:
            onward.setdefault(coupling.source, set()).add(coupling.target)
        backward: dict[str, set[str]] = {}
        for source, targets in onward.items():
            for target in targets:
                backward.setdefault(target, set()).add(source)
        driving = {label for output in anatomy.outputs for label in output.stages}
        reached = _spread({port.part for port in anatomy.inputs}, onward)
        leading = _spread(driving, backward)
        if not reached & driving:
            return
        for stage in anatomy.stages:
            if stage.kind in ("amplifier", "follower", "split-load"):
                place = (
                    "input"
                    if stage.label not in reached
                    else ""
                    if stage.label in leading
                    else "on"
                )
                if place:
                    yield FunctionRow(Aspect.STAGE, stage.label, Working.NOTE, place=place)

    def turned_controls(self) -> Iterator[FunctionRow]:
        """Yield controls of audio taper that are loudest at their left stop."""
        wiring, still = self.anatomy.wiring, self.anatomy.signal.still
        for part in self.circuit.parts:
            if part.kind == "pot" and "audio" in part.words:
                left, wiper, right = (
                    wiring.of(part, terminal) for terminal in ("ccw", "wiper", "cw")
                )
                grids = self.anatomy.signal.forward((wiper,)) if wiper else frozenset()
                feeds = any(point in self.anatomy.signal.grids for point in grids)
                if right in still and left not in still and wiper not in (left, right) and feeds:
                    yield FunctionRow(Aspect.CONTROL, part.name, Working.NOTE)

    def loads(self) -> Iterator[FunctionRow]:
        """Yield single output stages whose transformer has a load far from every printed one."""
        units = {unit.label: unit for unit in self.anatomy.units}
        for output in self.anatomy.outputs:
            if output.kind != "single-ended" or output.transformer is None:
                continue
            unit = units[output.stages[0]]
            tube = tube_of(self.circuit.by_name[unit.part])
            stated = _load(self.circuit.by_name[output.transformer])
            printed = [
                row["load_ohms"].value
                for row in (tube.typical if tube else ())
                if "load_ohms" in row and row.unit == unit.name
            ]
            if stated is None or not printed:
                continue
            near = min(printed, key=lambda ohms: max(ohms / stated, stated / ohms))
            if max(near / stated, stated / near) > _LOAD_OFF:
                yield FunctionRow(
                    Aspect.MATCH,
                    output.transformer,
                    Working.NOTE,
                    stated,
                    near,
                    part=unit.label,
                    unit="ohm",
                )

    def values(self) -> Iterator[FunctionRow]:
        """Yield values that no part of their kind usually has: milliamperes for amperes, farads for
        microfarads.
        """
        mains = self.circuit.mains
        if mains is not None:
            for amount, (low, high), unit in (
                (mains.volts, _LINE_VOLTS, "V"),
                (mains.hertz or _LINE_HERTZ[0], _LINE_HERTZ, "Hz"),
            ):
                if not low <= amount <= high:
                    yield FunctionRow(Aspect.VALUE, "mains", Working.NOTE, amount, unit=unit)
        for part in self.circuit.parts:
            limits = {dimension: (low, high) for dimension, low, high in part.traits.usual}
            limits |= {"current": _NEON_AMPS} if "neon" in part.words else {}
            for value in part.values:
                yield from self._odd(part, value, limits.get(value.dimension))
            for name, values in part.windings if part.kind == "output transformer" else ():
                for value in values:
                    load = name.startswith("primary") and value.role == "load"
                    if value.dimension == "resistance" and (load or value.role != "load"):
                        limit = _PRIMARY_LOAD if load else _WINDING_OHMS
                        yield from self._odd(part, value, limit)

    def places(self) -> Iterator[FunctionRow]:
        """Yield values that no part in such a place usually has: most of those a decade off."""
        kinds = {stage.label: stage.kind for stage in self.anatomy.stages}
        if not kinds:
            return
        for name, place in part_roles(self.anatomy).items():
            part = self.circuit.by_name[name]
            for span in usual_spans(place.role, kinds.get(place.stage, "")):
                amount = part.value(span.dimension)
                if part.traits.dimensions[:1] != (span.dimension,) or amount is None:
                    continue
                if not span.holds(amount) and self._is_usual(part, span, amount):
                    yield FunctionRow(
                        Aspect.VALUE,
                        name,
                        Working.NOTE,
                        amount,
                        span.low if amount < span.low else span.high,
                        place=place.role,
                        unit=UNIT_OF[span.dimension],
                    )

    @staticmethod
    def _is_usual(part: Part, span: UsualSpan, amount: float) -> bool:
        """Return whether its kind of part has such values: others are reported already."""
        limits = {dimension: (low, high) for dimension, low, high in part.traits.usual}
        low, high = limits.get(span.dimension, (0.0, float("inf")))
        return low <= amount <= high

    @staticmethod
    def _odd(part: Part, value: Value, limits: tuple[float, float] | None) -> Iterator[FunctionRow]:
        if limits is not None and not limits[0] <= value.amount <= limits[1]:
            yield FunctionRow(
                Aspect.VALUE,
                part.name,
                Working.NOTE,
                value.amount,
                limits[0] if value.amount < limits[0] else limits[1],
                place=part.kind,
                unit=UNIT_OF.get(value.dimension, ""),
            )


def _load(transformer: Part) -> float | None:
    """Return the load of the primary, None where it has none or several primaries."""
    loads = [
        value.amount
        for name, values in transformer.windings
        if name.startswith("primary")
        for value in values
        if value.role == "load"
    ]
    return loads[0] if len(loads) == 1 else None


def _spread(start: set[str], onward: dict[str, set[str]]) -> set[str]:
    """Return everything that can be reached, the start included."""
    seen, line = set(start), list(start)
    while line:
        for other in onward.get(line.pop(), ()):
            if other not in seen:
                seen.add(other)
                line.append(other)
    return seen
