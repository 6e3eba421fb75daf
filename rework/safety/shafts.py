"""A line switch on the back of a control: the shaft of the control comes out through the panel.

A shaft that the netlist has a node for is searched with everything else; here is what the search
cannot see.
"""

from __future__ import annotations

from rework.circuit.parts import Part
from rework.safety.findings import Caution, Finding, Hazard, measure
from rework.safety.survey import Survey
from rework.safety.ways import WayStep


def shafts(survey: Survey) -> tuple[Finding, ...]:
    """Return a hazard for every shaft without a node behind which a switch is on the mains; a
    caution where it is earthed.

    A shaft of which nothing is said counts as metal, and without a node as not earthed.
    """
    findings: list[Finding] = []
    for switch in survey.of_kind("switch"):
        pot = survey.circuit.part(switch.setting("on")) if switch.setting("on") else None
        tied = [(terminal, node) for terminal, node in switch.pins if node in survey.ties.tied]
        if not tied or pot is None or pot.kind != "pot" or "plastic-shaft" in pot.words:
            continue
        shaft = pot.node("shaft")
        if shaft is None:
            findings.append(_hazard(survey, switch, pot, *tied[0]))
        elif shaft in survey.always_earthed:
            findings.append(
                Caution(
                    "shaft-insulation",
                    f"Line switch {switch.name} is on the back of {pot.name}, which has a metal"
                    " shaft. Only the earth of the shaft protects the person who turns the knob.",
                    pot.name,
                    "shaft",
                    shaft,
                    measure(
                        f"Measure the insulation from both contacts of {switch.name} to the shaft,"
                        " and from the shaft to the earth pin."
                    ),
                    "mind",
                )
            )
    return tuple(findings)


def _hazard(survey: Survey, switch: Part, pot: Part, terminal: str, contact: str) -> Hazard:
    node = f"{pot.name}.shaft"
    return Hazard(
        node,
        (node,),
        True,
        survey.ties.tied[contact],
        (*survey.ties.path(contact), WayStep(switch.name, terminal, "shaft", node)),
        survey.heat.when(contact),
        (switch.name,),
    )
