"""The rows in which it is said whether a set works, by keys; words are made at the edge."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Working(StrEnum):
    """The result of a row."""

    WORKS = "works"
    FAULT = "does not work"
    NOTE = "to know"
    UNKNOWN = "not known"


class Aspect(StrEnum):
    """What a row is about."""

    PRIMARY = "primary"
    POSITION = "primary in a position of a switch"
    RECTIFIER = "rectifier"
    HEATER = "heater"
    LAMP = "lamp"
    MOTOR = "motor"
    PLATE = "plate"
    SCREEN = "screen"
    CATHODE = "cathode"
    GRID = "grid"
    BIAS = "bias"
    RETURN = "B- return"
    SIGNAL = "signal"
    INPUT_RETURN = "return of an input"
    LOAD = "load"
    LOST = "lost"
    PORT = "port"
    HANGING = "hanging end"
    IDLE = "left over"
    POLARITY = "polarity"
    STAGE = "stage"
    CONTROL = "control"
    MATCH = "match of the load"
    VALUE = "value"
    POINT = "operating point"
    NAME = "name given twice"
    RATING = "rating"
    CURRENT = "plate current"
    FUSE = "fuse"
    NUMBERS = "numbers"
    GAIN = "gain"
    WATTS = "watts"


@dataclass(frozen=True, slots=True)
class FunctionRow:
    """One row: what is asked of which part, and whether it works.

    ``value`` and ``rated`` are in ``unit`` where the row has a figure. ``place``
    is the pin, the position or the port that it is about, ``part`` what it depends on where that is
    known.
    """

    aspect: Aspect
    subject: str
    working: Working
    value: float | None = None
    rated: float | None = None
    place: str = ""
    part: str = ""
    unit: str = "V"
