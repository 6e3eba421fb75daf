"""Windings of a transformer as turns around one core."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import pi

from rework.anatomy.defaults import (
    SPREAD,
    VOLT_AMPERES,
    loaded_rise,
    output_henries,
    output_ohms,
    winding_ohms,
)
from rework.circuit.parts import Part, strands
from rework.circuit.taps import tap_shares

#: Tolerance of the ohms of a winding or choke that are written (common practice, no source).
WINDING_TOLERANCE = 0.10
#: Volts of a winding and henries beyond these are taken for a slip of the multiplier.
MOST_VOLTS, MOST_HENRIES = 2e4, 1e5


@dataclass(frozen=True, slots=True)
class Winding:
    """A winding, or a part of it between taps, from node ``a`` to ``b``: its row, the part's core,
    turns against the first winding, ohms and their tolerance.
    """

    part: Part
    row: str
    core: str
    a: str
    b: str
    turns: float
    ohms: float
    tolerance: float


def windings(
    part: Part, hertz: float, fault: Callable[[Part, str, str], None], note: Callable[[str], None]
) -> tuple[tuple[Winding, ...], float]:
    """Return the windings of a transformer and the magnetising henries of the first; ``fault`` is
    called for each that has no ratio.
    """
    runs = [run for run in strands(part) if len(run) > 1]
    sizes = [_size(part, run[0].split(".")[0], fault) for run in runs]
    if not runs or None in sizes:
        return (), 0.0
    scale, load, wound = sizes[0] or 1.0, None, []
    turns = _turns(part, runs, sizes)
    unmarked = [_copper(part, run[0].split(".")[0], note) for run in runs]
    rise = _rise(part, unmarked, note)
    for run, ratio, (ohms, written) in zip(runs, turns, unmarked, strict=True):
        name = run[0].split(".")[0]
        size = ratio * (1.0 if name.startswith("primary") else rise)
        load = load or _values(part, name).get(("resistance", "load"))
        places = _places(part, name, len(run), note)
        by_rating = part.kind == "autotransformer" and not written and len(run) > 2
        if by_rating:
            note(
                f"the ohms of {part.name} between its taps go with the square of their turns: each"
                " is taken as wound for the whole rating (common practice, no source)"
            )
        for n, (near, far) in enumerate(pairwise(places)):
            row = f"{part.name}.{name}" + (f".{n + 1}" if len(run) > 2 else "")
            wound.append(
                Winding(
                    part,
                    row,
                    f"{part.name}.core",
                    part.at(run[n]),
                    part.at(run[n + 1]),
                    (far - near) * size,
                    max((far - near) ** (2 if by_rating else 1) * ohms, 1e-3),
                    WINDING_TOLERANCE if written else SPREAD,
                )
            )
    return tuple(wound), _magnetising(part, runs[0][0].split(".")[0], load, scale, hertz, note)


def _rise(part: Part, copper: Sequence[tuple[float, bool]], note: Callable[[str], None]) -> float:
    """Return how many times their marked volts the secondaries of a small transformer give without
    load, where the file states what it is made for and none of its ohms.
    """
    amps = any(value.dimension == "current" for _, values in part.windings for value in values)
    stated = amps or part.value("apparent-power") or part.value("power")
    if part.kind != "transformer" or not stated or any(written for _, written in copper):
        return 1.0
    rise = loaded_rise(_volt_amperes(part))
    if rise > 1.0:
        note(
            f"the volts of {part.name} are taken as those at its rated amps, as small transformers"
            f" are marked: without load {rise:.2g} times as many"
        )
    return rise


def _turns(
    part: Part, runs: Sequence[tuple[str, ...]], sizes: Sequence[float | None]
) -> list[float]:
    """Return the turns of each winding against the first: as stated, else by its size."""
    names = [run[0].split(".")[0] for run in runs]
    stated = [_values(part, name).get(("turns", "")) for name in names]
    counts = [count for count in stated if count]
    known = counts if len(counts) == len(runs) else [size or 0.0 for size in sizes]
    return [count / (known[0] or 1.0) for count in known]


def _places(part: Part, name: str, count: int, note: Callable[[str], None]) -> list[float]:
    """Return how far along a winding each of its ``count`` terminals is, 0 at the start to 1 at the
    finish; taps whose place is not stated are taken as evenly spaced, with a note.
    """
    stated = tap_shares(part, name)
    if count > 2 and (len(stated) != count - 2 or None in stated):
        note(
            f"the {name} winding of {part.name} does not state where its taps are: taken as"
            " evenly spaced; write each, as in tap 110 V or tap 50%"
        )
        return [n / (count - 1) for n in range(count)]
    return [0.0, *(share or 0.0 for share in stated), 1.0]


def _size(part: Part, name: str, fault: Callable[[Part, str, str], None]) -> float | None:
    """Return what a winding's turns go with: its volts, or the root of its load or henries."""
    values = _values(part, name)
    volts, load = values.get(("voltage", "")), values.get(("resistance", "load"))
    henries = values.get(("inductance", ""))
    size = volts or (load**0.5 if load else None) or (henries**0.5 if henries else None)
    if size is None:
        fault(
            part,
            f"the {name} winding of {part.name} has neither volts nor a load, so its ratio is not"
            " known",
            f"write its volts, as in {name} 117 V, or the load it is for, as in {name} load 5k",
        )
    elif (volts or 0.0) > MOST_VOLTS or (henries or 0.0) > MOST_HENRIES:
        fault(
            part,
            f"the {name} winding of {part.name} has an absurd value",
            "look at its multiplier",
        )
    else:
        return size
    return None


def _copper(part: Part, name: str, note: Callable[[str], None]) -> tuple[float, bool]:
    """Return the ohms of a winding's wire, and whether they are written."""
    values = _values(part, name)
    ohms = values.get(("resistance", "")) or values.get(("resistance", "dcr"))
    if ohms is not None:
        return ohms, True
    primary, load = name.startswith("primary"), values.get(("resistance", "load"))
    if load is not None:
        ohms = output_ohms(load, primary=primary)
        why = "as output transformers of its load have"
    else:
        rated = _volt_amperes(part)
        volts, amps = values.get(("voltage", ""), 1.0), values.get(("current", ""))
        ohms = winding_ohms(volts, amps, rated, primary=primary)
        why = f"as a transformer of {rated:.3g} VA has"
    note(
        f"the {name} winding of {part.name} has no resistance in the file: taken as {ohms:.3g} ohm,"
        f" {why}"
    )
    return ohms, False


def _volt_amperes(part: Part) -> float:
    """Return what a transformer is made for: written, or the sum of its windings, or 50 VA."""
    rated = part.value("apparent-power") or part.value("power")
    if rated:
        return rated
    total = 0.0
    for name, _ in part.windings:
        values = _values(part, name)
        if not name.startswith("primary"):
            total += values.get(("voltage", ""), 0.0) * values.get(("current", ""), 0.0)
    return total or VOLT_AMPERES


def _values(part: Part, winding: str) -> dict[tuple[str, str], float]:
    return {
        (value.dimension, value.role): value.amount
        for value in dict(part.windings).get(winding, ())
    }


def _magnetising(
    part: Part,
    first: str,
    load: float | None,
    size: float,
    hertz: float,
    note: Callable[[str], None],
) -> float:
    henries = _values(part, first).get(("inductance", ""))
    if henries is not None:
        return henries
    if part.kind == "output transformer":
        push_pull = "push-pull" in part.words
        henries = output_henries(load or size**2, part.value("power"), push_pull=push_pull)
        note(
            f"{part.name} has no primary inductance in the file: taken as {henries:.2g} H, as"
            " output transformers of its load have"
        )
    else:
        rated = _volt_amperes(part)
        henries = size**2 / (0.2 * rated) / (2 * pi * (hertz or 60.0))
        note(
            f"{part.name} has no magnetising inductance in the file: taken as {henries:.2g} H, a"
            " fifth of its rated current"
        )
    return henries
