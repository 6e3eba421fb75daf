"""The work and the parts that an option takes: what is bought, drilled, lifted, cut and kept."""

from __future__ import annotations

from dataclasses import replace

from rework.circuit.circuit import Circuit
from rework.circuit.edits import CutConductor, Edit, ExchangeTube, LiftPin, RunWire
from rework.circuit.parts import Part
from rework.language.quantity import write_value
from rework.supply.findings import Bought, Findings
from rework.supply.pricing import NEAR_VALUE, item_for
from rework.supply.stock import Shelf

#: Kinds that want a hole or a mounting in the chassis they are fitted to (common practice, no
#: source); a cord takes the old one's.
HOLED = frozenset({"transformer", "choke", "fuse", "switch", "connector", "jack"})
#: Kinds that are no parts to keep or to buy.
_BARE = frozenset({"chassis", "earth", "socket"})


def work_rows(findings: Findings, after: Circuit, before: Circuit, shelf: Shelf | None) -> Findings:
    """Return the findings with the rows of work and money."""
    option = findings.option
    old, new = before.by_name, after.by_name
    fresh = [part for part in after.parts if _is_new(part, old.get(part.name))]
    lead = f"{option.supply}/" if option.supply else ""
    counted = [part for part in before.parts if _is_counted(part)]
    kept = [part for part in counted if (now := new.get(part.name)) and not _is_new(now, part)]
    pins, wires, cut = _work(option.edits, before)
    return replace(
        findings,
        bought=tuple(
            Bought(part.name, words(part), price_of(part, shelf))
            for part in fresh
            if _is_counted(part)
        ),
        holes=tuple(
            part.name
            for part in fresh
            if part.kind in HOLED
            and part.name not in old
            and not (lead and part.name.startswith(lead))
        ),
        pins=pins,
        wires=wires,
        cut=cut,
        out=tuple(part.name for part in counted if part.name not in new),
        kept=len(kept),
        of=len(counted),
    )


def _work(edits: tuple[Edit, ...], before: Circuit) -> tuple[int, int, tuple[str, ...]]:
    """Return how many pins of old parts are lifted or moved, how many wires are run, and which
    traces are cut.
    """
    old = before.by_name
    pins, wires = 0, 0
    cut: list[str] = []
    for edit in edits:
        match edit.action:
            case LiftPin(name) if name in old:
                pins += 1
            case ExchangeTube(moves=moves):
                pins += sum(len(old_pins) for _, old_pins, _ in moves)
            case RunWire():
                wires += 1
            case CutConductor(name) if name in old and old[name].kind == "trace":
                cut.append(name)
            case _:
                pass
    return pins, wires, tuple(cut)


def _is_counted(part: Part) -> bool:
    return part.kind not in _BARE and not part.is_conductor


def _is_new(part: Part, old: Part | None) -> bool:
    """Return whether a part is not the one that was there under its name."""
    if old is None:
        return True
    return (part.kind, part.type, part.values, part.windings) != (
        old.kind,
        old.type,
        old.values,
        old.windings,
    )


def words(part: Part) -> str:
    """Return a part as one buys it: kind, type and values."""
    values = (write_value(value) for value in part.values)
    return " ".join(word for word in (part.kind, part.type, *values) if word)


def price_of(part: Part, shelf: Shelf | None) -> float | None:
    """Return the price of a part on the stock list, None where it is not on it."""
    item = item_for(part, shelf, within=NEAR_VALUE)
    return None if item is None else item.price
