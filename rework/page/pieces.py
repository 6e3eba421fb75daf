"""What the page shows of a job run before any long sum is done, as plain values, each piece on its
own.

A table is as ``report.table.values`` gives it.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rework.circuit.circuit import Circuit
from rework.circuit.edits import (
    AttachCircuit,
    Edit,
    RunWire,
    subject,
)
from rework.circuit.parts import Part
from rework.circuit.place import Problem, errors
from rework.compare.difference import difference
from rework.compare.entries import Difference
from rework.compare.sentences import describe
from rework.page.board import Plain
from rework.page.wires import wires
from rework.papers.cover import CAUTIONS
from rework.papers.lists import PartsRow, lists
from rework.papers.places import pin_words as place_words
from rework.papers.places import plain
from rework.papers.trial.plan import PlannedTest
from rework.papers.work import work_order
from rework.report.problems import problem_text
from rework.report.table import Column, Table
from rework.rules.rewrite import Applied
from rework.rules.run import JobRun, StepTaken
from rework.rules.words import edit_words, pin_words
from rework.tubes import library


def head(run: JobRun) -> Plain:
    """Return what is above everything: the job, the set, the line, the cautions of every job."""
    mains = run.after.mains or run.before.mains
    return {
        "title": run.job.title or run.after.title,
        "set": run.before.title,
        "mains": f"{mains.volts:g} V, {mains.hertz:g} Hz" if mains else "line not stated",
        "cautions": [list(caution) for caution in CAUTIONS],
        "note": "Only the netlist as written was checked. Verify by measurement.",
    }


def problems(messages: Sequence[Problem], *, stale: str) -> Plain:
    """Return problems as the command line prints them; ``stale`` is the time of the files that all
    else on the page is from, nothing where it is up to date.
    """
    count = len(errors(tuple(messages)))
    counted = f"{count} error{'s' if count > 1 else ''} in the files"
    return {
        "stale": bool(stale),
        "heading": f"Cannot update: {counted}" if count else "Cautions from reading the files",
        "older": f"Showing the last good version ({stale})." if stale else "",
        "status": counted if count else "",
        "told": [
            {
                "text": problem_text(problem),
                "severity": problem.severity,
                "file": Path(problem.place.file).name if problem.place else "",
                "line": problem.place.line if problem.place else 0,
            }
            for problem in messages
        ],
    }


def changes(run: JobRun) -> Plain:
    """Return the difference of before and after: one sentence an entry, and what it is about."""
    change = difference(run.before, run.after)
    return {
        "sentences": list(describe(change, pin=pin_words)),
        "counts": [[word, count] for word, count in _counts(change) if count],
    }


def _counts(change: Difference) -> list[tuple[str, int]]:
    return [
        ("taken out", len(change.removed)),
        ("cut", len(change.cut)),
        ("new", len(change.added)),
        ("wires run", len(change.run)),
        ("values changed", len(change.changed)),
        ("tubes exchanged", len(change.exchanged)),
        ("pins moved", len(change.moved)),
    ]


def listed(run: JobRun) -> Plain:
    """Return the parts and wires of a job as tables."""
    tables = lists(run)
    names = ("name", "part", "why", "remark")
    return {
        "fit": _lines("fit", "Parts to fit", tables.fit, names),
        "removed": _lines("removed", "Parts removed", tables.removed, names),
        "kept": _lines("kept", "Parts kept", tables.kept, names),
        "wires": Table(
            "wires",
            "Wires to run",
            "",
            (Column("name", "name"), *map(Column, ("colour", "gauge", "make", "from", "to"))),
            tuple(
                (wire.name, wire.colour, wire.gauge, wire.make, wire.start, wire.finish)
                for wire in tables.wires
            ),
            parts=tuple(wire.name.split(" ")[0] for wire in tables.wires),
        ),
    }


def _lines(key: str, title: str, rows: Sequence[PartsRow], columns: Sequence[str]) -> Table:
    rows_of = [(row.name, row.what, row.why, row.note) for row in rows]
    used = [
        index for index in range(len(columns)) if index < 2 or any(row[index] for row in rows_of)
    ]
    return Table(
        key,
        title,
        "",
        tuple(Column(columns[index], "text" if index else "name") for index in used),
        tuple(tuple(row[index] for index in used) for row in rows_of),
        parts=tuple(row.name for row in rows),
    )


def work(run: JobRun) -> list[Plain]:
    """Return the work order: groups, each with what comes first and its steps."""
    subjects = [subject(edit.action) for edit in run.edits]
    return [
        {
            "title": group.title,
            "first": list(group.first),
            "last": list(group.last),
            "steps": [
                {
                    "number": step.number,
                    "what": step.what,
                    "where": step.where,
                    "why": step.why,
                    "check": step.check,
                    "rule": step.rule,
                    "cautions": list(step.cautions),
                    "part": subjects[step.edits[0]],
                    "lines": list(step.lines),
                }
                for step in group.steps
            ],
        }
        for group in work_order(run)
    ]


def tests(plan: Sequence[PlannedTest]) -> list[Plain]:
    """Return the test plan as it is in the papers."""
    return [
        {
            "number": test.number,
            "title": test.title,
            "how": test.how,
            "instrument": test.instrument,
            "limit": test.limit,
            "source": test.source,
            "stop": test.stop,
            "rows": list(test.rows),
        }
        for test in plan
    ]


def steps(run: JobRun) -> list[Plain]:
    """Return the steps of a job as they went, with the parts each of them edited."""
    return [_step(number, step) for number, step in enumerate(run.taken, 1)]


def _step(number: int, taken: StepTaken) -> Plain:
    applied = taken.outcome if isinstance(taken.outcome, Applied) else None
    edits = [
        {"words": edit_words(edit), "reason": edit.reason, "part": subject(edit.action)}
        for edit in (applied.edits if applied else ())
    ]
    return {
        "number": number,
        "line": taken.step.text,
        "place": f"{taken.step.place.file}:{taken.step.place.line}",
        "says": taken.says,
        "edits": edits,
        "nothing": "" if applied else getattr(taken.outcome, "reason", "refused"),
        "cautions": list(applied.cautions) if applied else [],
    }


def parts(run: JobRun) -> Plain:
    """Return every part by name: what it was and is, with its pins, the steps that edited it, the
    file and line it is in.
    """
    edited: dict[str, list[Plain]] = {}
    for number, taken in enumerate(run.taken, 1):
        for edit in taken.outcome.edits if isinstance(taken.outcome, Applied) else ():
            sides = {
                "step": number,
                "words": edit_words(edit),
                "why": edit.reason,
                "rule": edit.rule,
            }
            for name in _reached(edit):
                edited.setdefault(name, []).append(sides)
    names = dict.fromkeys([*run.before.by_name, *run.after.by_name])
    return {
        name: {
            "state": _state(run.before.part(name), run.after.part(name)),
            "before": _part(run.before, name),
            "after": _part(run.after, name),
            "edits": edited.get(name, []),
        }
        for name in names
    }


def _state(was: Part | None, now: Part | None) -> str:
    """Return in a word or two what the job makes of a part."""
    if was is None or now is None:
        return "new" if was is None else "taken out"
    rewired = was.pins != now.pins
    changed = (was.kind, was.type, was.values, was.windings) != (
        now.kind,
        now.type,
        now.values,
        now.windings,
    )
    if changed:
        return "changed and rewired" if rewired else "changed"
    return "rewired" if rewired else "unchanged"


def _reached(edit: Edit) -> list[str]:
    """Return the parts an edit is reported at: what it is about, and what a wire is run to."""
    match edit.action:
        case AttachCircuit(circuit, prefix):
            return [f"{prefix}/{part.name}" for part in circuit.parts]
        case RunWire(part):
            ends = [end.rpartition(".")[0] for _, end in part.pins if "." in end]
            return list(dict.fromkeys([part.name, *ends]))
    return [subject(edit.action)]


def _part(circuit: Circuit, name: str) -> Plain | None:
    part = circuit.by_name.get(name)
    if part is None:
        return None
    place = f"{part.place.file}:{part.place.line}" if part.place else ""
    return {
        "what": plain(part),
        "kind": part.kind,
        "type": part.type,
        "remark": part.remark,
        "place": place,
        "unused": list(part.unused),
        "pins": [
            {"pin": terminal, "words": _pin(part, terminal), "node": node}
            for terminal, node in part.pins
        ],
    }


def _pin(part: Part, terminal: str) -> str:
    return place_words(part, terminal).removeprefix(f"{part.name} ")


def nodes(run: JobRun) -> Plain:
    """Return every node with the pins on it and the colour of its wire, before and after."""
    circuits = (("before", run.before), ("after", run.after))
    colour = {when: wires(circuit) for when, circuit in circuits}
    return {
        node: {
            **{
                when: [
                    [part.name, _pin(part, terminal)] for part, terminal in circuit.at.get(node, ())
                ]
                for when, circuit in circuits
            },
            "wire": {when: colour[when].get(node, "") for when, _ in circuits},
        }
        for node in sorted({*run.before.at, *run.after.at})
    }


def readings(run: JobRun) -> Plain:
    """Return the readings of the finished set against common by node or ``PART.pin``: what the job
    calls the place, and the value as written.
    """
    return {
        name: {"at": reading.at, "text": reading.value.text}
        for reading in run.job.readings
        if reading.is_plain
        for name in _places(run.after, reading.at)
    }


def _places(circuit: Circuit, at: str) -> tuple[str, ...]:
    """Return the names the page has for a place of a reading: an element by its pins."""
    name, _, terminal = at.rpartition(".")
    part = circuit.part(name)
    if part is None or part.node(terminal) is not None:
        return (at,)
    tube = library.find(part.type) if part.kind == "tube" else None
    return tuple(f"{name}.{pin}" for pin in tube.pins_of(terminal)) if tube else (at,)
