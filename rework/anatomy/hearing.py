"""Does a signal get through: from every input to a load, back from its return, round every load."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

from rework.anatomy.feeding import Feeding
from rework.anatomy.function_row import Aspect, FunctionRow, Working
from rework.anatomy.ports import SignalPort
from rework.anatomy.signal import passing_pairs
from rework.anatomy.units import tube_of

#: Ohms up to which a load's return is wire (own choice, no source: a cable and contacts).
_ROUND_A_LOAD = 2.0


def signal_rows(feeding: Feeding) -> Iterator[FunctionRow]:
    """Yield whether a signal gets from every input to a load, and to every load."""
    return _Hearing(feeding).rows()


class _Hearing:
    def __init__(self, feeding: Feeding) -> None:
        self.feeding = feeding
        self.anatomy = feeding.anatomy
        self.circuit = feeding.circuit
        self.ways = feeding.ways

    def _bad(self) -> Working:
        known = all(tube_of(part) for part in self.circuit.parts if part.kind == "tube")
        return Working.FAULT if known and not self.feeding.incomplete else Working.UNKNOWN

    def _comes_back(self, port: SignalPort) -> bool:
        """Return whether the return of an input reaches the common, through a capacitor or a
        resistor where not by wire; a floating winding's return is its own.
        """
        if port.back is None:
            return False
        common = self.feeding.closed(
            self.anatomy.common | self.anatomy.b_minus
        ) | self.feeding.closed(self.anatomy.signal.still - self.anatomy.still)
        hot = self.ways.closed(port.hot)
        seen, line = {self.ways.closed(port.back)}, [self.ways.closed(port.back)]
        while line:
            point = line.pop()
            if point in common:
                return True
            for other in self._passed_on.get(point, ()):
                if other not in seen and other != hot:
                    seen.add(other)
                    line.append(other)
        return False

    @cached_property
    def _passed_on(self) -> dict[str, set[str]]:
        """Every point with those that one part which passes a signal joins to it."""
        joined: dict[str, set[str]] = {}
        for part in self.circuit.parts:
            for first, second in passing_pairs(part):
                here, there = self.ways.point(part.at(first)), self.ways.point(part.at(second))
                joined.setdefault(here, set()).add(there)
                joined.setdefault(there, set()).add(here)
        return joined

    def _loop_closes(self, port: SignalPort) -> bool:
        """Return whether both ends of a load reach the winding that drives it."""
        signal = self.anatomy.signal
        driving = [
            {self.ways.closed(point) for point in signal.windings(part, primary=False)}
            for part in signal.transformers
            if part.name in signal.output_transformers
        ]
        if not driving or port.back is None:
            return port.back is not None
        hot, back = self.ways.closed(port.hot), self.ways.closed(port.back)
        wound = frozenset(p.name for p in self.circuit.parts if "transformer" in p.kind)
        near = self.ways.ohms_from((back,), most=_ROUND_A_LOAD, without=wound | {port.part})
        return any((points & near.keys()) - {hot} for points in driving)

    def rows(self) -> Iterator[FunctionRow]:
        """Yield whether a signal gets from every input to a load, and to every load."""
        drives: dict[str, set[str]] = {}
        for coupling in self.anatomy.couplings:
            drives.setdefault(coupling.source, set()).add(coupling.target)
        loads = {label: output.loads for output in self.anatomy.outputs for label in output.stages}
        heard: set[str] = set()
        for port in self.anatomy.inputs:
            seen, line = {port.part}, [port.part]
            while line:
                for label in sorted(drives.get(line.pop(), ())):
                    if label not in seen:
                        seen.add(label)
                        line.append(label)
            reached = {load for label in seen for load in loads.get(label, ())}
            heard |= reached
            goes_on = bool(reached) if self.anatomy.loads else len(seen) > 1
            working = Working.WORKS if goes_on else self._bad()
            yield FunctionRow(Aspect.SIGNAL, port.part, working)
            if goes_on and not self._comes_back(port):
                yield FunctionRow(
                    Aspect.INPUT_RETURN, port.part, self._bad(), place=port.back or ""
                )
        for port in self.anatomy.loads if self.anatomy.stages else ():
            part = self.circuit.by_name[port.part]
            working = Working.WORKS if port.part in heard else self._bad()
            if working is Working.WORKS and not self._loop_closes(port):
                working = self._bad()
            if part.kind == "jack" and working is Working.FAULT:
                working = Working.NOTE
            yield FunctionRow(Aspect.LOAD, port.part, working)
