"""Type numbers of tubes and other parts, as the head of a part line states them."""

from __future__ import annotations

from dataclasses import dataclass

from lark import Token

from rework.circuit.parts import Value
from rework.language.head import Report
from rework.language.syntax import PartLine
from rework.tubes.tubetype import HeaterAlone
from rework.tubes.unlisted import HEATER_ROLE


@dataclass(frozen=True, slots=True)
class TubeHead:
    """What the head of a tube's line says: the type, empty after reporting, the words after it, and
    whether no basing is known, so that the tube is read as an unlisted one.

    ``heater`` has volts and amps where the library has them and no basing.
    """

    type: str = ""
    unlisted: bool = False
    rest: tuple[Token, ...] = ()
    heater: tuple[Value, ...] = ()


def tube_head(line: PartLine, rest: tuple[Token, ...], report: Report) -> TubeHead:
    """Return what the head of a tube's line says after the word tube.

    A type of which the library knows the heater alone is read as an unlisted tube with that
    heater, and a caution is reported.
    """
    from rework.tubes import library

    unlisted = bool(rest) and rest[0] == "unlisted"
    if unlisted:
        rest = rest[1:]
    if len(rest) > 1 and rest[0] == "type":
        rest = rest[1:]
    if not rest:
        report(
            line.head[0],
            f"{line.name} is a tube without a type",
            expected="a type such as 12AU6",
            hint="write the type after the word tube",
        )
        return TubeHead()
    if rest[0] == "tube":
        report(
            rest[0],
            "the word tube is there twice",
            expected="a type such as 12AU6",
            hint="remove one",
        )
        return TubeHead()
    for count in (3, 2):
        type_ = "".join(map(word_of, rest[:count]))
        if not unlisted and len(rest) >= count and library.is_known(type_):
            return TubeHead(type_, rest=rest[count:])  # ECC 83
    type_ = _one_of_both(word_of(rest[0]))
    known = None if unlisted else library.without_basing(type_)
    if known is None:
        return TubeHead(type_, unlisted, rest[1:])
    return TubeHead(type_, True, rest[1:], _stated_heater(known, rest[0], report))


def _one_of_both(type_: str) -> str:
    """Return one type of a tube that is called by two names (``ECC83/12AX7``); else the same."""
    from rework.tubes import library

    names = type_.split("/")
    if names[1:] == ["G"] and library.is_known(names[0]):
        return names[0]  # 6V6GT/G takes the place of either
    if names[1:] == ["GT"] and library.is_known("".join(names)):
        return "".join(names)
    known = [library.find(name) for name in names]
    both = len(names) > 1 and library.find(type_) is None and known[0] is not None
    return names[0] if both and all(each is known[0] for each in known) else type_


def _stated_heater(known: HeaterAlone, token: Token, report: Report) -> tuple[Value, ...]:
    """Return the heater of a type without a basing as its line would state it, and report the
    caution.
    """
    volts, amps = known.volts.value, known.amps.value
    report(
        token,
        f"the pins of {known.type} are not known: the mains check takes all of them as joined",
        expected=f"a type with its basing; of this one only the heater is known, {volts:g} V"
        f" {amps:g} A ({known.volts.trust})",
        hint="look up the pins on its sheet before you trust any of them; they may be written by"
        " number or by element, as in plate=P1",
        severity="caution",
    )
    return (
        Value("voltage", volts, HEATER_ROLE, f"{volts:g} V"),
        Value("current", amps, "", f"{amps:g} A"),
    )


def word_of(token: Token) -> str:
    """Return a type number: ``10V`` and ``10 V`` are one, and quotation marks are no part of it."""
    return str(token)[1:-1] if token.type == "STRING" else "".join(token.split())
