"""Insulation that alone separates the mains from the rest: it counts as isolation where it is made
for that, and is to be measured.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rework.circuit.edits import FitPart, RemovePart
from rework.circuit.kinds import METALWORK
from rework.circuit.parts import Part, strands
from rework.safety.findings import Caution, Finding, Remedy, measure
from rework.safety.survey import Survey


def lone_insulation(survey: Survey) -> tuple[Finding, ...]:
    """Return a caution for every part whose insulation alone separates the mains from something
    that is not tied.

    A transformer with the mains on its primary is made for that and is not listed. An interstage or
    an output transformer is not, so it must be fixed.
    """
    findings: list[Finding] = []
    for part in survey.of_kind("tube", "output transformer", "transformer"):
        if part.kind == "transformer" and "interstage" not in part.words:
            continue
        tied = [terminal for terminal, node in part.pins if survey.conduction_tied(node)]
        free = [
            terminal
            for terminal, node in part.pins
            if node not in survey.ties.tied
            and node not in survey.ties.earthed
            and terminal not in METALWORK
        ]
        if part.kind != "tube" and tied and not free:
            free = [
                terminal
                for terminal, node in part.pins
                if terminal.split(".")[0] not in {name.split(".")[0] for name in tied}
                and terminal not in METALWORK
                and node not in survey.before_earth
            ]
        if tied and free:
            findings.append(_alone(survey, part, tied[0], free[0]))
    findings += (_autotransformer(survey, part) for part in _feeding(survey))
    for part in survey.of_kind("motor"):
        if any(survey.conduction_tied(node) for _, node in part.pins):
            findings += _frame(survey, part)
    return tuple(findings)


def _feeding(survey: Survey) -> Iterator[Part]:
    """Yield the autotransformers on the mains that feed more than the primary side."""
    for part in survey.of_kind("autotransformer"):
        nodes = [node for terminal, node in part.pins if terminal not in METALWORK]
        if any(survey.conduction_tied(node) and survey.strangers(node) for node in nodes):
            yield part


def _autotransformer(survey: Survey, part: Part) -> Caution:
    terminal, node = next(
        (terminal, node)
        for terminal, node in part.pins
        if terminal not in METALWORK and survey.strangers(node)
    )
    return Caution(
        "not-isolating",
        f"{part.name} is an autotransformer and isolates nothing: what it feeds at {node} is on the"
        " mains.",
        part.name,
        terminal,
        node,
    )


def _alone(survey: Survey, part: Part, tied: str, free: str) -> Caution:
    far = part.at(free)
    if part.kind == "tube":
        return Caution(
            "lone-insulation",
            f"Inside {part.name}, only a thin layer (heater to cathode, or unit to unit) keeps"
            f" {far} off the mains.",
            part.name,
            free,
            far,
            measure(
                f"Take the line off {part.name}. Until then, measure its insulation from"
                f" {_pin(survey, part, tied)} to {_pin(survey, part, free)}."
            ),
            "mind",
        )
    which = "interstage" if part.kind == "transformer" else "output"
    return Caution(
        "not-isolating",
        f"The {which} transformer {part.name} alone separates {far} from the mains, and it is not"
        " an isolating transformer: its insulation is not made for the mains.",
        part.name,
        free,
        far,
        power_transformer(part) if _is_across_the_line(survey, part) else (),
    )


def _is_across_the_line(survey: Survey, part: Part) -> bool:
    """Return whether a winding is on line conductors alone: it is used as a mains primary."""
    runs = [[part.at(end) for end in run] for run in strands(part) if len(run) > 1]
    return any(survey.primary.line.issuperset(run) for run in runs)


def power_transformer(part: Part) -> tuple[Remedy, ...]:
    """Return a power transformer in the place of one that is not made for the mains."""
    words = tuple(word for word in part.words if word in ("toroid", "potted"))
    windings = tuple(
        (name, tuple(value for value in values if value.role != "load"))
        for name, values in part.windings
    )
    fitted = replace(part, kind="transformer", words=words, windings=windings)
    has_volts = any(value.dimension == "voltage" for _, values in windings for value in values)
    same = "with these windings " if has_volts else ""
    text = f"Fit a power transformer, made for the mains, {same}in place of {part.name}."
    return (Remedy(text, (RemovePart(part.name), FitPart(fitted))),)


def _pin(survey: Survey, part: Part, terminal: str) -> str:
    return survey.pin(part, terminal).removeprefix(f"{part.name} ")


def _frame(survey: Survey, motor: Part) -> list[Finding]:
    frame = motor.node("frame")
    if frame is None:
        return [
            Caution(
                "motor-frame",
                f"Motor {motor.name} runs on the mains and the netlist does not say where its frame"
                " is connected.",
                motor.name,
                "frame",
                "",
                measure(f"Bond the frame of {motor.name} to earth, and write frame=NODE."),
            )
        ]
    if frame in survey.always_earthed:
        return [
            Caution(
                "motor-insulation",
                f"The winding of motor {motor.name} is on the mains. Only its earth protects where"
                " its insulation fails.",
                motor.name,
                "frame",
                frame,
                measure(
                    f"Measure the insulation of {motor.name} from winding to frame, and the frame"
                    " to the earth pin."
                ),
                "mind",
            )
        ]
    return []
