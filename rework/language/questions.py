"""Words of the bench in the head of a part that may mean two things, or that are written elsewhere
in a line: what is asked about each.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from lark import Token

from rework.circuit.kinds import Kind, Law
from rework.circuit.parts import Value
from rework.language.mistakes import a_or_an, nearest
from rework.language.quantity import QuantityError, begun, read_value, spaced, write_value
from rework.language.stumble import EACH_SECTION, capacitance_and_volts
from rework.language.units import EXAMPLES


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked about a word: the message, what was expected, and what to write instead.

    ``hides`` is whether the words behind it are no more than its rest.
    """

    message: str
    expected: str
    hint: str
    hides: bool = False


#: Three digits, and the unit behind them.
_GROUP = re.compile(r"[0-9]{3}\s*[a-zA-Zµμ\u03a9\u2126]")
#: Resistors by old European drawings (470E), capacitors by their three digits (473K), a turns ratio
#: or loads that are not split by a colon, and two halves of a winding.
_OHMS = re.compile(r"(\d+)[eE](\d*)")
_CODE = re.compile(r"(\d\d)([1-6])\s*([JKMjkm]?)")
_SLASHED = re.compile(r"(\d[\w.]*)/(\d[\w.]*)")
_THOUSANDS = re.compile(r"\d+\.?\d*\s*[kK]\d*")
_TWICE = re.compile(r"2[x*](\d+)(?:\s*V)?", re.IGNORECASE)
_TOLERANCES = {"": "", "J": " 5%", "K": " 10%", "M": " 20%"}
_METAL = frozenset(("metal", "bushing", "body", "case", "holder", "frame", "bonded"))
_TAPERS = {"a": "audio or linear", "b": "linear or audio", "c": "reverse-audio"}


def question(kind: Kind, text: str, following: str = "") -> Question | None:
    """Return what to ask about a word that may be none of a kind; None where it is only strange.

    ``following`` is the word behind it.
    """
    asks = _OF_KIND.get(kind.name)
    if asks is None:
        asks = _OF_KIND[kind.name] = tuple(ask for of, ask in _ASKED if of(kind))
    told = (ask(kind, text) for ask in asks)
    asked = next((each for each in told if each is not None), None)
    if asked and not asked.hint and kind.name == "output transformer" and is_value(following):
        return replace(asked, hint=f"write {text} : {following}")
    return asked or _thousands(kind, text, following)


def coded(text: str) -> str:
    """Return the capacitance that three digits on a capacitor are a code of, with its tolerance
    (``473K`` is 47 nF 10%; IEC 60062); an empty string for anything else.
    """
    code = _CODE.fullmatch(text)
    if code is None:
        return ""
    farads = float(f"{code[1]}e{int(code[2]) - 12}")
    return write_value(Value("capacitance", farads)) + _TOLERANCES[code[3].upper()]


def _thousands(kind: Kind, text: str, following: str) -> Question | None:
    """Ask about a number with a blank between thousands (``10 000 pF``), or with its two loads one
    behind the other.
    """
    first = {"resistance", "capacitance"}.intersection(kind.dimensions)
    group = _GROUP.match(following)
    if not first or group is None or not re.fullmatch(r"[1-9][0-9]?[0-9]?", text):
        return None
    joined = f"{text}{following}"
    if not is_value(joined) or read_value(joined).dimension not in first:
        return None
    return Question(
        f"{text} {following} may be one value with a blank between thousands, or two",
        EXAMPLES[next(iter(first))],
        f"write {spaced(joined)} if it is one",
        hides=True,
    )


def _switched(_kind: Kind, text: str) -> Question | None:
    if text.lower() not in ("with", "w/switch", "with-switch", "switch", "switched"):
        return None
    return Question(
        "the switch on a pot is a part of its own",
        "a line for the switch, as in S1 switch on R1 : A -- B",
        "write the switch on a line of its own",
        hides=True,
    )


def _centimetres(_kind: Kind, text: str) -> Question | None:
    length = re.fullmatch(r"([0-9]+)\s*cm", text)
    if length is None:
        return None
    farads = Value("capacitance", float(f"{float(length[1]) * 1.1127:.3g}e-12"))
    return Question(
        f"{text} on a capacitor are centimetres, an old unit of capacitance",
        "a capacitance such as 0.05 uF, 10n or 2n2",
        f"write {write_value(farads)}",  # one centimetre is 1.1127 pF (CGS electrostatic units)
    )


def _sections(_kind: Kind, text: str) -> Question | None:
    if not re.fullmatch(r"[0-9]+[xX*][0-9.]+[a-zA-Zµμ]*", text):
        return None
    return Question("two values are written as one", "one value", EACH_SECTION, hides=True)


def _timed(_kind: Kind, text: str) -> Question | None:
    timed = re.fullmatch(r"(?P<value>[0-9.]+\s*m?A)[ /]?(?P<speed>[TF])", text)
    if timed is None:
        return None
    speed = "slow" if timed["speed"] == "T" else "fast"
    return Question(
        f"{text} is a value and a letter in one",
        "a current such as 1 A or 80 mA, and slow or fast",
        f"did you mean {spaced(timed['value'])} {speed}?",
    )


def _taper(_kind: Kind, text: str) -> Question | None:
    if text.lower() not in _TAPERS:
        return None
    return Question(
        f"the letter {text} on a pot is one taper on American and Japanese parts and another on"
        " older European ones",
        "audio, linear or reverse-audio",
        f"write {_TAPERS[text.lower()]}",
    )


def _tapped(_kind: Kind, text: str) -> Question | None:
    if text.lower() not in ("tapped", "tap"):
        return None
    return Question(
        "a pot has no tap here",
        "ccw=NODE, wiper=NODE, cw=NODE",
        "leave the tap out with what is on it and say so in a remark, or write part unlisted with"
        " its pins",
        hides=True,
    )


def _old_ohms(_kind: Kind, text: str) -> Question | None:
    ohms = _OHMS.fullmatch(text)
    if ohms is None:
        return None
    meant = f"{ohms[1]}.{ohms[2]}" if ohms[2] else ohms[1]
    return Question(
        f"{text} has no unit that is known here",
        "a resistance such as 220k, 4k7 or 150 ohm",
        f"did you mean {meant} ohm?",
    )


def _code(_kind: Kind, text: str) -> Question | None:
    if not text[-1:].isalpha() or not coded(text):
        return None
    return Question(
        f"{text} on a capacitor looks like a code of three digits",
        "a capacitance such as 0.05 uF, 10n or 2n2",
        f"did you mean {coded(text)}?",
    )


def _volts_too(_kind: Kind, text: str) -> Question | None:
    if "/" not in text or not (meant := capacitance_and_volts(text)):
        return None
    return Question(
        "a capacitance and volts have a slash between them",
        "each value with its unit",
        f"did you mean {meant}?",
    )


def _loads(_kind: Kind, text: str) -> Question | None:
    expected = "the loads at the plates and at the speaker, as in output transformer 5k : 4"
    if (both := _SLASHED.fullmatch(text)) is not None:
        return Question(
            f"{text} may be two loads or a fraction",
            expected,
            f"write {both[1]} : {both[2]}",
            hides=True,
        )
    if _THOUSANDS.fullmatch(text) is not None:
        return Question(
            f"the load {text} is stated at its winding, or before a second colon",
            expected,
            "",
            hides=True,
        )
    if text.lower() != "ratio":
        return None
    return Question(
        "the ratio of an output transformer does not say what it is made for",
        expected,
        "a ratio of 40 to 1 with 4 ohm behind it is 40 x 40 x 4 ohm: write 6.4k : 4",
        hides=True,
    )


def _halves(_kind: Kind, text: str) -> Question | None:
    half = _TWICE.fullmatch(text)
    if half is None:
        return None
    return Question(
        f"{text} is not how two halves of a winding are written",
        f"volts such as {half[1]}-0-{half[1]} V",
        f"write {half[1]}-0-{half[1]} V = START -- TAP -- FINISH",
        hides=True,
    )


def _metal(kind: Kind, text: str) -> Question | None:
    terminal = next((name for name in ("frame", "can") if name in kind.optional), "")
    if text.lower() not in _METAL or not terminal:
        return None
    return Question(
        f"the metal of a part is a terminal of its own, and {text} is no word of it",
        f"{terminal}=NODE behind the colon",
        f"write {terminal}= and the node that it is on, such as {terminal}=CHASSIS",
        hides=True,
    )


def _position(_kind: Kind, text: str) -> Question | None:
    if text.lower() not in ("position", "pos"):
        return None
    return Question(
        "the position of a switch is named by its throw",
        "in OFF, in ON, or in throw2 for the second of its throws",
        "write in throw2",
        hides=True,
    )


def _one_contact(kind: Kind, text: str) -> Question | None:
    style = re.fullmatch(r"(SPST|DPST)-?(NO|NC)", text.upper())
    if style is None:
        return None
    rest = "OFF" if style[2] == "NO" else "ON"
    return Question(
        f"{text} is not a word for a {kind.name}",
        "poles and throws, and the position that is drawn",
        f"write {style[1]} in {rest}",
    )


#: What asks about a word, and of which kinds it may be.
_ASKED: tuple[tuple[Callable[[Kind], bool], Callable[[Kind, str], Question | None]], ...] = (
    (lambda kind: kind.law is Law.TRACK, _taper),
    (lambda kind: kind.law is Law.TRACK, _tapped),
    (lambda kind: kind.law is Law.TRACK, _switched),
    (lambda kind: kind.law is Law.CAPACITANCE, _centimetres),
    (lambda kind: kind.law is Law.CAPACITANCE, _sections),
    (lambda kind: "slow" in kind.words, _timed),
    (lambda kind: kind.law is Law.RESISTANCE, _old_ohms),
    (lambda kind: kind.law is Law.CAPACITANCE, _code),
    (lambda kind: kind.law is Law.CAPACITANCE, _volts_too),
    (lambda kind: kind.name == "output transformer", _loads),
    (lambda kind: kind.name == "winding", _halves),
    (lambda kind: bool({"frame", "can"} & {*kind.optional}), _metal),
    (lambda kind: kind.is_switch, _position),
    (lambda kind: kind.is_switch, _one_contact),
)
#: Those of each kind, by its name, kept as kinds are met.
_OF_KIND: dict[str, tuple[Callable[[Kind, str], Question | None], ...]] = {}


def is_value(text: str) -> bool:
    """Return whether a text is a value with its unit."""
    try:
        read_value(text)
    except QuantityError:
        return False
    return True


def is_marked(token: Token, dimensions: tuple[str, ...]) -> bool:
    """True for a value in IEC 60062 marking that looks like a name: R47 on a resistor, p10 or n47
    on a capacitor.
    """
    letters = "R" if "resistance" in dimensions else "pnu" if "capacitance" in dimensions else ""
    return token[0] in letters and token.type == "WORD" and token[1:].isdigit()


def strange_word(kind: Kind, token: Token, report: Callable[..., None]) -> bool:
    """Report a word that is not a word for a kind; return whether a near one is known that was
    probably meant.
    """
    known = sorted(kind.words | kind.settings)
    if token.type == "STRING":
        report(
            token,
            "a remark is before the colon",
            expected="the remark at the end of the line",
            hint="move it behind the connections",
        )
        return False
    timed = begun(token[1:], kind.dimensions) or token[1:]
    if "class" in kind.settings and token.upper() in kind.classes:
        near = f"class {token.upper()}"
    elif "slow" in kind.words and token[:1] in "TF" and is_value(timed):
        near = f"{spaced(timed)} {'slow' if token.startswith('T') else 'fast'}"
    else:
        near = nearest(str(token), known)
    value = "" if near else begun(token, kind.dimensions)
    near = near or value
    report(
        token,
        f"{token} is not a word for {a_or_an(kind.name)}",
        near=lambda: near,
        hint=""
        if value
        else 'put further words into a remark between two " at the end of the line',
        expected="a value, or one of " + ", ".join(known) if known else "a value",
    )
    return bool(near)
