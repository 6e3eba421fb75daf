"""The load on each side of an output transformer as the trade writes it: ``2.5k : 4``."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from lark import Token

from rework.circuit import taps
from rework.circuit.kinds import OF_A_WINDING, Form, Kind, Passes
from rework.circuit.parts import Value
from rework.language.head import Report, read_cached
from rework.language.mistakes import SECOND_COLON
from rework.language.quantity import QuantityError, write_value
from rework.language.spellings import CENTRE_TAPPED
from rework.language.syntax import PartLine

#: Terminals of a transformer that are no winding.
_NO_WINDING = ("core", "screen", "shield")
#: The role of the ohms that a winding works into.
LOAD = "load"
#: What may be said of a winding; plain ``2.5k`` are ohms on an output transformer's.
WINDING = Kind(
    "winding", Form.WINDINGS, Passes.WINDINGS, dimensions=OF_A_WINDING, settings=frozenset()
)
OUTPUT_WINDING = replace(
    WINDING, dimensions=("resistance", *(each for each in OF_A_WINDING if each != "resistance"))
)


@dataclass(frozen=True, slots=True)
class Loads:
    """What is said of the primary and of the secondary of a transformer between its two colons, and
    the words of the head without them: the loads of an output transformer, the volts and amperes of
    another.
    """

    primary: tuple[Value, ...]
    secondary: tuple[Value, ...]
    head: tuple[Token, ...]


def loads_of(kind: Kind, line: PartLine, head: tuple[Token, ...], report: Report) -> Loads | None:
    """Return what stands on both sides of the first of two colons of a line, or None after
    reporting why nothing does; ``head`` has the words behind the kind.
    """
    if kind.name == "transformer" and (volts := _volts_of(line, head)) is not None:
        return volts
    if kind.name != "output transformer" or not head:
        explanation, hint = SECOND_COLON, SECOND_COLON.hint
        if kind.form is Form.WINDINGS:
            hint = "state the volts of each winding, as in primary 117 V = A -- B"
        report(line.ratio[0], explanation.message, expected=explanation.expected, hint=hint)
        return None
    plates = [at for at, token in enumerate(head) if _ohms(token) is not None]
    plate_at = plates[-1] if plates else 0
    plate, speaker = _ohms(head[plate_at]), _ohms(line.ratio[0])
    if plate is None or speaker is None:
        report(
            head[plate_at] if plate is None else line.ratio[0],
            "an output transformer states its load at the plates and at the speaker here",
            expected="two loads in ohms, as in output transformer 2.5k : 4",
        )
        return None
    words = (*head[:plate_at], *head[plate_at + 1 :], *line.ratio[1:])
    return Loads((plate,), (speaker,), words)


def _volts_of(line: PartLine, head: tuple[Token, ...]) -> Loads | None:
    """Return the volts of ``117 V : 6.3 V 1 A``, with what else is said of the secondary; None
    where there are no volts on either side.
    """
    read = [(token, _value(token)) for token in head]
    ratio = tuple(token for token in line.ratio if token.lower() not in CENTRE_TAPPED)
    centre = (Value("fraction", 0.5, taps.role(1), "50%"),) if len(ratio) < len(line.ratio) else ()
    primary = [(token, value) for token, value in read if value and value.dimension == "voltage"]
    secondary = [_value(token) for token in ratio]
    known = [value for value in secondary if value is not None]
    if len(primary) != 1 or len(known) < len(secondary):
        return None
    known += centre
    if not known or known[0].dimension != "voltage":
        return None
    ((token, volts),) = primary
    return Loads((volts,), tuple(known), tuple(each for each in head if each is not token))


def _value(token: Token) -> Value | None:
    try:
        return read_cached(str(token))
    except QuantityError:
        return None


def _ohms(token: Token) -> Value | None:
    """Return a load in ohms, plain numbers included; None for anything else."""
    text = f"{token} ohm" if token.type == "NUMBER" else str(token)
    try:
        value = read_cached(text, bare="resistance", role=LOAD)
    except QuantityError:
        return None
    return value if value.dimension == "resistance" else None


def loaded(
    wound: Iterable[str], windings: Mapping[str, tuple[Value, ...]], loads: Loads, report: Report
) -> tuple[tuple[str, tuple[Value, ...]], ...]:
    """Return the values of a transformer's windings with those that its head states.

    ``wound`` names the windings that are connected, ``windings`` has the values of those that state
    any.
    """
    names, valued = tuple(wound), dict(windings)
    first = next((name for name in names if name.startswith("primary")), "")
    other = [name for name in names if name.startswith("secondary")] or [
        name for name in names if not name.startswith(("primary", *_NO_WINDING))
    ]
    for side, name, values in (
        ("primary", first, loads.primary),
        ("secondary", other[0] if len(other) == 1 else "", loads.secondary),
    ):
        stated = valued.get(name, ())
        said = {(value.dimension, value.role) for value in stated}
        if name and not any((value.dimension, value.role) in said for value in values):
            valued[name] = (*stated, *values)
            continue
        what = "load" if values[0].role == LOAD else "volts"
        report(
            f"the {what} of the {side} {'is' if what == 'load' else 'are'} stated twice"
            if name
            else f"there is no {side} for the {what} of {write_value(values[0])}",
            expected="primary = A -- B, secondary = C -- D",
        )
    return tuple(valued.items())


def ask_for_load(values: tuple[Value, ...], report: Report) -> None:
    """Report plain ohms that are all a winding of an output transformer states: they may be two
    things.
    """
    ohms = [value for value in values if value.dimension == "resistance"]
    if len(ohms) != 1 or ohms[0].role:
        return
    text = write_value(ohms[0])
    report(
        f"{text} on a winding of an output transformer may be its load or its own resistance",
        expected="load OHMS, or dcr OHMS",
        hint=f"write load {text} or dcr {text}",
    )
