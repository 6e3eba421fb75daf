"""The check: every family of checks over one circuit, and the verdict."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.safety.earthing import (
    earth_through_umbilical,
    line_capacitors,
    line_order,
    plug_and_earth,
)
from rework.safety.exposure import tied_nodes
from rework.safety.findings import (
    HAZARD,
    NOTHING,
    UNFINISHED,
    UNTRACED,
    Caution,
    Finding,
    Hazard,
    Live,
    Report,
)
from rework.safety.heaters import heater_reference, heater_volts
from rework.safety.insulation import lone_insulation
from rework.safety.ratings import half_wave_load, tube_pins
from rework.safety.shafts import shafts
from rework.safety.survey import Survey


def check(circuit: Circuit) -> Report:
    """Return what is tied to the mains and what else is to be mended or known before the set goes
    back to its owner.

    Hazards within reach of a hand come first, then the others, each by the name of the node;
    cautions that must be mended come before those to be known.
    """
    survey = Survey(circuit)
    found: list[Finding] = [finding for one in CHECKS for finding in one(survey)]
    hazards = sorted(
        (one for one in found if isinstance(one, Hazard)),
        key=lambda one: (not one.touchable, one.node),
    )
    live = sorted((one for one in found if isinstance(one, Live)), key=lambda one: one.node)
    cautions = sorted(
        dict.fromkeys(one for one in found if isinstance(one, Caution)),
        key=lambda one: one.weight != "must",
    )
    unfinished = any(caution.weight == "must" for caution in cautions)
    verdict = (
        HAZARD
        if hazards
        else UNTRACED
        if not survey.plugs
        else UNFINISHED
        if unfinished
        else NOTHING
    )
    return Report(
        verdict,
        tuple(hazards),
        tuple(live),
        tuple(cautions),
        _note(survey, verdict, tuple(cautions)),
    )


def no_plug(survey: Survey) -> tuple[Finding, ...]:
    """Return a caution where the netlist has no plug, for then nothing was traced at all."""
    if survey.plugs:
        return ()
    return (
        Caution(
            "There is no plug in this netlist, so nothing could be traced from the mains.",
            remedy="Attach the supply, or write the plug and where its blades go.",
            weight="must",
        ),
    )


def _note(survey: Survey, verdict: str, cautions: tuple[Caution, ...]) -> str:
    if not survey.plugs:
        return (
            "No plug in this netlist: nothing was traced from the mains, so nothing found means"
            " nothing here. Check the circuit with its supply attached."
        )
    told = [
        f"Tried: {survey.heat.tried.words}. Every capacitor, switch and tube of unknown type counts"
        " as a way through."
    ]
    must = sum(caution.weight == "must" for caution in cautions)
    if verdict == UNFINISHED:
        told.append(
            f"No tie was found, but {must} thing{'s' if must > 1 else ''} must be mended before the"
            " conversion is finished."
        )
    told.append(
        "The netlist is all that was looked at: wiring faults, insulation and the outlet are found"
        " by measuring only."
    )
    return " ".join(told)


#: Every check, in the order in which findings are told. A new family is one file and one entry
#: here.
CHECKS = (
    tied_nodes,
    shafts,
    no_plug,
    plug_and_earth,
    earth_through_umbilical,
    line_order,
    line_capacitors,
    lone_insulation,
    heater_volts,
    heater_reference,
    half_wave_load,
    tube_pins,
)
