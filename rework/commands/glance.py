"""A circuit at a glance: what the check, the faults, the wiring and the figures say of it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rework.anatomy.function import function
from rework.anatomy.function_row import FunctionRow, Working
from rework.anatomy.lost import lost
from rework.circuit.circuit import Circuit
from rework.commands.beside import Beside, Touched
from rework.commands.subject import Subject
from rework.safety.check import check
from rework.safety.findings import Report

if TYPE_CHECKING:
    from rework.solve.function import Performance


@dataclass(frozen=True, slots=True)
class Glance:
    """One circuit at a glance; ``is_heard`` says whether it has an input and a load."""

    circuit: Circuit
    check: Report
    touched: Touched
    rows: tuple[FunctionRow, ...]
    gain: float | None
    watts: float | None
    rail: str
    rail_volts: float | None
    is_heard: bool

    @property
    def works(self) -> bool:
        """Whether nothing was found that keeps the set from working."""
        return all(row.working is not Working.FAULT for row in self.rows)

    @property
    def exit_status(self) -> int:
        """1 where the set does not work, is tied to the mains, more than the limit can flow (also
        where that is not known), or a pulled connector stays charged.
        """
        felt = self.touched
        unsure = felt.verdict != "under" or felt.unknown
        bad = self.check.exit_status or unsure or felt.over or felt.charged
        return int(bool(bad) or not self.works)


def glances_of(about: Subject, held: Collection[str], beside: Beside) -> dict[str, Glance]:
    """Return a glance of each circuit of a subject; controls and switches that are ``held`` stay
    where they are drawn.

    What a person would feel is computed ``beside`` the operating points.
    """
    circuits = about.circuits
    for circuit in circuits.values():
        beside.begin(circuit, held)
    from rework.solve.function import compared, performance, settled, solved_rows

    reports = {key: check(circuit) for key, circuit in circuits.items()}
    rows = {key: function(circuit) for key, circuit in circuits.items()}
    gone: tuple[FunctionRow, ...] = ()
    figures: dict[str, Performance] = {}
    for key, circuit in circuits.items():
        was = figures.get("before")
        figures[key] = performance(circuit, stops=was.stops if was else None, rated=key != "before")
        rows[key] = settled(rows[key], figures[key])
        rows[key] += solved_rows(circuit, figures[key]) if key != "before" else ()
    if about.run is not None:
        before, after = circuits["before"], circuits["after"]
        gone = lost(before, after, about.run.edits)
        pair = compared(before, figures["before"], after, figures["after"], gone)
        rows["after"] += gone + pair
    touched = beside.finish()
    felt = {key: touched(circuit) for key, circuit in circuits.items()}
    return {
        key: Glance(
            circuit,
            reports[key],
            replace(felt[key], charged=_charged(circuit, figures[key])),
            rows[key],
            figures[key].gain,
            figures[key].watts,
            figures[key].rail,
            figures[key].rail_volts,
            figures[key].is_heard,
        )
        for key, circuit in circuits.items()
    }


def _charged(circuit: Circuit, now: Performance) -> tuple[str, ...]:
    """Return the connectors that stay charged when they are pulled; what a plug of the mains keeps
    is a matter of the check.
    """
    from rework.solve.charged import charge_left, charged
    from rework.touch.ports import bare_contacts
    from rework.touch.stored import after_unplugging

    if not any(bare_contacts(circuit)):
        return ()
    left = (
        after_unplugging(circuit, volts=charged(now.capacitors))
        if now.capacitors
        else charge_left(circuit)
    )
    return tuple(pins.part for pins in left.pins if pins.kind == "connector" and pins.over_limit)
