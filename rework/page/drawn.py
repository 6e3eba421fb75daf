"""The drawings of a job as scenes: schematics of every step in one layout, graphs, sockets.

A drawing is laid out and rendered once for as long as it stays the same; where only figures of the
netlist changed, layout and wires stay and words are set anew.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from threading import Lock
from typing import Any, TypeVar

from rework.circuit.circuit import Circuit
from rework.draw.drawing import Sheets
from rework.draw.graph.marks import Marks
from rework.draw.graph.render import CannotDraw, layout, rendered
from rework.draw.graph.sources import pair_sources
from rework.draw.ink import KnownInk, elements, px, svg
from rework.draw.overlay import Overlay, differences
from rework.draw.paper import paper_for, to_pdf
from rework.draw.readback import DrawingIsWrong
from rework.draw.schematic import Schematic
from rework.draw.series import Overlays, Series
from rework.draw.sheeting import SCREEN
from rework.draw.sockets import socket_sheet
from rework.page.board import Plain
from rework.page.scene import beneath, scene, sheet_scene
from rework.rules.run import JobRun
from rework.safety.findings import Report

Made = TypeVar("Made")
#: So many layouts, scenes and the like are kept, the last used longest.
_KEPT = 300
#: A circuit of more parts fits on no screen, and the renderer takes minutes.
MOST_DRAWN = 1500


class Kept:
    """Results by what they were made of; the oldest goes when there are too many.

    For several threads.
    """

    def __init__(self) -> None:
        self._made: OrderedDict[Hashable, Any] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """Return the result kept under a key, made first where there is none."""
        value: Made | None = self.find(key)
        if value is None:
            value = make()
            self.put(key, value)
        return value

    def find(self, key: Hashable) -> Any:  # noqa: ANN401  whatever was kept there
        """Return the result kept under a key, or None."""
        with self._lock:
            if key in self._made:
                self._made.move_to_end(key)
            return self._made.get(key)

    def put(self, key: Hashable, value: object) -> None:
        """Keep a result."""
        with self._lock:
            self._made[key] = value
            while len(self._made) > _KEPT:
                self._made.popitem(last=False)


class Drawings:
    """Draws jobs for the page. Every method may raise CannotDraw."""

    def __init__(self) -> None:
        self._kept = Kept()
        self._series: Series | None = None
        self._lock = Lock()
        self._inked: dict[tuple[str, str], tuple[Schematic, Plain, KnownInk]] = {}
        #: What is shown at the moment, ``before`` and ``after``, sheet by sheet.
        self.sheets: dict[str, Sheets] = {}

    def pair(self, run: JobRun, overlays: Overlays) -> dict[str, Plain]:
        """Return the schematics ``before`` and ``after`` as scenes, whatever stayed in the same
        place, each chassis under the one before; with the marks of ``overlays``.
        """
        _bounded(run.before, run.after)
        with _cannot_be_wrong():
            sheets = self._laid_out(run, overlays).pair(overlays)
        self.sheets = dict(zip(("before", "after"), sheets, strict=True))
        return {
            when: beneath(
                {name: self._sheet_scene(when, name, sheet) for name, sheet in drawn.items()}
            )
            for when, drawn in self.sheets.items()
        }

    def graph(self, run: JobRun, before: Report, after: Report) -> dict[str, Plain]:
        """Return the graphs ``before`` and ``after`` as scenes, whatever stayed in the same place;
        with the check's marks.
        """
        _bounded(run.before, run.after)
        sources = pair_sources(
            run.before,
            run.after,
            self._layout,
            before_marks=_marks(before),
            after_marks=_marks(after),
        )
        with ThreadPoolExecutor(2) as at_once:
            return dict(zip(("before", "after"), at_once.map(self._scene, sources), strict=True))

    def sockets(self, run: JobRun) -> Plain:
        """Return the scene of the sockets from below, before and after."""
        _bounded(run.before, run.after)
        return scene(socket_sheet(run.after, before=run.before).encode())

    def step(self, run: JobRun, overlays: Overlays, number: int) -> Plain:
        """Return the scene of the circuit after so many steps (0: as found), in the places it has
        before and after, what the last of them edited marked.
        """
        _bounded(run.before, run.after)
        circuits = [run.before, *(taken.after for taken in run.taken)]
        overlay, word = Overlay(), "As found"
        if number:
            overlay = differences(circuits[number - 1], circuits[number])[1]
            word = f"After step {number}"
        with _cannot_be_wrong():
            series = self._laid_out(run, overlays)
            sheets = series.between(circuits[number], overlay, word)
        return beneath({name: _scene_of(sheet, {}) for name, sheet in sheets.items()})

    def as_file(self, run: JobRun, when: str, sheet: str, format_: str) -> bytes | None:
        """Return a sheet ``before`` or ``after``, or the ``sockets``, as SVG or PDF; None where
        there is none.
        """
        if when == "sockets":
            drawn = socket_sheet(run.after, before=run.before)
        else:
            schematic = self.sheets.get(when, {}).get(sheet)
            if schematic is None:
                return None
            drawn = svg(schematic)
        if format_ == "svg":
            return drawn.encode()
        mains = run.after.mains
        return (
            to_pdf([drawn], paper=paper_for(mains.volts if mains else None))
            if format_ == "pdf"
            else None
        )

    def _laid_out(self, run: JobRun, overlays: Overlays) -> Series:
        """Return the series of a job, in the layout of the last one where that holds still."""
        with self._lock:
            series = self._series
            if series is None or (series.before, series.after) != (run.before, run.after):
                same = series.with_figures(run.before, run.after) if series is not None else None
                series = same or Series(run.before, run.after, overlays, SCREEN)
                self._series = series
            return series

    def _sheet_scene(self, when: str, name: str, sheet: Schematic) -> Plain:
        """Return the scene of a sheet, the last one where the sheet is as it was."""
        inked = self._inked.get((when, name))
        if inked is None or inked[0] != sheet:
            known = inked[2] if inked else {}
            inked = sheet, _scene_of(sheet, known), known
            self._inked[when, name] = inked
        return inked[1]

    def _layout(self, source: str) -> str:
        return self._kept.get(("layout", source), lambda: layout(source))

    def _scene(self, source: str) -> Plain:
        return self._kept.get(
            ("scene", source), lambda: scene(rendered(source, "svg", placed=True))
        )


@contextmanager
def _cannot_be_wrong() -> Iterator[None]:
    """Raise CannotDraw where a drawing does not say what the netlist says."""
    try:
        yield
    except DrawingIsWrong as error:
        raise CannotDraw(str(error)) from error


def _scene_of(sheet: Schematic, known: KnownInk) -> Plain:
    """Return the scene of a sheet; ``known`` is what its parts were inked with before."""
    box = [float(px(edge)) for edge in (sheet.box.left, sheet.box.top)]
    wide, high = sheet.box.right - sheet.box.left, sheet.box.bottom - sheet.box.top
    box += [box[0] + float(px(wide)), box[1] + float(px(high))]
    return sheet_scene(box, elements(sheet, known=known))


def _bounded(*circuits: Circuit) -> None:
    most = max(len(circuit.parts) for circuit in circuits)
    if most > MOST_DRAWN:
        raise CannotDraw(
            f"the circuit has {most:,} parts, more than the {MOST_DRAWN:,} that are drawn on the"
            " page; rework draw writes it to a file"
        )


def _marks(report: Report) -> Marks:
    return Marks(
        frozenset(hazard.node for hazard in report.hazards if hazard.touchable),
        frozenset(live.node for live in report.live),
    )
