"""Remedies are tried: the edits are made on the circuit, and the whole check is run on what comes
of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from rework.anatomy.function_row import Aspect
from rework.circuit.circuit import Circuit
from rework.circuit.edits import Action, EditError, apply_edit
from rework.safety.findings import Caution, Finding, Hazard
from rework.safety.function import Fact, Function
from rework.safety.survey import Survey

#: What a finding is about: its sort, then the node, or the part and pin.
Key = tuple[str, ...]
#: What is found where a lead was taken off: a heater has lost its feed, metal its bond.
OF_A_LEAD = frozenset({"heater-not-fed", "heater-currents", "not-bonded"})
#: No more edits than this are tried on one circuit, and on a large one no more than make so many
#: parts to check in all.
MOST_TRIALS = 48
MOST_PARTS = 200_000


def key_of(finding: Finding) -> Key | None:
    """Return what a finding is about where it makes the exit status 1, else None."""
    match finding:
        case Hazard():
            return "hazard", finding.node
        case Caution(weight="must"):
            return finding.key, finding.part, finding.pin, "" if finding.part else finding.node
    return None


@dataclass(frozen=True, slots=True)
class Trial:
    """What some edits do: the findings gone, the findings added, what no longer works, what is
    joined that must never be.
    """

    survey: Survey
    gone: frozenset[Key]
    added: frozenset[Key]
    lost: frozenset[Fact]
    shorted: bool
    function: Function

    def clears(self, keys: Iterable[Key]) -> bool:
        """Return whether the edits clear some findings and do no harm."""
        return self.gone.issuperset(keys) and not (self.added or self.lost or self.shorted)

    def clears_but_for(self, keys: Iterable[Key], parts: Iterable[str]) -> bool:
        """Return whether the edits clear some findings, and the harm is only that ``parts`` are
        not connected any more, or that a heater or metal has lost a lead.
        """
        names = set(parts)
        return (
            self.gone.issuperset(keys)
            and not self.shorted
            and all(key[0] in OF_A_LEAD or key[1] in names for key in self.added)
            and all(key[0] != "hazard" for key in self.added)
            and all(fact[0] != Aspect.PRIMARY for fact in self.lost)
        )


class Trials:
    """The edits tried on one circuit, each set of edits once."""

    def __init__(
        self,
        survey: Survey,
        keys: frozenset[Key],
        keys_of: Callable[[Survey], frozenset[Key]],
    ) -> None:
        self.survey, self.keys, self._keys_of = survey, keys, keys_of
        self._tried: dict[tuple[Action, ...], Trial | None] = {}
        self._function: Function | None = None

    @property
    def function(self) -> Function:
        """What works before anything is changed."""
        if self._function is None:
            self._function = Function(self.survey)
        return self._function

    def trial(self, edits: tuple[Action, ...]) -> Trial | None:
        """Return what some edits do; None where they cannot be made, or enough was tried."""
        if edits not in self._tried:
            spent = len(self._tried) * len(self.survey.circuit.parts)
            enough = len(self._tried) >= MOST_TRIALS or spent > MOST_PARTS
            self._tried[edits] = None if enough else self._try(edits)
        return self._tried[edits]

    def clears(self, edits: tuple[Action, ...], keys: Iterable[Key]) -> bool:
        """Return whether some edits can be made, clear some findings and do no harm."""
        trial = self.trial(edits)
        return trial is not None and trial.clears(keys)

    def _try(self, edits: tuple[Action, ...]) -> Trial | None:
        circuit = edited(self.survey.circuit, edits)
        if circuit is None:
            return None
        survey = Survey(circuit)
        keys, after = self._keys_of(survey), Function(survey)
        failed = {fact[:2] for fact in self.function.fails}
        newly = {fact for fact in after.fails if fact[:2] not in failed}
        return Trial(
            survey,
            self.keys - keys,
            keys - self.keys,
            (self.function.works - after.works_under_any) | newly,
            bool(shorts(survey) - shorts(self.survey)),
            after,
        )


def edited(circuit: Circuit, edits: Iterable[Action]) -> Circuit | None:
    """Return the circuit after some edits, or None where one of them cannot be made."""
    try:
        for edit in edits:
            circuit = apply_edit(circuit, edit)
    except EditError:
        return None
    return circuit


def shorts(survey: Survey) -> frozenset[tuple[str, str, str]]:
    """Return (plug, pin, pin) for every two pins of a plug that conductors, fuses and closed
    contacts join: a blade to the other blade, or a blade to the earth.
    """
    joined: set[tuple[str, str, str]] = set()
    for plug in survey.plugs:
        pins = [(terminal, survey.rail[node]) for terminal, node in plug.pins]
        for number, (pin, point) in enumerate(pins):
            joined.update(
                (plug.name, pin, other) for other, there in pins[number + 1 :] if there == point
            )
    return frozenset(joined)
