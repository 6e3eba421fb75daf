"""The check: every family of checks over one circuit, the remedies that were tried, the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from rework.circuit.circuit import Circuit
from rework.safety.capacitors import discharge, line_capacitors
from rework.safety.earthing import earth_conductor, plug_and_earth
from rework.safety.exposure import hazard_nodes, tied_nodes
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
    write,
)
from rework.safety.heater_reference import heater_reference
from rework.safety.heater_volts import heater_volts
from rework.safety.insulation import lone_insulation
from rework.safety.line_order import line_order
from rework.safety.protection import fuses, line_volts
from rework.safety.ratings import half_wave_load, half_wave_primaries, tube_pins
from rework.safety.remedies import with_remedies
from rework.safety.shafts import shafts
from rework.safety.shorted import shorted_line
from rework.safety.survey import Survey
from rework.safety.trial import Key, Trials, key_of
from rework.safety.umbilical import earth_through_umbilical
from rework.safety.untraced import unlisted, untraced


def check(circuit: Circuit) -> Report:
    """Return what is tied to the mains and what else is to be fixed or known before the set goes
    back to its owner.

    Hazards within reach of a hand come first, then the others, each by the name of the node;
    cautions that must be fixed come before those to be known. Every remedy that changes the circuit
    was made on it and checked again. What only follows from a fault whose remedy is reported is
    counted in the note and not listed.
    """
    survey = Survey(circuit)
    findings = [finding for family in (tied_nodes, *CHECKS) for finding in family(survey)]
    keys = frozenset(key for finding in findings if (key := key_of(finding)))
    trials = Trials(survey, keys, finding_keys)
    hazards, live = _exposed(findings)
    cautions = sorted(
        dict.fromkeys(finding for finding in findings if isinstance(finding, Caution)),
        key=lambda caution: caution.weight != "must",
    )
    remedied = with_remedies(survey, trials, hazards)
    tried = [
        _tried(caution, trials) for caution in cautions if key_of(caution) not in remedied.follow
    ]
    leading = _leading(tried, trials)
    follow = len(remedied.follow) + len(tried) - len(leading)
    verdict = _verdict(survey, hazards, leading)
    note = _note(survey, verdict, leading, follow)
    return Report(verdict, remedied.hazards, live, tuple(leading), note)


def exposed(circuit: Circuit) -> tuple[tuple[Hazard, ...], tuple[Live, ...]]:
    """Return the tied nodes of a circuit, hazards and live ones, in the order of the check and with
    no remedies tried: what a drawing marks, in a fraction of the time.
    """
    survey = Survey(circuit)
    return _exposed((*tied_nodes(survey), *shafts(survey)))


def _exposed(findings: Sequence[Finding]) -> tuple[tuple[Hazard, ...], tuple[Live, ...]]:
    hazards = (finding for finding in findings if isinstance(finding, Hazard))
    live = (finding for finding in findings if isinstance(finding, Live))
    return (
        tuple(sorted(hazards, key=lambda hazard: (not hazard.touchable, hazard.node))),
        tuple(sorted(live, key=lambda live: live.node)),
    )


def finding_keys(survey: Survey) -> frozenset[Key]:
    """Return what the findings of a circuit are about, without what is reported of each."""
    nodes = frozenset(("hazard", node) for node in hazard_nodes(survey))
    findings = (finding for family in CHECKS for finding in family(survey))
    return nodes | {key for finding in findings if (key := key_of(finding))}


def _tried(caution: Caution, trials: Trials) -> Caution:
    """Return a caution with those of its remedies that clear it."""
    key = key_of(caution)
    kept = tuple(
        remedy
        for remedy in caution.remedies
        if remedy.does != "edit" or (key is not None and trials.clears(remedy.edits, [key]))
    )
    return caution if kept == caution.remedies else replace(caution, remedies=kept)


def _leading(cautions: list[Caution], trials: Trials) -> list[Caution]:
    """Return cautions without those that follow from another: its first remedy clears them too.

    A short comes first. Of two that clear each other the one stays whose remedy clears more, then
    the one that needs no new part, then the first.
    """
    gone: dict[Key, frozenset[Key]] = {}
    fitted: dict[Key, int] = {}
    for caution in cautions:
        key, remedy = key_of(caution), next(iter(caution.remedies), None)
        trial = trials.trial(remedy.edits) if remedy and remedy.does == "edit" else None
        if key and trial:
            gone[key] = trial.gone
            fitted[key] = sum(
                part.name not in trials.survey.circuit.by_name and not part.is_conductor
                for part in trial.survey.circuit.parts
            )
    leaders: dict[Key, frozenset[Key]] = {}
    follow: set[Key] = set()
    for key in sorted(
        gone, key=lambda key: (key[0] != "line-shorted", -len(gone[key]), fitted[key])
    ):
        if key not in follow:
            leaders[key] = gone[key] - follow
            follow |= gone[key] - {key}
    return [
        _clearing(caution, trials, leaders.get(key_of(caution) or (), frozenset()))
        for caution in cautions
        if key_of(caution) not in follow
    ]


def _clearing(caution: Caution, trials: Trials, keys: frozenset[Key]) -> Caution:
    """Return a caution with those of its remedies that clear what follows from it too."""
    kept = tuple(r for r in caution.remedies if not keys or trials.clears(r.edits, keys))
    return caution if kept == caution.remedies else replace(caution, remedies=kept)


def _verdict(survey: Survey, hazards: Sequence[Hazard], cautions: list[Caution]) -> str:
    if hazards:
        return HAZARD
    if not survey.plugs:
        return UNTRACED
    return UNFINISHED if any(caution.weight == "must" for caution in cautions) else NOTHING


def no_plug(survey: Survey) -> tuple[Finding, ...]:
    """Return a caution where the netlist has no plug, for then nothing was traced at all."""
    if survey.plugs:
        return ()
    return (
        Caution(
            "no-plug",
            "There is no plug in this netlist, so nothing could be traced from the mains.",
            remedies=write("Attach the supply, or write the plug and where its blades go."),
        ),
    )


def _note(survey: Survey, verdict: str, cautions: list[Caution], follow: int) -> str:
    if not survey.plugs:
        return (
            "There is no plug in this netlist: nothing was traced from the mains. Do not take this"
            " as a clean bill. Check the circuit with its supply attached."
        )
    sentences = [
        f"Tried: {survey.heat.tried.words}. Every capacitor, switch and tube of unknown type counts"
        " as a connection."
    ]
    must = sum(caution.weight == "must" for caution in cautions)
    if verdict == UNFINISHED:
        sentences.append(
            f"No tie was found, but {must} thing{'s' if must > 1 else ''} must be fixed before the"
            " conversion is finished."
        )
    if follow:
        sentences.append(
            f"{follow} more finding{'s' if follow > 1 else ''} about fuse, switch, earth or"
            " capacitors only follow from the same fault: check again after the remedy."
        )
    sentences.append(
        "Only the netlist was checked: wiring faults, insulation and the outlet are found by"
        " measurement only."
    )
    return " ".join(sentences)


#: Every check besides that of the ties, in the order in which findings are told. A new family is
#: one file and one entry here.
CHECKS = (
    untraced,
    unlisted,
    shafts,
    no_plug,
    plug_and_earth,
    earth_conductor,
    earth_through_umbilical,
    shorted_line,
    line_order,
    fuses,
    line_volts,
    line_capacitors,
    discharge,
    lone_insulation,
    heater_volts,
    heater_reference,
    half_wave_load,
    half_wave_primaries,
    tube_pins,
)
