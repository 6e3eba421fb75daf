"""What clears a hazard: candidates at the fault itself, each of them tried before it is reported.

First the smallest cut that clears every hazard at once, which in a finished set is the part or the
wire that bridges the isolation. Where there is none of up to three parts, one part on the way to
each single hazard. What neither clears is part of a conversion.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from rework.anatomy.function_row import Aspect
from rework.circuit.edits import Action, CutConductor, FitPart, LiftPin, RemovePart, RunWire
from rework.circuit.kinds import METALWORK
from rework.circuit.parts import Part, strands
from rework.safety.bonding import bond, earthed_metal
from rework.safety.cord import cut_and_rewired, reconnected, rewired
from rework.safety.cutset import Cut, Element, smallest_cut
from rework.safety.findings import Hazard, Remedy
from rework.safety.insulation import power_transformer
from rework.safety.misplaced import relocations
from rework.safety.remedy_words import afterwards, edit_words, unserved
from rework.safety.survey import Survey, listed
from rework.safety.ties import trace_ties
from rework.safety.trial import Key, Trial, Trials, edited

#: No remedy takes out more parts than this.
MOST_PARTS = 3
#: So often another cut is looked for after one that does harm.
_MOST_CUTS = 8
#: No more hazards than this are looked at one by one.
_MOST_SINGLE = 200
#: The remedies of so many hazards, the first, are tried for all of them.
_MOST_FIRST = 2
#: No more changes than this are traced for single hazards.
_MOST_TRACED = 200
#: Parts that serve no electrode, so that one without a return does not miss them.
_BLOCKING = frozenset({"capacitor", "electrolytic", "lamp", "thermistor"})
#: Findings that say of one part what is wrong with it.
_OF_THE_PART = frozenset({"not-class-y", "y-too-large", "tube-unknown", "not-isolating"})
#: Kinds that are metal and nothing else.
_METAL = frozenset({"chassis", "earth"})
#: Parts that are taken out as a whole where one of their two ends is on the line.
_REMOVED = frozenset(
    {
        *("resistor", "capacitor", "electrolytic", "lamp", "choke", "diode", "selenium"),
        *("thermistor", "varistor", "zener diode", "gas regulator", "light-emitting diode"),
    }
)


@dataclass(frozen=True, slots=True)
class Remedied:
    """Hazards with their remedies, and what else the remedy of all of them clears besides what is
    about the parts that it changes: findings that only follow from the same fault.
    """

    hazards: tuple[Hazard, ...]
    follow: frozenset[Key]


def with_remedies(survey: Survey, trials: Trials, hazards: Iterable[Hazard]) -> Remedied:
    """Return hazards, each with the remedies that clear it."""
    hazards = tuple(hazards)
    plain = [hazard.node for hazard in hazards if not hazard.remedies]
    cuts = _Cuts(survey, trials)
    everything = cuts.of_the_cord(hazards)
    if plain and not everything:
        everything = cuts.of_everything(plain, hazards)
    whole = _together(everything or ())
    trial = trials.trial(whole) if whole else None
    remedied: list[Hazard] = []
    for number, hazard in enumerate(hazards):
        if trial is not None and everything and _key(hazard) in trial.gone:
            remedies = cuts.least(everything, hazard)
        elif hazard.remedies:
            remedies = tuple(r for r in hazard.remedies if trials.clears(r.edits, [_key(hazard)]))
        else:
            remedies = cuts.single(hazard) if number < _MOST_SINGLE else ()
        remedied.append(replace(hazard, remedies=remedies))
    if not whole:
        whole = _common(remedied)
        trial = trials.trial(whole) if whole else None
    changed = {edit.name if isinstance(edit, CutConductor | RemovePart) else "" for edit in whole}
    changed |= {edit.part for edit in whole if isinstance(edit, LiftPin)}
    gone = trial.gone if trial is not None else frozenset()
    return Remedied(
        tuple(remedied),
        frozenset(
            key
            for key in gone
            if key[0] != "hazard" and not (key[0] in _OF_THE_PART and key[1] in changed)
        ),
    )


def _common(hazards: Iterable[Hazard]) -> tuple[Action, ...]:
    """Return the edits of the remedy that all hazards have in common, or nothing."""
    every = {hazard.remedies[0].edits if hazard.remedies else () for hazard in hazards}
    return every.pop() if len(every) == 1 else ()


def _key(hazard: Hazard) -> Key:
    return "hazard", hazard.node


class _Cuts:
    def __init__(self, survey: Survey, trials: Trials) -> None:
        self.survey, self.trials = survey, trials
        self._without: dict[tuple[Action, ...], frozenset[str]] = {}
        #: What remedies say whose edits alone do not say it.
        self._words: dict[tuple[Action, ...], str] = {}

    # all hazards at once

    def of_the_cord(self, hazards: tuple[Hazard, ...]) -> tuple[tuple[Action, ...], ...] | None:
        """Return the edits that clear all hazards by putting the earth lead of the plug in its
        place, where no cut alone clears them.
        """
        keys = [_key(hazard) for hazard in hazards]
        for edits in rewired(self.survey) if keys else ():
            if self.trials.clears(edits, keys):
                return (edits,)
        for edits in cut_and_rewired(self.survey, hazards):
            if self.trials.clears(edits[:1], keys):
                return None
            if self.trials.clears(edits, keys):
                return (edits,)
        return None

    def of_all(self, nodes: list[str]) -> tuple[tuple[Action, ...], ...] | None:
        """Return the edits of every element of the smallest harmless cut that clears all nodes."""
        kept: frozenset[Element] = frozenset()
        keys: list[Key] = [("hazard", node) for node in nodes]
        for part, end in self._misplaced_cores():
            edits: tuple[Action, ...] = (LiftPin(part.name, end),)
            trial = self.trials.trial(edits)
            if trial is not None and trial.clears_but_for(keys, [part.name]):
                return (edits,)
            for node in self._chassis():
                edits = reconnected(part, {end: node})
                if node != part.at(end) and self.trials.clears(edits, keys):
                    return (edits,)
        for part, contact in self._misplaced_contacts():
            if self._does(edits := (LiftPin(part.name, contact),), keys):
                return (edits,)
        for _ in range(_MOST_CUTS):
            cut = smallest_cut(self.survey, kept, most=MOST_PARTS)
            if cut is None or not cut.elements:
                return None
            each = [self._edits(element, cut) for element in cut.elements]
            if all(each) and self._does(_together(each), keys):
                return self._on_its_metal(_together(each), keys) or tuple(each)
            harmful = [
                element
                for element, edits in zip(cut.elements, each, strict=True)
                if self._harms(edits)
            ]
            kept |= frozenset(harmful or cut.elements)
        return None

    def _on_its_metal(
        self, edits: tuple[Action, ...], keys: list[Key]
    ) -> tuple[tuple[Action, ...], ...]:
        """Return the edits that put the one piece of metal that edits take off a node on a chassis
        with its earth, where that clears as much.
        """
        match edits:
            case (LiftPin(name, terminal),) if terminal in METALWORK:
                part = self.survey.circuit.by_name[name]
                for earthed in earthed_metal(self.survey)[:1]:
                    moved = reconnected(part, {terminal: earthed})
                    if self.trials.clears(moved, keys):
                        return (moved,)
        return ()

    def of_everything(
        self, plain: list[str], hazards: tuple[Hazard, ...]
    ) -> tuple[tuple[Action, ...], ...] | None:
        """Return the smallest cut, or the move of one lead: the move first where a primary is off
        the line, for a cut behind the fault would take nothing away from such a set.
        """
        if any(fact[0] == Aspect.PRIMARY for fact in self.trials.function.fails):
            return self.of_a_lead(hazards) or self.of_all(plain) or self.of_one(hazards)
        by_cut = self.of_all(plain) or self.of_one(hazards) or self.of_a_lead(hazards)
        return by_cut or self.of_a_split(hazards)

    def of_a_split(self, hazards: tuple[Hazard, ...]) -> tuple[tuple[Action, ...], ...] | None:
        """Return the edits that part one node of the line in two, what belongs on the mains and
        what does not: two wires on one lug of a primary, or one name for two nodes.
        """
        keys, circuit = [_key(hazard) for hazard in hazards], self.survey.circuit
        for node in circuit.nodes:
            strange = self.survey.strangers(node) if node in self.survey.primary.line else ()
            usual = tuple(lead for lead in circuit.at[node] if lead not in strange)
            parts = tuple(lead for lead in usual if not lead[0].is_conductor)
            if strange and any(part.kind == "transformer" for part, _ in parts):
                for leads in sorted(dict.fromkeys((usual, parts, strange)), key=len):
                    edits = self._split(node, leads)
                    if self.trials.clears(edits, keys):
                        return (edits,)
        return None

    def _split(self, node: str, leads: Iterable[tuple[Part, str]]) -> tuple[Action, ...]:
        """Return the edits that take leads off a node and join them to each other."""
        circuit, moved = self.survey.circuit, dict[str, dict[str, str]]()
        for part, terminal in leads:
            moved.setdefault(part.name, {})[terminal] = circuit.free_node_name(f"{node}-2")
        each = (reconnected(circuit.by_name[name], pins) for name, pins in moved.items())
        edits = _together(each)
        names = [self.survey.pin(part, terminal) for part, terminal in leads]
        rest = "." if len(names) == 1 else ", and join them to each other."
        self._words[edits] = f"Disconnect {listed(names)} from {node}{rest}"
        return edits

    def of_a_lead(self, hazards: tuple[Hazard, ...]) -> tuple[tuple[Action, ...], ...] | None:
        """Return the edits that put the one lead in the wrong place where it belongs, so that every
        primary is fed: those that clear most and leave most working, for a lead may also be put
        past fuse and switch, or where it is out of the way.
        """
        keys, most = [_key(hazard) for hazard in hazards], len(self.trials.keys)
        cleared: list[tuple[int, int, tuple[Action, ...]]] = []
        for edits in relocations(self.survey, hazards):
            trial = self.trials.trial(edits)
            if trial is not None and trial.clears(keys) and not _is_dead(trial):
                left, fails = most - len(trial.gone), len(trial.function.fails)
                cleared.append((left, fails, edits))
                if not (left or fails):
                    break
        return (min(cleared, key=lambda each: each[:2])[2],) if cleared else None

    def of_one(self, hazards: tuple[Hazard, ...]) -> tuple[tuple[Action, ...], ...] | None:
        """Return the edits on the way to one of the first hazards that clear them all: the cut
        nearest to the line can be a part that the set needs, where the fault is further on.
        """
        keys = [_key(hazard) for hazard in hazards]
        plain = [hazard for hazard in hazards if not hazard.remedies]
        for hazard in plain[:_MOST_FIRST]:
            for remedy in self.single(hazard):
                if self.trials.clears(remedy.edits, keys):
                    self._words[remedy.edits] = remedy.words
                    return (remedy.edits,)
        return None

    def _chassis(self) -> list[str]:
        """Return the nodes of the chassis that a core in the wrong place may belong to."""
        return [node for part in self.survey.of_kind("chassis") for _, node in part.pins]

    def _misplaced_cores(self) -> Iterator[tuple[Part, str]]:
        """Yield the wrong end of a core that joins the line to anything else, of a
        cable with several cores: the end on the line, or where a primary misses its line the other.
        """
        is_fed = all(fact[0] != Aspect.PRIMARY for fact in self.trials.function.fails)
        for part in self.survey.of_kind("shielded cable"):
            runs = [run for run in strands(part) if run != ("shield",)]
            for run in runs if len(runs) > 1 else ():
                on_line = [end for end in run if self._is_line(part.at(end))]
                if len(on_line) == 1:
                    yield from ((part, end) for end in run if (end in on_line) == is_fed)

    def _misplaced_contacts(self) -> Iterator[tuple[Part, str]]:
        """Yield the contacts on the line of a switch that also serves what is not on the line: one
        that changes signals over, with a lead in the wrong place.
        """
        line_ends = {
            node
            for node in self.survey.ties.tied
            if self._is_line(node) and not self.survey.strangers(node)
        }
        for part in self.survey.of_kind("switch"):
            serves = any(self.survey.strangers(node) for _, node in part.pins)
            yield from ((part, pin) for pin, node in part.pins if serves and node in line_ends)

    def _is_line(self, node: str) -> bool:
        """Return whether a plug, a fuse, a switch or a primary is on a node by its line pins."""
        return any(
            (part.kind in ("plug", "fuse", "breaker", "switch") and terminal != "earth")
            or (part.kind == "transformer" and terminal.startswith("primary"))
            for part, terminal in self.survey.circuit.at.get(node, ())
        )

    def _does(self, edits: tuple[Action, ...], keys: list[Key]) -> bool:
        """Return whether edits clear findings without harm, or only take off the one pin or wire
        that is in the wrong place in a set with a power transformer.
        """
        trial = self.trials.trial(edits)
        if trial is None:
            return False
        match edits:
            case (LiftPin(name) | CutConductor(name),) if any(
                fact[0] == Aspect.PRIMARY for fact in trial.function.works
            ):
                return trial.clears_but_for(keys, [name])
        return trial.clears(keys)

    def _harms(self, edits: tuple[Action, ...]) -> bool:
        trial = self.trials.trial(edits) if edits else None
        return trial is None or bool(trial.added or trial.lost or trial.shorted)

    def least(
        self, everything: tuple[tuple[Action, ...], ...], hazard: Hazard
    ) -> tuple[Remedy, ...]:
        """Return the smallest part of a cut that clears one hazard."""
        for edits in everything if len(everything) > 1 else ():
            if self.trials.clears(edits, [_key(hazard)]):
                return self._told(edits)
        whole = _together(everything)
        is_move = any(isinstance(edit, FitPart) for edit in whole)
        for edit in whole if len(whole) > 1 and not is_move else ():
            if self.trials.clears((edit,), [_key(hazard)]):
                return self._told((edit,))
        return self._told(whole)

    # one hazard at a time

    def single(self, hazard: Hazard) -> tuple[Remedy, ...]:
        """Return the one part on the way to a hazard that clears it without harm."""
        for edits in self._on_the_way(hazard):
            if hazard.node not in self._tied_after(edits) and self.trials.clears(
                edits, [_key(hazard)]
            ):
                return self._told(edits)
        return self._off_the_line(hazard)

    def _off_the_line(self, hazard: Hazard) -> tuple[Remedy, ...]:
        """Return what takes off a line conductor the one part that has no business there: metal is
        lifted, and in place of an output transformer comes one that is made for the mains.
        """
        if hazard.node not in self.survey.primary.line:
            return ()
        keys = [_key(hazard)]
        for part, terminal in self.survey.strangers(hazard.node):
            if part.kind == "output transformer":
                exchange = power_transformer(part)
                return tuple(r for r in exchange if self.trials.clears(r.edits, keys))
            edits: tuple[Action, ...] = (LiftPin(part.name, terminal),)
            is_metal = part.kind in _METAL or terminal in METALWORK or terminal == "shield"
            for earthed in earthed_metal(self.survey)[:1] if is_metal else ():
                moved = reconnected(part, {terminal: earthed})
                if self.trials.clears(moved, keys):
                    return self._told(moved)
            if is_metal and self._does(edits, keys):
                return self._told(edits)
        return ()

    def _on_the_way(self, hazard: Hazard) -> Iterator[tuple[Action, ...]]:
        """Return candidates on the way to a hazard, the ones nearest to it first."""
        if any(step.out_of in METALWORK for step in hazard.path):
            yield from _bonds(self.survey, hazard.node)
        for step in reversed(hazard.path[1:]):
            part = self.survey.circuit.by_name.get(step.part)
            if (
                part is None
                or part.traits.is_overcurrent
                or part.traits.is_switch
                or part.kind in ("plug", "tube", "connector")
            ):
                continue
            if part.is_conductor:
                yield (CutConductor(part.name),)
            elif part.kind in _REMOVED:
                yield (RemovePart(part.name),)
            else:
                yield (LiftPin(part.name, step.out_of),)
                yield (LiftPin(part.name, step.into),)

    def _tied_after(self, edits: tuple[Action, ...]) -> frozenset[str]:
        """Return what is tied after some edits: far quicker than the whole check."""
        if edits not in self._without:
            circuit = edited(self.survey.circuit, edits)
            if circuit is None or len(self._without) >= _MOST_TRACED:
                return frozenset(self.survey.ties.tied)
            self._without[edits] = frozenset(trace_ties(circuit).tied)
        return self._without[edits]

    # edits and words

    def _edits(self, element: Element, cut: Cut) -> tuple[Action, ...]:
        """Return the edits that cut an element: conductor, part, or its pins on the line."""
        part = self.survey.circuit.by_name[element[0]]
        if part.is_conductor:
            return (CutConductor(part.name),)
        pins = [element[1]] if element[1] else self._line_pins(part, cut)
        lifted: tuple[Action, ...] = tuple(LiftPin(part.name, terminal) for terminal in pins)
        if part.kind not in _REMOVED or len(part.leads) != 2:
            return lifted
        trial = self.trials.trial(lifted) if lifted else None
        if trial is not None and part.kind not in _BLOCKING and any(unserved(trial)):
            return lifted
        removed = (RemovePart(part.name),)
        # The one pin in the wrong place of a part that the set needs.
        misplaced = len(lifted) == 1 and self._harms(removed) and not self._harms(lifted)
        return lifted if misplaced else removed

    def _line_pins(self, part: Part, cut: Cut) -> list[str]:
        return [
            terminal
            for terminal, node in part.pins
            if node in cut.line_side and (part, terminal) in self.survey.strangers(node)
        ]

    def _told(self, edits: tuple[Action, ...]) -> tuple[Remedy, ...]:
        if edits in self._words:
            return (Remedy(self._words[edits], edits),)
        trial = self.trials.trial(edits)
        words = " ".join(edit_words(self.survey, edit) for edit in _without_repeats(edits))
        also = afterwards(trial, edits) if trial is not None else ""
        return (Remedy(f"{words}{also}", edits),)


def _together(each: Iterable[tuple[Action, ...]]) -> tuple[Action, ...]:
    return tuple(edit for edits in each for edit in edits)


def _without_repeats(edits: tuple[Action, ...]) -> tuple[Action, ...]:
    """Return edits without the taking out of a part that the next edits fit again."""
    fitted = {edit.part.name for edit in edits if isinstance(edit, FitPart)}
    return tuple(
        edit for edit in edits if not (isinstance(edit, RemovePart) and edit.name in fitted)
    )


def _bonds(survey: Survey, node: str) -> Iterator[tuple[Action, ...]]:
    """Return the way to bond metal to the earth of the plug: a wire to where the earth comes in."""
    metal = earthed_metal(survey)
    if not metal:
        return
    part, _, terminal = node.partition(".")
    pot = survey.circuit.part(part) if terminal == "shaft" else None
    if pot is not None and pot.node("shaft") is None:
        pins = (*pot.pins, ("shaft", metal[0]))
        yield RemovePart(pot.name), FitPart(replace(pot, pins=pins))
        return
    yield (RunWire(bond(survey, node, metal[0])),)


def _is_dead(trial: Trial) -> bool:
    return any(fact[0] == Aspect.PRIMARY for fact in trial.function.fails)
