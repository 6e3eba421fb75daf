"""Parts, their terminals and the kinds there are.

A kind is a row of data: the terminals by the trade's names, what values it may carry, and how
current gets through it. A new kind is one row here, a symbol in ``draw`` and a test.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

from rework.circuit.place import Place

Form = Literal["two", "pins", "poles", "windings", "cores", "one"]
Passes = Literal[
    "conductor", "conducts", "capacitor", "poles", "windings", "tube", "contacts", "nothing"
]

#: The trade's names of a switch's contacts and positions, by its style.
SWITCH_STYLES = {
    "SPST": (1, ("1", "2"), ("OFF", "ON")),
    "DPST": (2, ("1", "2"), ("OFF", "ON")),
    "SPDT": (1, ("pole", "throw1", "throw2"), ("throw1", "throw2")),
    "DPDT": (2, ("pole", "throw1", "throw2"), ("throw1", "throw2")),
}
#: Poles of a multi-pole switch, in the order in which they are written.
POLES = ("a", "b")


@dataclass(frozen=True, slots=True)
class Kind:
    """What is true of every part of one kind.

    ``form`` is how its connections are written: ``two`` as ``A -- B``; ``pins`` as
    ``terminal=node``; ``poles`` as one ``A -- B`` a pole; ``windings`` and ``cores`` as ``name = A
    -- B``; ``one`` as a single node. ``passes`` is how current gets through. ``polar`` parts may
    not be turned round. ``primary_side`` parts may sit on the mains without being a hazard in
    themselves. ``touched`` terminals are in reach of a hand whatever the file says. The first of
    ``dimensions`` is what a bare multiplier such as ``220k`` means.
    """

    name: str
    form: Form
    passes: Passes
    terminals: tuple[str, ...] = ()
    optional: tuple[str, ...] = ()
    dimensions: tuple[str, ...] = ()
    words: frozenset[str] = frozenset()
    polar: bool = False
    primary_side: bool = False
    touched: tuple[str, ...] = ()
    settings: frozenset[str] = frozenset({"type"})


def _kind(
    name: str,
    form: Form,
    passes: Passes,
    terminals: str = "",
    *,
    optional: str = "",
    values: str = "",
    words: str = "",
    polar: bool = False,
    primary_side: bool = False,
    touched: str = "",
    settings: str = "type",
) -> Kind:
    return Kind(
        name,
        form,
        passes,
        tuple(terminals.split()),
        tuple(optional.split()),
        tuple(values.split()),
        frozenset(words.split()),
        polar,
        primary_side,
        tuple(touched.split()),
        frozenset(settings.split()),
    )


_KINDS = (
    _kind(
        "plug",
        "pins",
        "nothing",
        "line neutral",
        optional="earth",
        values="voltage current",
        words="two-blade polarised three-pin",
        primary_side=True,
    ),
    _kind(
        "switch",
        "poles",
        "poles",
        values="voltage current",
        words="SPST DPST SPDT DPDT",
        primary_side=True,
        settings="type on ganged",
    ),
    _kind(
        "fuse",
        "two",
        "conducts",
        "1 2",
        values="current voltage",
        words="slow fast",
        primary_side=True,
    ),
    _kind(
        "thermistor",
        "two",
        "conducts",
        "1 2",
        values="resistance current",
        words="NTC PTC",
        primary_side=True,
    ),
    _kind(
        "resistor",
        "two",
        "conducts",
        "1 2",
        values="resistance power fraction voltage",
        words=(
            "carbon film metal-film metal-oxide wirewound fusible dropper ballast line-cord surge"
            " bleeder back-bias"
        ),
    ),
    _kind(
        "pot",
        "pins",
        "conducts",
        "ccw wiper cw",
        optional="shaft",
        values="resistance power fraction",
        words="linear audio reverse-audio metal-shaft plastic-shaft",
        touched="shaft",
    ),
    _kind("lamp", "two", "conducts", "1 2", values="voltage current power", words="neon pilot"),
    _kind(
        "capacitor",
        "two",
        "capacitor",
        "1 2",
        values="capacitance voltage fraction",
        words="ceramic mica paper film oil polystyrene",
        settings="type class",
    ),
    _kind(
        "electrolytic",
        "two",
        "capacitor",
        "plus minus",
        values="capacitance voltage fraction",
        words="can bipolar",
        polar=True,
    ),
    _kind(
        "choke",
        "two",
        "conducts",
        "1 2",
        values="inductance current resistance",
        words="field-coil",
    ),
    _kind(
        "transformer",
        "windings",
        "windings",
        optional="core",
        values="apparent-power power voltage fraction",
        words="toroid potted interstage",
        touched="core",
        primary_side=True,
    ),
    _kind(
        "autotransformer",
        "windings",
        "conducts",
        optional="core",
        values="apparent-power power voltage fraction",
        touched="core",
        primary_side=True,
    ),
    _kind(
        "output transformer",
        "windings",
        "windings",
        optional="core",
        values="power fraction",
        words="push-pull single-ended",
        touched="core",
    ),
    _kind("tube", "pins", "tube", values="voltage current", words="unlisted"),
    _kind("socket", "pins", "nothing", words="miniature octal noval loctal rimlock"),
    _kind(
        "diode",
        "two",
        "conducts",
        "anode cathode",
        values="voltage current",
        words="silicon germanium",
        polar=True,
    ),
    _kind("selenium", "two", "conducts", "anode cathode", values="voltage current", polar=True),
    _kind(
        "bridge",
        "pins",
        "conducts",
        "ac1 ac2 plus minus",
        values="voltage current",
        words="silicon selenium",
        polar=True,
    ),
    _kind(
        "jack",
        "pins",
        "nothing",
        "tip sleeve",
        optional="ring break",
        words="input output speaker",
        touched="tip ring sleeve",
    ),
    _kind(
        "pickup",
        "pins",
        "conducts",
        "signal shield",
        values="resistance inductance voltage capacitance",
        words="crystal ceramic magnetic",
        touched="shield",
    ),
    _kind(
        "microphone",
        "pins",
        "conducts",
        "signal shield",
        values="resistance voltage",
        words="crystal dynamic",
        touched="shield",
    ),
    _kind(
        "speaker",
        "pins",
        "conducts",
        "1 2",
        optional="frame",
        values="resistance power",
        touched="1 2 frame",
    ),
    _kind("dummy load", "two", "conducts", "1 2", values="resistance power"),
    _kind(
        "motor",
        "pins",
        "conducts",
        "1 2",
        optional="tap frame",
        values="voltage power current resistance frequency",
        primary_side=True,
        touched="frame",
    ),
    _kind(
        "connector",
        "pins",
        "contacts",
        values="voltage current",
        words="plug socket",
        primary_side=True,
        settings="type mates",
    ),
    _kind("trace", "two", "conductor", "1 2", primary_side=True),
    _kind(
        "wire",
        "two",
        "conductor",
        "1 2",
        values="gauge area length voltage",
        words=(
            "twisted black brown red orange yellow green blue violet gray white solid stranded"
            " green-yellow"
        ),
        primary_side=True,
    ),
    _kind(
        "shielded cable",
        "cores",
        "conductor",
        values="gauge area length voltage",
        words="twisted",
        primary_side=True,
    ),
    _kind("chassis", "one", "nothing", "metal", touched="metal"),
    _kind("earth", "one", "nothing", "stud"),
)
#: Every kind by its name.
KINDS: dict[str, Kind] = {kind.name: kind for kind in _KINDS}

#: Winding names: those that begin with ``primary`` are not isolated from one another.
WINDING_NAMES = (
    "primary",
    "secondary",
    "hv",
    "heater",
    "bias",
    "rectifier",
    "speaker",
    "feedback",
    "screen",
)


@dataclass(frozen=True, slots=True)
class Value:
    """One value as a part carries it: an SI amount, its dimension, the role a word gave it, the
    text as written.
    """

    dimension: str
    amount: float
    role: str = ""
    text: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Part:
    """One part: name, kind, type number, values, words, settings and the node at each of its
    terminals.

    ``settings`` are words that take an argument, such as ``("on", "R9")`` or ``("class", "Y2")``.
    ``pins`` pairs each bound terminal with its node in canonical order; ``unused`` lists pins said
    to go nowhere. ``windings`` holds the values of each winding by its name. Tube terminals are pin
    numbers (and ``cap``), whatever the file called them. Values, words, settings and unused pins
    stand in an order of their own, so that parts are equal however they were written.
    """

    name: str
    kind: str
    type: str = ""
    values: tuple[Value, ...] = ()
    words: tuple[str, ...] = ()
    settings: tuple[tuple[str, str], ...] = ()
    pins: tuple[tuple[str, str], ...] = ()
    unused: tuple[str, ...] = ()
    windings: tuple[tuple[str, tuple[Value, ...]], ...] = ()
    remark: str = ""
    place: Place | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        if len(self.values) > 1:
            object.__setattr__(self, "values", _in_order(self.values, KINDS[self.kind].dimensions))
        if len(self.words) > 1 or len(self.settings) > 1:
            object.__setattr__(self, "words", tuple(sorted(self.words)))
            object.__setattr__(self, "settings", tuple(sorted(self.settings)))
        if len(self.unused) > 1:
            object.__setattr__(
                self,
                "unused",
                tuple(
                    name
                    for name, _ in in_order(
                        self.kind, self.words, [(name, None) for name in self.unused]
                    )
                ),
            )
        if self.windings:
            object.__setattr__(
                self,
                "windings",
                tuple((name, _in_order(values, _OF_A_WINDING)) for name, values in self.windings),
            )

    def node(self, terminal: str) -> str | None:
        """Return the node at a terminal, or None where it is bound to nothing."""
        for name, node in self.pins:
            if name == terminal:
                return node
        return None

    def setting(self, word: str) -> str:
        """Return the argument of a setting such as ``on`` or ``mates``, or an empty string."""
        for name, argument in self.settings:
            if name == word:
                return argument
        return ""

    def value(self, dimension: str, *, role: str = "") -> float | None:
        """Return the SI amount of the value of one dimension and role, or None where the part has
        none.
        """
        for value in self.values:
            if value.dimension == dimension and value.role == role:
                return value.amount
        return None

    def rebound(self, moves: dict[str, str]) -> Part:
        """Return the part with its nodes renamed by ``moves``; nodes not named there stay."""
        return replace(
            self, pins=tuple((terminal, moves.get(node, node)) for terminal, node in self.pins)
        )

    @property
    def is_conductor(self) -> bool:
        """True for what can be cut: traces, wires, shielded cables."""
        return KINDS[self.kind].passes == "conductor"


#: The order of what is said of a winding.
_OF_A_WINDING = ("voltage", "resistance", "current", "inductance", "power", "fraction")


def _in_order(values: tuple[Value, ...], dimensions: tuple[str, ...]) -> tuple[Value, ...]:
    """Return values in the order of their dimensions, those of one dimension by what a word says of
    them.
    """
    place = {dimension: number for number, dimension in enumerate(dimensions)}
    return tuple(
        sorted(
            values,
            key=lambda value: (place.get(value.dimension, len(place)), value.dimension, value.role),
        )
    )


def switch_style(part) -> str:
    """Return SPST, DPST, SPDT or DPDT; a switch that says nothing is SPST."""
    return next((word for word in part.words if word in SWITCH_STYLES), "SPST")


def switch_terminals(style: str) -> tuple[tuple[str, ...], ...]:
    """Return the terminals of a switch, one tuple a pole, in the order in which they are written."""
    poles, contacts, _ = SWITCH_STYLES[style]
    if poles == 1:
        return (contacts,)
    return tuple(tuple(f"{POLES[pole]}.{contact}" for contact in contacts) for pole in range(poles))


def chain_terminals(name: str, count: int, *, form: Form = "windings") -> tuple[str, ...]:
    """Return the terminals of a winding or core written as a chain of ``count`` nodes.

    A winding has ``start``, taps and ``finish``; a single node (a screen) is the bare name; a core
    has ends 1 and 2.
    """
    if count == 1:
        return (name,)
    if form == "cores":
        return tuple(f"{name}.{end}" for end in range(1, count + 1))
    if count == 3:
        return (f"{name}.start", f"{name}.tap", f"{name}.finish")
    taps = tuple(f"{name}.tap{number}" for number in range(1, count - 1))
    return (f"{name}.start", *taps, f"{name}.finish")


def in_order(
    kind: str, words: tuple[str, ...], pins: Iterable[tuple[str, object]]
) -> list[tuple[str, object]]:
    """Return pins in canonical order: as the kind lists its terminals, else pin 2 before pin 10 and
    the top cap last.

    Windings and cores stay in the order in which they were written, the core of a transformer
    first.
    """
    row = KINDS[kind]
    if row.form == "poles":
        style = next((word for word in words if word in SWITCH_STYLES), "SPST")
        names = [terminal for pole in switch_terminals(style) for terminal in pole]
    else:
        names = [*row.terminals, *row.optional]
    order = {name: index for index, name in enumerate(names)}
    if order:
        return sorted(pins, key=lambda pin: order.get(pin[0], len(order)))
    if row.form == "pins":
        return sorted(
            pins, key=lambda pin: (0, int(pin[0]), "") if pin[0].isdigit() else (1, 0, pin[0])
        )
    return list(pins)


def strands(part: Part) -> tuple[tuple[str, ...], ...]:
    """Return the terminals of each winding, core or pole that are bound, as runs in the order of
    the chain.
    """
    runs: dict[str, list[str]] = {}
    for terminal, _ in part.pins:
        runs.setdefault(terminal.split(".")[0] if "." in terminal else terminal, []).append(
            terminal
        )
    return tuple(tuple(run) for run in runs.values())
