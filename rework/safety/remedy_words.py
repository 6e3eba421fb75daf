"""Remedies in words: one edit as an instruction, and what has to be done besides."""

from __future__ import annotations

from collections.abc import Iterator

from rework.anatomy.function_row import Aspect
from rework.circuit.edits import Action, CutConductor, FitPart, LiftPin, RemovePart, RunWire
from rework.circuit.parts import Part, strands
from rework.safety.cord import moved_leads
from rework.safety.function import PIN, Fact
from rework.safety.survey import Survey, listed
from rework.safety.trial import OF_A_LEAD, Key, Trial

#: No more than so many things that are missing are told in one sentence.
_MOST_MISSING = 6
_ELECTRODES = (Aspect.PLATE, Aspect.SCREEN, Aspect.CATHODE, Aspect.GRID)


def unserved(trial: Trial) -> Iterator[Fact]:
    """Yield every electrode without B+ or without a return."""
    return (fact for fact in trial.function.fails if fact[0] in _ELECTRODES)


def afterwards(trial: Trial, edits: tuple[Action, ...]) -> str:
    """Return what has to be done besides, where a pin or wire that was in the wrong place belongs
    somewhere else.
    """
    survey, places = trial.survey, []
    for edit in edits:
        match edit:
            case LiftPin(name, terminal) if survey.circuit.by_name[name].kind != "socket":
                places.append(survey.pin(survey.circuit.by_name[name], terminal))
            case CutConductor(name) if trial.lost or trial.added:
                places.append(f"wire {name}")
    if not places:
        return ""
    facts = [*unserved(trial), *sorted(fact for fact in trial.lost if fact[0] != PIN)]
    missing = dict.fromkeys(_missing(fact) for fact in facts)
    missing |= dict.fromkeys(_lacks(key) for key in sorted(trial.added) if key[0] in OF_A_LEAD)
    after = f" After that, {listed(list(missing)[:_MOST_MISSING])}." if missing else ""
    return f"{after} Connect {listed(places)} where the diagram shows it."


def _missing(fact: Fact) -> str:
    """Return what no longer works, in words."""
    aspect, name, place = fact
    match aspect:
        case Aspect.PLATE | Aspect.SCREEN:
            return f"the {aspect} of {name} (pin {place}) has no B+"
        case Aspect.CATHODE | Aspect.GRID:
            return f"the {aspect} of {name} (pin {place}) has no return"
        case Aspect.HEATER:
            return f"the heater of {name} is not fed"
        case Aspect.SIGNAL:
            return f"no signal gets from {name} to a load"
        case Aspect.INPUT_RETURN:
            return f"the return of {name} is not on common"
        case Aspect.RETURN:
            return f"{name} has no way back to the supply"
        case Aspect.BIAS:
            return f"{name} has no bias"
        case Aspect.LOAD:
            return f"no signal gets to {name}"
        case _:
            return f"{name} is not fed"


def _lacks(key: Key) -> str:
    """Return what a heater or metal has lost with a lead, in words."""
    sort, part, pin = key[:3]
    match sort:
        case "not-bonded":
            return f"the {pin} of {part} has no bond to earth"
        case "heater-currents":
            return f"the heater of {part} does not get its own current"
        case _:
            return f"the heater of {part} is not fed"


def edit_words(survey: Survey, edit: Action) -> str:
    """Return one edit as an instruction for a person."""
    by_name = survey.circuit.by_name
    match edit:
        case CutConductor(name):
            part = by_name[name]
            verb = "Cut" if part.kind == "trace" else "Take out"
            return f"{verb} {_named(part)}: it joins {_ends(part)}."
        case RemovePart(name):
            return f"Take out {_named(by_name[name])}: it joins {_ends(by_name[name])}."
        case LiftPin(name, terminal):
            part = by_name[name]
            return f"Disconnect {survey.pin(part, terminal)} from {part.at(terminal)}."
        case RunWire(part):
            return f"Run a wire from {part.pins[0][1]} to {part.pins[1][1]}."
        case FitPart(part) if _is_moved(by_name.get(part.name), part):
            return moved_leads(by_name[part.name], part)
        case FitPart(part) if part.node("shaft") is not None:
            return f"Bond the shaft of {part.name} to {part.at('shaft')}, where the earth comes in."
        case _:
            return ""


def _is_moved(part: Part | None, then: Part) -> bool:
    """Return whether a part is fitted again with the same pins on other nodes."""
    if part is None or part.pins == then.pins:
        return False
    return [pin for pin, _ in part.pins] == [pin for pin, _ in then.pins]


def _named(part: Part) -> str:
    return f"{part.kind} {part.name}" if part.is_conductor else part.name


def _ends(part: Part) -> str:
    runs = strands(part) if part.kind == "shielded cable" else (tuple(t for t, _ in part.pins),)
    return listed(" to ".join(part.at(terminal) for terminal in run) for run in runs)
