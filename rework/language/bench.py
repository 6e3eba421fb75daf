"""The lines of a job that say what the bench saw: the meter, the state of the set, what was read
where, what was noticed, which parts were proved good, and what was repaired.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import partial

from lark import Token

from rework.circuit.parts import Value
from rework.circuit.place import Place
from rework.language.mistakes import nearest
from rework.language.quantity import QuantityError, read_value
from rework.language.reader import Line, Problems
from rework.language.symptoms import SIGNS, Symptom, refusal, sign_of
from rework.language.syntax import span
from rework.report.figures import shown

#: The statements read here, with the start rule of the grammar that reads each.
BENCH_KEYWORDS = {
    "reading": "reading",
    "meter": "plain",
    "line": "plain",
    "bench": "plain",
    "noticed": "plain",
    "proved": "plain",
    "repaired": "plain",
}
#: Ohms of an electronic voltmeter (common practice).
METER_OHMS = 10e6


class Quantity(StrEnum):
    """What a reading is of."""

    DC = "dc"
    AC = "ac"  # RMS, nothing at the input
    SIGNAL = "signal"  # RMS, a generator at the input
    OHMS = "ohms"  # plug out, capacitors discharged
    AMPS = "amps"


_METER = "meter 10 Mohm, or meter 20 kohm/V, with its ranges as in 3 V 12 V 60 V 300 V"
#: Direct-voltage ranges of a meter with so many ohms for each volt, where the job does not say them
#: (common practice, no source): the usual 1, 2.5, 5 steps of a pointer.
USUAL_RANGES = (2.5, 10.0, 50.0, 250.0, 1000.0)
#: Dimensions a meter shows, with what a reading of each is of, unless words behind it say more.
_READ_AS = {
    "voltage": Quantity.DC,
    "resistance": Quantity.OHMS,
    "current": Quantity.AMPS,
}


@dataclass(frozen=True, slots=True)
class Voltmeter:
    """A voltmeter of so many ``ohms``; or of so many for each volt of its range (``per_volt``),
    with its ``ranges`` in volts.
    """

    ohms: float = METER_OHMS
    per_volt: float = 0.0
    ranges: tuple[float, ...] = ()

    @property
    def words(self) -> str:
        """What a person calls it: ``10 Mohm``, ``20 kohm/V``."""
        return f"{shown(self.per_volt, 'ohm')}/V" if self.per_volt else shown(self.ohms, "ohm")

    def ohms_for(self, volts: float) -> float:
        """Return its ohms on the lowest range that shows so many volts, else on the highest."""
        if not self.per_volt:
            return self.ohms
        return self.per_volt * self.range_for(volts)

    def range_for(self, volts: float) -> float:
        """Return the range it is on; 0 for one that has none."""
        fits = (range_ for range_ in sorted(self.ranges) if range_ >= abs(volts))
        return next(fits, max(self.ranges, default=0.0))


@dataclass(frozen=True, slots=True)
class BenchState:
    """How the set is on the bench: ``before`` or ``after`` its job, ``without`` tubes that are
    pulled, behind a lamp of so many watts (0 for none).
    """

    side: str = "after"
    without: tuple[str, ...] = ()
    lamp: float = 0.0


@dataclass(frozen=True, slots=True)
class Reading:
    """What a meter showed between ``at`` and ``to`` ("" for common): SI amount and dimension in
    ``value``, infinite ohms for an open circuit.

    ``generator`` is hertz and RMS volts at the input where ``of`` is a signal. ``state`` and
    ``meter`` are those of the lines above it; ``repairs`` counts the repairs before it.
    """

    at: str
    value: Value
    remark: str
    place: Place
    to: str = ""
    of: Quantity = Quantity.DC
    generator: tuple[float, float] | None = None
    state: BenchState = BenchState()
    meter: Voltmeter = Voltmeter()
    repairs: int = 0

    @property
    def is_plain(self) -> bool:
        """Whether it is of the finished set, whole, against common: what a chart has a row for."""
        return self.state == BenchState() and not self.to and self.of is not Quantity.SIGNAL


@dataclass(frozen=True, slots=True)
class Noticed:
    """A sign seen or heard: of a ``part`` ("" for the set), a hum perhaps with its ``hertz``."""

    sign: Symptom
    part: str
    hertz: float
    place: Place
    state: BenchState = BenchState()
    repairs: int = 0


@dataclass(frozen=True, slots=True)
class BenchNotes:
    """Everything that a job says of the bench.

    ``line`` is the RMS volts read there, None where they were not read; ``isolated`` says that the
    bench isolates the set. ``states`` are those of the ``bench`` lines. ``proved`` are parts and
    pins found good, ``repaired`` those that were repaired, each in the order of the file.
    """

    readings: tuple[Reading, ...] = ()
    noticed: tuple[Noticed, ...] = ()
    proved: tuple[tuple[str, Place], ...] = ()
    repaired: tuple[tuple[str, Place], ...] = ()
    line: float | None = None
    isolated: bool = False
    meter: Voltmeter = Voltmeter()
    states: tuple[tuple[BenchState, Place], ...] = ()


#: What a job without such lines says.
NO_BENCH = BenchNotes()


@dataclass(slots=True)
class BenchLines:
    """Gathers what the bench lines of one job say; state and meter hold for what follows."""

    problems: Problems
    so_far: BenchNotes = BenchNotes()
    state: BenchState = field(default_factory=BenchState)

    def take(self, keyword: str, line: Line, words: Sequence[Token]) -> None:
        """Read one statement, whose first word is its keyword."""
        lines: dict[str, Callable[[Line, Sequence[Token]], None]] = {
            "reading": self._reading,
            "meter": self._meter,
            "line": self._line,
            "bench": self._bench,
            "noticed": self._noticed,
            "proved": self._proved,
            "repaired": self._repaired,
        }
        lines[keyword](line, words)

    def _meter(self, line: Line, words: Sequence[Token]) -> None:
        rest = list(words[1:])
        per_volt = _per_volt(rest)
        if per_volt is not None:
            ranges = [_amount(word, "voltage") for word in rest[2:]]
            if all(ranges):
                amounts = tuple(sorted(volts for volts in ranges if volts)) or USUAL_RANGES
                self.so_far = replace(self.so_far, meter=Voltmeter(0.0, per_volt, amounts))
                return
        elif len(rest) == 1 and (ohms := _amount(rest[0], "resistance")):
            self.so_far = replace(self.so_far, meter=Voltmeter(ohms))
            return
        self._refuse(line, words, "this says no meter", _METER)

    def _line(self, line: Line, words: Sequence[Token]) -> None:
        volts = _amount(words[1], "voltage") if len(words) > 1 else None
        more = [str(word) for word in words[2:]]
        if volts is None or more not in ([], ["isolated"]):
            self._refuse(line, words, "this says no line", "line 121 V, or line 117 V isolated")
            return
        self.so_far = replace(self.so_far, line=volts, isolated=bool(more))

    def _bench(self, line: Line, words: Sequence[Token]) -> None:
        state, rest = BenchState(), list(words[1:])
        while rest:
            word = str(rest.pop(0))
            if word in ("before", "after"):
                state = replace(state, side=word)
            elif word == "without" and rest and rest[0].type != "VALUE":
                while rest and str(rest[0]) not in ("before", "after", "lamp"):
                    state = replace(state, without=(*state.without, str(rest.pop(0))))
            elif word == "lamp" and rest and (watts := _amount(rest[0], "power")):
                state = replace(state, lamp=watts)
                rest.pop(0)
            else:
                self._refuse(
                    line,
                    words,
                    f"{word} is no state of the bench",
                    "before, after, without V1 V2, lamp 60 W, as in bench after without V3",
                )
                return
        self.state = state
        said = state, self.problems.place(line, span(words[0]))
        self.so_far = replace(self.so_far, states=(*self.so_far.states, said))

    def _reading(self, line: Line, words: Sequence[Token]) -> None:
        start = next(n for n, word in enumerate(words) if n > 1 and word.type in _SHOWN)
        where, shown, rest = list(words[1:start]), list(words[start:]), []
        below = shown[0].type == "MINUS"
        token, *rest = shown[1:] if below else shown
        value = self._shown(line, token, below=below)
        to = self._second(line, where)
        if value is None or to is None:
            return
        remark = ""
        if rest and rest[-1].type == "STRING":
            remark = str(rest.pop())[1:-1]
        how = self._how(line, rest, value)
        if how is None:
            return
        of, generator, range_ = how
        meter = self.so_far.meter
        reading = Reading(
            str(where[0]),
            value,
            remark,
            self.problems.place(line, span(where[0])),
            to,
            of,
            generator,
            self.state,
            replace(meter, ranges=(range_,)) if range_ and meter.per_volt else meter,
            len(self.so_far.repaired),
        )
        self.so_far = replace(self.so_far, readings=(*self.so_far.readings, reading))

    def _shown(self, line: Line, token: Token, *, below: bool) -> Value | None:
        """Return what the meter showed."""
        if token.type == "OPEN":
            return Value("resistance", float("inf"), text="open")
        try:
            value = read_value(str(token))
        except QuantityError as error:
            self.problems.add(line, token, str(error), expected="a reading such as 241 V")
            return None
        if value.dimension not in _READ_AS:
            self.problems.add(
                line,
                token,
                f"a meter does not read {token} here",
                expected="volts, ohms or amps, as in 241 V, 325 kohm off, 30 mA",
            )
            return None
        if below and value.dimension == "resistance":
            self.problems.add(line, token, "ohms are not negative", expected="as in 325 kohm off")
            return None
        return replace(value, amount=-value.amount, text=f"-{value.text}") if below else value

    def _second(self, line: Line, where: Sequence[Token]) -> str | None:
        """Return the second point of a reading, "" where there is none; None after a problem."""
        if len(where) == 1:
            return ""
        if len(where) == 3 and str(where[1]) == "to":
            return str(where[2])
        self.problems.add(
            line,
            where[1],
            f"{where[1]} is not expected here",
            expected="a value, or to and a second point, as in reading V3.2 to COMMON 14 V",
        )
        return None

    def _how(
        self, line: Line, rest: Sequence[Token], value: Value
    ) -> tuple[Quantity, tuple[float, float] | None, float] | None:
        """Return what was read, the generator of a signal, and the range of the meter (0 where it
        is not said); None after a problem.
        """
        of, stated = _READ_AS[value.dimension], dict[str, float]()
        range_ = self._range(line, rest, value)
        if range_ is None:
            return None
        for word in rest[: -2 if range_ else None]:
            amount = _read(word) if word.type == "VALUE" else None
            if amount is not None and amount.dimension in ("frequency", "voltage"):
                stated[amount.dimension] = amount.amount
            elif str(word) in _ALTERNATING and of in _VOLTS and value.amount >= 0:
                of = Quantity.AC
            elif str(word) not in _SAID_ANYWAY.get(of, ()):
                self._not_behind(line, word, of)
                return None
        if not stated and "signal" not in map(str, rest):
            return of, None, range_
        if of is Quantity.AC and stated.keys() == {"frequency", "voltage"}:
            return Quantity.SIGNAL, (stated["frequency"], stated["voltage"]), range_
        self._refuse(
            line,
            [rest[0], *rest],
            "the generator of a signal is not stated in full",
            "AC, hertz and RMS volts, as in reading V2.plate 1.1 V AC 1 kHz 1 mV",
        )
        return None

    def _range(self, line: Line, rest: Sequence[Token], value: Value) -> float | None:
        """Return the range that a reading ends with, 0 without one; None after a problem."""
        if "range" not in rest:
            return 0.0
        at = rest.index("range")
        volts = _amount(rest[at + 1], "voltage") if len(rest) == at + 2 else None
        if volts and value.dimension == "voltage" and volts >= abs(value.amount):
            return volts
        self.problems.add(
            line,
            rest[at],
            f"{value.text} is not read on this range",
            expected="the volts of the range at the end, as in reading V2.plate 118 V range 250 V",
        )
        return None

    def _not_behind(self, line: Line, word: Token, of: Quantity) -> None:
        allowed = {
            Quantity.OHMS: "off, as in reading V3.grid 325 kohm off",
            Quantity.AMPS: "nothing more, as in reading F1 0.4 A",
        }
        self.problems.add(
            line,
            word,
            f"{word} is not expected behind a reading" + (" of ohms" * (of is Quantity.OHMS)),
            expected=allowed.get(of, "AC, ripple, hum, range, or the generator, as in 1 kHz 1 mV"),
            near=partial(nearest, str(word), (*_ALTERNATING, "off", "range")),
        )

    def _noticed(self, line: Line, words: Sequence[Token]) -> None:
        what = [str(word) for word in words[1:]]
        value = _read(words[-1]) if len(words) > 2 else None
        hertz = value.amount if value is not None and value.dimension == "frequency" else 0.0
        said = sign_of(what[:-1] if hertz else what)
        if said is None or (hertz and said[0] is not Symptom.HUM):
            self._refuse(line, words, refusal(what), SIGNS)
            return
        sign, part = said
        place = self.problems.place(line, span(words[1]))
        noticed = Noticed(sign, part, hertz, place, self.state, len(self.so_far.repaired))
        self.so_far = replace(self.so_far, noticed=(*self.so_far.noticed, noticed))

    def _proved(self, line: Line, words: Sequence[Token]) -> None:
        if len(words) != 3 or str(words[2]) not in ("good", "ok", "OK"):
            self._refuse(line, words, "this proves nothing", "proved R11 good, proved V3.7 good")
            return
        named = (str(words[1]), self.problems.place(line, span(words[1])))
        self.so_far = replace(self.so_far, proved=(*self.so_far.proved, named))

    def _repaired(self, line: Line, words: Sequence[Token]) -> None:
        if len(words) != 2:
            self._refuse(line, words, "a repair names one part or pin", "repaired C7")
            return
        named = (str(words[1]), self.problems.place(line, span(words[1])))
        self.so_far = replace(self.so_far, repaired=(*self.so_far.repaired, named))

    def _refuse(self, line: Line, words: Sequence[Token], message: str, expected: str) -> None:
        at = words[1] if len(words) > 1 else words[0] if words else None
        self.problems.add(line, at, message, expected=expected)


#: Words that say a reading is of alternating volts, and words that go without saying.
_ALTERNATING = ("AC", "ripple", "hum", "signal")
_VOLTS = (Quantity.DC, Quantity.AC)
_SAID_ANYWAY = {
    Quantity.DC: ("DC",),
    Quantity.AC: ("shorted-input", *_ALTERNATING),
    Quantity.OHMS: ("off",),
    Quantity.AMPS: ("DC",),
}
#: Tokens that begin what a meter showed.
_SHOWN = ("MINUS", "VALUE", "OPEN")


def _read(word: Token) -> Value | None:
    """Return the value of a word, None where it is none."""
    try:
        return read_value(str(word))
    except QuantityError:
        return None


def _amount(word: Token, dimension: str) -> float | None:
    """Return the amount of a word of a dimension; None where it is none, or nothing or less."""
    value = _read(word)
    if value is None or value.dimension != dimension or value.amount <= 0:
        return None
    return value.amount


def _per_volt(words: Sequence[Token]) -> float | None:
    """Return the ohms for each volt of ``20 kohm/V``, None where nothing like it stands first."""
    if len(words) < 2 or words[0].type != "NUMBER" or not str(words[1]).endswith("ohm/V"):
        return None
    factors = {"": 1.0, "k": 1e3, "M": 1e6}
    factor = factors.get(str(words[1]).removesuffix("ohm/V"))
    return None if factor is None else float(words[0]) * factor
