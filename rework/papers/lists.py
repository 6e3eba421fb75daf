"""Parts to fit, parts removed, parts kept, and the wires to run."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rework.circuit.edits import AttachCircuit, CutConductor, ExchangeTube, FitPart, RemovePart, RunWire, SetValue, apply_edit
from rework.circuit.parts import Part
from rework.papers.places import end_words
from rework.papers.work import plain
from rework.rules.run import JobRun

NOT_COMPUTED = "not computed"


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a parts list. ``why`` is the reason of the edit that brought or took the part."""

    name: str
    what: str
    why: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Wire:
    """One conductor to run: a shielded cable has a row for each core and one for the shield."""

    name: str
    colour: str
    gauge: str
    make: str
    start: str
    finish: str


@dataclass(frozen=True, slots=True)
class Lists:
    """The parts and wires of a job."""

    fit: tuple[Line, ...]
    removed: tuple[Line, ...]
    kept: tuple[Line, ...]
    wires: tuple[Wire, ...]


def lists(run: JobRun) -> Lists:
    """Return the lists of a job, read off its edits in their order."""
    fit: list[Line] = []
    removed: list[Line] = []
    touched: set[str] = set()
    circuit = run.before
    for edit in run.edits:
        action, why = edit.action, edit.reason
        old = circuit.by_name
        match action:
            case FitPart(part) if part.kind != "socket":
                fit.append(Line(part.name, plain(part), why))
            case AttachCircuit(other, prefix):
                fit += [Line(f"{prefix}/{part.name}", plain(part), part.remark or "new supply") for part in other.parts if part.kind != "chassis"]
            case SetValue(name, values, words):
                fit.append(Line(name, plain(replace(old[name], values=values, words=words)), why))
                removed.append(Line(name, plain(old[name]), why))
                touched.add(name)
            case ExchangeTube(name, type_) if type_ != old[name].type:
                fit.append(Line(name, f"tube {type_}", why))
                removed.append(Line(name, plain(old[name]), why))
                touched.add(name)
            case ExchangeTube(name):
                pass
            case RemovePart(name):
                removed.append(Line(name, plain(old[name]), why, old[name].remark))
                touched.add(name)
            case CutConductor(name) if old[name].kind != "trace":
                removed.append(Line(name, plain(old[name]), why, old[name].remark))
                touched.add(name)
            case _:
                pass
        circuit = apply_edit(circuit, action)
    kept = [Line(part.name, plain(part), "", f"stress before and after: {NOT_COMPUTED}") for part in run.before.parts
            if part.name not in touched and part.name in circuit.by_name and not part.is_conductor and part.kind not in ("chassis", "earth")]
    return Lists(tuple(fit), tuple(removed), tuple(kept), wires(run))


def wires(run: JobRun) -> tuple[Wire, ...]:
    """Return every conductor the job runs and every wire of a circuit it attaches that is still there, with its ends."""
    found: list[Wire] = []
    for edit in run.edits:
        match edit.action:
            case RunWire(part):
                if part.name in run.after.by_name:
                    found += _rows(part, run)
            case AttachCircuit(other, prefix):
                names = [f"{prefix}/{part.name}" for part in other.parts if part.is_conductor]
                found += [row for name in names if name in run.after.by_name for row in _rows(run.after.by_name[name], run)]
            case _:
                pass
    return tuple(found)


def _rows(part: Part, run: JobRun) -> list[Wire]:
    cores: dict[str, list[tuple[str, str]]] = {}
    for terminal, end in part.pins:
        cores.setdefault(terminal.partition(".")[0] if part.kind == "shielded cable" else "", []).append((terminal, end))
    colour = ", ".join(word for word in part.words if word not in ("twisted", "solid", "stranded")) or ("as its cores" if part.kind == "shielded cable" else "not stated")
    gauge = next((value.text for value in part.values if value.dimension in ("gauge", "area")), "") or "not stated"
    make = [word for word in ("twisted", "solid", "stranded") if word in part.words]
    rows = []
    for core, ends in cores.items():
        told = [end_words(run.after, part, terminal, end) for terminal, end in ends]
        form = ", ".join([*make, *(["the shield"] if core == "shield" else ["core of a shielded cable"] if core else [])]) or "single"
        rows.append(Wire(f"{part.name} {core}".strip(), colour, gauge, form, told[0], told[1] if len(told) > 1 else "free at this end"))
    return rows


def _detail(part: Part) -> str:
    """Return a part with what is said of each winding, as one buys it."""
    from rework.compare.difference import value_text

    windings = [f"{name} {' '.join(map(value_text, values))}" for name, values in part.windings]
    return ", ".join([plain(part), *windings])
