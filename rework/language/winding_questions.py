"""What is asked about words that are said of a transformer and belong to one of its windings."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from rework.circuit.kinds import Kind
from rework.language.doubtful import Asks, Question
from rework.language.mistakes import a_or_an
from rework.language.quantity import is_value, read_value

_SLASHED = re.compile(r"(\d[\w.]*)/(\d[\w.]*)")
_LOAD = re.compile(r"\d+\.?\d*\s*(?:[kK]\d*)?(?:[oO]hms?|[\u03a9\u2126])?")
_TWICE = re.compile(r"2[x*](\d+)(?:\s*V)?", re.IGNORECASE)
_TWO_VOLTS = re.compile(r"([0-9]+)/([0-9]+)\s*V", re.IGNORECASE)


def _of_each_winding(kind: Kind, text: str, following: Sequence[str]) -> Question | None:
    expected = "what is said of one winding at that winding, as in secondary 6.3 V 2 A = A -- B"
    if (both := _TWO_VOLTS.fullmatch(text)) is not None:
        least, most = sorted(both.groups(), key=float)
        return Question(
            f"{text} may be a winding with a tap, or two windings",
            expected,
            f"write winding {most} V tap {least} V = START -- TAP -- FINISH"
            if kind.name == "autotransformer"
            else f"write primary {most} V tap {least} V = START -- TAP -- FINISH where one winding"
            " has a tap",
            hides=True,
        )
    if text == "to" or "to" in following[:1]:
        other = next((each for each in following if _has(each, "voltage")), "6.3 V")
        return Question(
            "the word to joins nothing here",
            expected,
            f"write : for to, as in transformer 117 V : {other}",
            hides=True,
        )
    volts = [each for each in (text, *following) if _has(each, "voltage")]
    if not _has(text, "current") and (len(volts) < len("12") or text != volts[0]):
        return None
    return Question(
        f"the head of {a_or_an(kind.name)} does not say to which winding {text} belongs",
        expected,
        "state the volts and amperes of each winding at that winding",
        hides=True,
    )


def _has(text: str, dimension: str) -> bool:
    return is_value(text) and read_value(text).dimension == dimension


def _loads(_kind: Kind, text: str, following: Sequence[str]) -> Question | None:
    expected = "the loads at the plates and at the speaker, as in output transformer 5k : 4"
    if (both := _SLASHED.fullmatch(text)) is not None:
        return Question(
            f"{text} may be two loads or a fraction",
            expected,
            f"write {both[1]} : {both[2]}",
            hides=True,
        )
    if _LOAD.fullmatch(text) is not None:
        other = next((each for each in following if each[:1].isdigit()), "")
        return Question(
            f"the load {text} is stated at its winding, or before a second colon",
            expected,
            f"write {text} : {other}" if other else "",
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


def _halves(_kind: Kind, text: str, _following: Sequence[str]) -> Question | None:
    half = _TWICE.fullmatch(text)
    if half is None:
        return None
    return Question(
        f"{text} is not how two halves of a winding are written",
        f"volts such as {half[1]}-0-{half[1]} V",
        f"write {half[1]}-0-{half[1]} V = START -- TAP -- FINISH",
        hides=True,
    )


#: What asks about a word, and of which kinds it may be.
OF_WINDINGS: tuple[tuple[Callable[[Kind], bool], Asks], ...] = (
    (lambda kind: kind.name in ("transformer", "autotransformer"), _of_each_winding),
    (lambda kind: kind.name == "output transformer", _loads),
    (lambda kind: kind.name == "winding", _halves),
)
