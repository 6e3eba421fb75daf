"""Words of the bench in the head of a part that may mean two things, or that are written elsewhere
in a line: what is asked about each.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import lru_cache

from lark import Token

from rework.circuit.kinds import Kind, Law
from rework.circuit.parts import Value
from rework.language.doubtful import DOUBTFUL, Asks, Question
from rework.language.mistakes import a_or_an, nearest
from rework.language.quantity import begun, is_value, read_value, spaced, write_value
from rework.language.stumble import EACH_SECTION, capacitance_and_volts
from rework.language.units import EXAMPLES
from rework.language.winding_questions import OF_WINDINGS

#: Three digits, and the unit behind them.
_GROUP = re.compile(r"[0-9]{3}\s*[a-zA-Zµμ\u03a9\u2126]")
#: Resistors by old European drawings (470E), capacitors by their three digits (473K).
_OHMS = re.compile(r"(\d+)[eE](\d*)")
_CODE = re.compile(r"(\d\d)([1-6])\s*([JKMjkm]?)")
#: A ballast by its RMA code: letters for its lamps, the volts in all, the circuit's letter.
_BALLAST = re.compile(r"B?[KLM]X?([0-9]{2})[A-Z]")
_TOLERANCES = {"": "", "J": " 5%", "K": " 10%", "M": " 20%"}
_METAL = frozenset(("metal", "bushing", "body", "case", "holder", "frame", "bonded"))
_POSITIONS = {
    **dict.fromkeys(("half", "half-way", "halfway", "mid", "middle", "centre", "center"), "50%"),
    **dict.fromkeys(("full", "max", "up"), "100%"),
    **dict.fromkeys(("min", "zero", "down"), "0%"),
}
_BLADES = {"2": "two-blade", "two": "two-blade", "3": "three-pin", "three": "three-pin"}
_TAPERS = {"a": "audio or linear", "b": "linear or audio", "c": "reverse-audio"}


def question(kind: Kind, text: str, following: Sequence[str] = ()) -> Question | None:
    """Return what to ask about a word that may be none of a kind; None where it is only strange.

    ``following`` are the words behind it.
    """
    if kind.name not in _OF_KIND:
        asks = tuple(ask for of, ask in (*_ASKED, *OF_WINDINGS, *DOUBTFUL) if of(kind))
        _OF_KIND[kind.name] = kind, asks
    return _asked(kind.name, text, tuple(following))


@lru_cache(maxsize=4096)
def _asked(name: str, text: str, following: tuple[str, ...]) -> Question | None:
    """Return the first question about a word of a kind: a large file has few different values."""
    kind, asks = _OF_KIND[name]
    told = (ask(kind, text, following) for ask in asks)
    return next((each for each in told if each is not None), None)


def coded(text: str) -> str:
    """Return the capacitance that three digits on a capacitor are a code of, with its tolerance
    (``473K`` is 47 nF 10%; IEC 60062); an empty string for anything else.
    """
    code = _CODE.fullmatch(text)
    if code is None:
        return ""
    farads = float(f"{code[1]}e{int(code[2]) - 12}")
    return write_value(Value("capacitance", farads)) + _TOLERANCES[code[3].upper()]


def _thousands(kind: Kind, text: str, following: Sequence[str]) -> Question | None:
    """Ask about a number with a blank between thousands (``10 000 pF``), or with its two loads one
    behind the other.
    """
    first = {"resistance", "capacitance"}.intersection(kind.dimensions)
    behind = following[0] if following else ""
    if not first or not _GROUP.match(behind) or not re.fullmatch(r"[1-9][0-9]?[0-9]?", text):
        return None
    joined = f"{text}{behind}"
    if not is_value(joined) or read_value(joined).dimension not in first:
        return None
    return Question(
        f"{text} {behind} may be one value with a blank between thousands, or two",
        EXAMPLES[next(iter(first))],
        f"write {spaced(joined)} if it is one",
        hides=True,
    )


def _switched(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    if text.lower() not in ("with", "w/", "w/switch", "with-switch", "switch", "switched"):
        return None
    return Question(
        "the switch on a pot is a part of its own",
        "a line for the switch, as in S1 switch on R1 : A -- B",
        "write the switch on a line of its own",
        hides=True,
    )


def _centimetres(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    length = re.fullmatch(r"([0-9]+)\s*cm", text)
    if length is None:
        return None
    farads = Value("capacitance", float(f"{float(length[1]) * 1.1127:.3g}e-12"))
    return Question(
        f"{text} on a capacitor are centimetres, an old unit of capacitance",
        "a capacitance such as 0.05 uF, 10n or 2n2",
        f"write {write_value(farads)}",  # one centimetre is 1.1127 pF (CGS electrostatic units)
    )


def _sections(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    if not re.fullmatch(r"[0-9]+[xX*][0-9.]+[a-zA-Zµμ]*", text):
        return None
    return Question("two values are written as one", "one value", EACH_SECTION, hides=True)


def _timed(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    timed = re.fullmatch(r"(?P<value>[0-9.]+\s*m?A)[ /]?(?P<speed>[TF])", text)
    if timed is None:
        return None
    speed = "slow" if timed["speed"] == "T" else "fast"
    return Question(
        f"{text} is a value and a letter in one",
        "a current such as 1 A or 80 mA, and slow or fast",
        f"did you mean {spaced(timed['value'])} {speed}?",
    )


def _taper(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    if text.lower() not in _TAPERS:
        return None
    return Question(
        f"the letter {text} on a pot is one taper on American and Japanese parts and another on"
        " older European ones",
        "audio, linear or reverse-audio",
        f"write {_TAPERS[text.lower()]}",
    )


def _tapped(_kind: Kind, text: str, following: Sequence[str]) -> Question | None:
    word, behind = text.lower(), [*map(str.lower, following), ""]
    loudness = word in ("with", "w/", "loudness") and any("tap" in each for each in behind[:3])
    at = behind[1] if behind[0] == "at" else behind[0]
    if not loudness and (word not in ("tap", "tapped") or at[:1].isdigit() or at[:1] == "."):
        return None
    return Question(
        "where the tap of a pot is on its track is said by the word tap and ohms or per cent",
        "the ohms from ccw to the tap, as in pot 1M tap 250k, and tap=NODE behind the colon",
        "write tap OHMS, or tap PERCENT, and tap=NODE",
        hides=True,
    )


def _turned(_kind: Kind, text: str, following: Sequence[str]) -> Question | None:
    word = following[0] if text == "at" and following else text
    percent = _POSITIONS.get(word.lower())
    if percent is None:
        return None
    return Question(
        f"{word} is no position of a pot here",
        "the word at and per cent of its turn from ccw",
        f"write at {percent}",
        hides=True,
    )


def _gangs(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    if text.lower() not in ("dual", "tandem", "ganged", "twin") and not re.fullmatch(
        r"[0-9]+[xX*].+|[0-9]+-gang", text
    ):
        return None
    return Question(
        f"{text} is more than one pot on one shaft",
        "a line for each gang",
        "give each gang a line of its own, as in R9A and R9B",
        hides=True,
    )


def _old_ohms(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    ohms = _OHMS.fullmatch(text)
    if ohms is None:
        return None
    meant = f"{ohms[1]}.{ohms[2]}" if ohms[2] else ohms[1]
    return Question(
        f"{text} has no unit that is known here",
        "a resistance such as 220k, 4k7 or 150 ohm",
        f"did you mean {meant} ohm?",
    )


def _code(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    if not text[-1:].isalpha() or not coded(text):
        return None
    return Question(
        f"{text} on a capacitor looks like a code of three digits",
        "a capacitance such as 0.05 uF, 10n or 2n2",
        f"did you mean {coded(text)}?",
    )


def _volts_too(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    if "/" not in text or not (meant := capacitance_and_volts(text)):
        return None
    return Question(
        "a capacitance and volts have a slash between them",
        "each value with its unit",
        f"did you mean {meant}?",
    )


def _metal(kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    terminal = next((name for name in ("frame", "can") if name in kind.optional), "")
    if text.lower() not in _METAL or not terminal:
        return None
    return Question(
        f"the metal of a part is a terminal of its own, and {text} is no word of it",
        f"{terminal}=NODE behind the colon",
        f"write {terminal}= and the node that it is on, such as {terminal}=CHASSIS",
        hides=True,
    )


def _position(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    if text.lower() not in ("position", "pos"):
        return None
    return Question(
        "the position of a switch is named by its throw",
        "in OFF, in ON, or in throw2 for the second of its throws",
        "write in throw2",
        hides=True,
    )


def _one_contact(kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    style = re.fullmatch(r"(SPST|DPST)-?(NO|NC)", text.upper())
    if style is None:
        return None
    rest = "OFF" if style[2] == "NO" else "ON"
    return Question(
        f"{text} is not a word for a {kind.name}",
        "poles and throws, and the position that is drawn",
        f"write {style[1]} in {rest}",
    )


def _field(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    if text.lower() not in ("field", "field-coil"):
        return None
    return Question(
        "the field coil of a speaker is a part of its own",
        "a line for the coil, as in L1 field coil 450 ohm : B1 -- B2",
        "write the field coil on a line of its own",
        hides=True,
    )


def _blades(_kind: Kind, text: str, following: Sequence[str]) -> Question | None:
    behind = following[0].lower() if following else ""
    if text.lower() not in _BLADES or not behind.startswith(("prong", "pin", "blade", "wire")):
        return None
    return Question(
        f"{text} {behind} is no word for a plug",
        "two-blade, polarised or three-pin",
        f"write {_BLADES[text.lower()]}",
        hides=True,
    )


def _closed_circuit(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    if text.lower() not in ("closed", "closed-circuit", "switching", "shorting"):
        return None
    return Question(
        "the contact that a plug opens is a terminal of the jack",
        "break=NODE behind the colon",
        "leave the word out and write break= and the node that the contact is on",
        hides=True,
    )


def _mated(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    if text != "mates":
        return None
    return Question(
        "a socket is one of a tube; one that another half mates is a connector",
        "a connector, as in X1 connector socket mates X2",
        "write connector socket mates and the other half",
        hides=True,
    )


def _ballast_code(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    code = _BALLAST.fullmatch(text)
    if code is None:
        return None
    return Question(
        f"{text} is the code of a ballast, and its ohms are not stated",
        "its ohms, as in resistor ballast 150 ohm 10 W",
        f"its {code[1]} V in all, divided by the amperes of the string, are its ohms with those of"
        " any lamp on it",
        hides=True,
    )


#: What asks about a word, and of which kinds it may be.
_ASKED: tuple[tuple[Callable[[Kind], bool], Asks], ...] = (
    (lambda kind: kind.law is Law.TRACK, _taper),
    (lambda kind: kind.law is Law.TRACK, _tapped),
    (lambda kind: kind.law is Law.TRACK, _switched),
    (lambda kind: kind.law is Law.TRACK, _turned),
    (lambda kind: kind.law is Law.TRACK, _gangs),
    (lambda kind: kind.name == "resistor", _ballast_code),
    (lambda kind: kind.name == "speaker", _field),
    (lambda kind: kind.name == "plug", _blades),
    (lambda kind: kind.name == "jack", _closed_circuit),
    (lambda kind: kind.name == "socket", _mated),
    (lambda kind: kind.law is Law.CAPACITANCE, _centimetres),
    (lambda kind: kind.law is Law.CAPACITANCE, _sections),
    (lambda kind: "slow" in kind.words, _timed),
    (lambda kind: kind.law is Law.RESISTANCE, _old_ohms),
    (lambda kind: kind.law is Law.CAPACITANCE, _code),
    (lambda kind: kind.law is Law.CAPACITANCE, _volts_too),
    (lambda kind: bool({"frame", "can"} & {*kind.optional}), _metal),
    (lambda kind: kind.is_switch, _position),
    (lambda kind: kind.is_switch, _one_contact),
    (lambda kind: bool(kind.dimensions), _thousands),
)
#: Those of each kind, by its name, kept as kinds are met.
_OF_KIND: dict[str, tuple[Kind, tuple[Asks, ...]]] = {}


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
