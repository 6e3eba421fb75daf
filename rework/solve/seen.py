"""Stages and rectifiers that work outside what is printed of their type: their laws go on there,
but nothing was seen that holds them to it.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.solve.bias import Bias
from rework.solve.fit import NoData, curve_points, fitted
from rework.tubes import library

#: A current is under a printed one where it is less by more than this share: figures are printed
#: with two digits.
ROUNDED = 0.02


def outside_seen(circuit: Circuit, rest: Bias) -> tuple[str, ...]:
    """Return sentences on the tube sections whose current is under all that is printed of them: the
    mean plate current of stages, the peak through rectifiers.
    """
    network = rest.network
    stages: list[str] = []
    rectifiers: list[str] = []
    for device, row in zip(network.ordered, network.starts, strict=True):
        part = circuit.by_name.get(device.name)
        if part is None or part.kind != "tube":
            continue
        amps = rest.steady.currents[:, row]
        amplifies = device.law.controls > 1
        used = float(amps.mean() if amplifies else amps.max())
        least = least_printed(part.type, device.unit) if amplifies else _least_drop(part)
        if least is not None and used < least * (1 - ROUNDED):
            section = f"{part.name} {device.unit}".strip()
            words = f"{section} {_milliamperes(used)} ({part.type}: {_milliamperes(least)})"
            (stages if amplifies else rectifiers).append(words)
    return tuple(_sentences(stages, rectifiers))


def _sentences(stages: list[str], rectifiers: list[str]) -> Iterator[str]:
    if stages:
        yield (
            "outside what was seen: the plate current is under the lowest printed of the type (in"
            f" brackets), so volts and gain are less sure than the bands say: {', '.join(stages)}"
        )
    if rectifiers:
        yield (
            "outside what was seen: the peak current is under the lowest at which a drop of the"
            f" type is known (in brackets), so the drop is less sure: {', '.join(rectifiers)}"
        )


def _milliamperes(amps: float) -> str:
    return f"{amps * 1e3:.2g} mA" if amps < 99.5e-3 else f"{amps * 1e3:.0f} mA"


@cache
def least_printed(type_: str, unit: str = "") -> float | None:
    """Return the least plate current in amperes of the printed rows and curves that a type's law
    was fitted to, None where it has none.
    """
    try:
        fit = fitted(type_, unit)
    except NoData:
        return None
    printed = [miss.printed for miss in fit.misses if miss.figure == "plate_amps"]
    printed += [amps for *_, amps in curve_points(fit.type)]
    return min(printed, default=None)


def _least_drop(part: Part) -> float | None:
    """Return the least current at which the drop of a rectifier is known: stated, or printed."""
    if part.value("voltage", role="drop") is not None:
        return part.value("current")
    tube = library.find(part.type)
    return least_printed(part.type) if tube is not None and tube.is_rectifier else None
