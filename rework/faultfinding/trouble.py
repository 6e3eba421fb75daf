"""One thing that can be wrong with a set: what it does to the circuit and how likely it is."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path

from rework.circuit.circuit import Circuit
from rework.circuit.edits import Action, EditError, apply_edit


class TroubleKind(StrEnum):
    """What sort of trouble it is; each has its weight in ``weights.toml``."""

    RESISTOR_OPEN = "resistor-open"
    RESISTOR_OFF = "resistor-off"
    RESISTOR_SHORT = "resistor-short"
    WRONG_VALUE = "wrong-value"
    CAPACITOR_OPEN = "capacitor-open"
    CAPACITOR_DRY = "capacitor-dry"
    CAPACITOR_LEAKY = "capacitor-leaky"
    CAPACITOR_SHORT = "capacitor-short"
    CAPACITOR_REVERSED = "capacitor-reversed"
    TUBE_WEAK = "tube-weak"
    TUBE_DEAD = "tube-dead"
    HEATER_OPEN = "heater-open"
    TUBE_GASSY = "tube-gassy"
    HEATER_CATHODE = "heater-cathode"
    ELECTRODES_TOUCH = "electrodes-touch"
    WRONG_TUBE = "wrong-tube"
    STRING_TURNED = "string-turned"
    SWITCH_STUCK = "switch-stuck"
    PIN_OPEN = "pin-open"
    PINS_SWAPPED = "pins-swapped"
    PINS_BRIDGED = "pins-bridged"
    ONE_PIN_OFF = "one-pin-off"
    WINDING_OPEN = "winding-open"
    TURNS_SHORTED = "turns-shorted"
    LEADS_SWAPPED = "leads-swapped"
    WIRE_MISSING = "wire-missing"
    CONTACT_OPEN = "contact-open"
    POT = "pot"
    FUSE_BLOWN = "fuse-blown"
    RECTIFIER_OPEN = "rectifier-open"
    RECTIFIER_SHORT = "rectifier-short"
    PART_OPEN = "part-open"
    NOT_DONE = "not-done"
    HALF_DONE = "half-done"
    AT_NEIGHBOUR = "at-the-neighbour"
    SOUND = "sound"


#: Kinds that are about a step of the job.
OF_THE_JOB = frozenset({TroubleKind.NOT_DONE, TroubleKind.HALF_DONE, TroubleKind.AT_NEIGHBOUR})
#: Kinds of wiring, which are raised where the job worked.
OF_WIRING = frozenset(
    {
        TroubleKind.WRONG_VALUE,
        TroubleKind.RESISTOR_SHORT,
        TroubleKind.WRONG_TUBE,
        TroubleKind.CAPACITOR_REVERSED,
        TroubleKind.STRING_TURNED,
        TroubleKind.PIN_OPEN,
        TroubleKind.PINS_SWAPPED,
        TroubleKind.PINS_BRIDGED,
        TroubleKind.ONE_PIN_OFF,
        TroubleKind.LEADS_SWAPPED,
        TroubleKind.WIRE_MISSING,
        TroubleKind.CONTACT_OPEN,
    }
)


@dataclass(frozen=True, slots=True)
class Emission:
    """A tube whose cathode current is so many times its own; 0 is a dead one. ``unit`` "" is every
    unit of the bulb.
    """

    part: str
    unit: str
    times: float


@dataclass(frozen=True, slots=True)
class Gas:
    """A tube that drives ``share`` of its plate current back into its grid."""

    part: str
    unit: str
    share: float


Law = Emission | Gas


@dataclass(frozen=True, slots=True)
class SingleTrouble:
    """One trouble in one severity.

    Attributes
    ----------
    kind, part, at
        What it is, of which part, and where on it: a terminal, two of them, a unit, a rule.
    severity, level
        How bad, in words that end its name ("x2", "30 kohm"), "" where there is only one; and as
        the number that goes from nothing to worse, 0 where it has none.
    actions, laws
        What it changes in the circuit, and in the laws of its tubes.
    weight
        How likely it is beside the others; only ratios count.
    inside
        Whether the break is inside the part, so that a probe on the pin stays with the wiring.
    step
        The number of the edit of the job that it is about, -1 for none.
    """

    kind: TroubleKind
    part: str
    at: tuple[str, ...] = ()
    severity: str = ""
    level: float = 0.0
    actions: tuple[Action, ...] = ()
    laws: tuple[Law, ...] = ()
    weight: float = 1.0
    inside: bool = False
    step: int = -1

    @property
    def key(self) -> str:
        """Return its name without the severity, one for each thing that can be wrong."""
        return " ".join((self.kind, self.part, *self.at))

    def made(self, circuit: Circuit) -> Circuit:
        """Return a circuit with the trouble in it.

        Raises EditError where it cannot be made on this circuit.
        """
        for action in self.actions:
            circuit = apply_edit(circuit, action)
        return circuit


#: The level at which a trouble of a kind is none, or None where there is no such level: these have
#: any level between those of the list.
HARMLESS: dict[TroubleKind, float | None] = {
    TroubleKind.CAPACITOR_SHORT: None,
    TroubleKind.RESISTOR_SHORT: None,
    TroubleKind.ELECTRODES_TOUCH: None,
    TroubleKind.RECTIFIER_SHORT: None,
    TroubleKind.RESISTOR_OFF: 1.0,
    TroubleKind.CAPACITOR_DRY: 1.0,
    TroubleKind.CAPACITOR_LEAKY: float("inf"),
    TroubleKind.TUBE_WEAK: 1.0,
    TroubleKind.TUBE_GASSY: 0.0,
    TroubleKind.HEATER_CATHODE: float("inf"),
}
#: Nothing is wrong.
SOUND = SingleTrouble(TroubleKind.SOUND, "")
#: How likely it is, before anything is read, that nothing is wrong: a set has no less chance to be
#: sound where it has more parts, or its job more steps, that could be wrong. Our guess: most sets
#: of which anybody reads volts do not work. No figure for sets was found; of tubes that were pulled
#: one in three was good (ARINC, abstract at search.isc.ac 935060), which would make it larger.
SOUND_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class TroubleWeight:
    """How likely a kind of trouble is, and where that comes from."""

    weight: float
    source: str


@cache
def weights() -> Mapping[str, TroubleWeight]:
    """Return the weight of every kind by its name."""
    text = Path(__file__).with_name("weights.toml").read_text(encoding="utf-8")
    return {
        name: TroubleWeight(float(row["weight"]), str(row["source"]))
        for name, row in tomllib.loads(text).items()
    }


def is_possible(trouble: SingleTrouble, circuit: Circuit) -> bool:
    """Return whether a trouble can be made on a circuit."""
    try:
        trouble.made(circuit)
    except EditError:
        return False
    return True
