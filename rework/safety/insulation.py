"""Insulation that stands alone between the mains and the rest: it counts as isolation, and is to be
measured.
"""

from __future__ import annotations

from rework.circuit.parts import Part
from rework.safety.findings import Caution, Finding
from rework.safety.survey import Survey


def lone_insulation(survey: Survey) -> tuple[Finding, ...]:
    """Return a caution for every part whose insulation alone keeps the mains from something that is
    not tied.

    A transformer with the mains on its primary is made for that and is not told.
    """
    found: list[Finding] = []
    for part in survey.circuit.parts:
        told = _INSIDE.get(part.kind)
        if told is None or (part.kind == "transformer" and "interstage" not in part.words):
            continue
        tied = [terminal for terminal, node in part.pins if survey.conduction_tied(node)]
        free = [
            terminal
            for terminal, node in part.pins
            if node not in survey.ties.tied and node not in survey.ties.earthed
        ]
        if tied and free:
            far = part.node(free[0])
            found.append(
                Caution(
                    f"Only {told.format(part.name)} stands between the mains and {far}.",
                    part.name,
                    free[0],
                    far,
                    f"Take the line off {part.name}; until then measure its insulation from"
                    f" {_pins(survey, part, tied)} to"
                    f" {survey.pin(part, free[0]).removeprefix(part.name + ' ')}.",
                    "mind",
                )
            )
    for part in survey.of_kind("motor"):
        if any(survey.conduction_tied(node) for _, node in part.pins):
            found += _frame(survey, part)
    return tuple(found)


_INSIDE = {
    "tube": "the insulation inside {} (heater to cathode, or one unit to another)",
    "output transformer": "the insulation of the output transformer {}",
    "transformer": (
        "the insulation of the interstage transformer {}, which is not made for the mains,"
    ),
}


def _pins(survey: Survey, part: Part, terminals: list[str]) -> str:
    return survey.pin(part, terminals[0]).removeprefix(f"{part.name} ")


def _frame(survey: Survey, motor: Part) -> list[Finding]:
    frame = motor.node("frame")
    if frame is None:
        return [
            Caution(
                f"{motor.name} runs on the mains and the netlist does not say where its frame"
                " goes.",
                motor.name,
                "frame",
                "",
                f"Bond the frame of {motor.name} to earth by a conductor and write frame=NODE (rule"
                " feed-motor).",
            )
        ]
    if frame in survey.always_earthed:
        return [
            Caution(
                f"The winding of {motor.name} is on the mains; its earth is all there is behind its"
                " insulation.",
                motor.name,
                "frame",
                frame,
                f"Measure the insulation of {motor.name} from winding to frame, and the frame to"
                " the earth pin.",
                "mind",
            )
        ]
    return []
