"""Random circuits over every kind of part, for properties of the language."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.kinds import KINDS, WINDING_NAMES, Kind
from rework.circuit.parts import Part, Value, chain_terminals, in_order
from rework.circuit.switches import style_named, style_of
from rework.language.leading_words import ROLES, roles_of
from rework.language.loads import WINDING
from rework.language.quantity import read_value
from rework.tubes import library

NODES = ("L1", "COMMON", "B+", "B1", "H-1", "G1", "_x", "SUPPLY/UB", "V1-5", "N+/-a", "a")
STEMS = ("R", "V", "K_", "SUPPLY/R", "x-", "T+", "resistor", "unusedd")
WRITTEN = {
    "resistance": ("220k", "4k7", "R47", "100R", "150 ohm", "2.2 meg", "1/2 ohm", "4.7kΩ"),
    "capacitance": (".047u", "0.05 uF", "2n2", "50 mfd", "250 mmf", "p47"),
    "voltage": ("6.3 V", "250-0-250 V", "117 VAC", "1.5 kV"),
    "current": ("80 mA", "1 A", "2 amps"),
    "power": ("1/2 W", "5 watts"),
    "fraction": ("10%", "±5 %"),
    "inductance": ("8 H", "20m"),
    "apparent-power": ("60 VA",),
    "frequency": ("50 Hz",),
    "gauge": ("18 AWG",),
    "area": ("0.75 mm2",),
    "length": ("200 mm", "6 in"),
}
REMARKS = st.text(
    st.characters(
        codec="utf-8", exclude_characters='"', exclude_categories=("Cc", "Cs", "Zl", "Zp", "Cf")
    ),
    max_size=20,
)


@st.composite
def values(
    draw: st.DrawFn, kind: Kind, dimensions: tuple[str, ...], *, bare: str = ""
) -> tuple[Value, ...]:
    """Values of different dimension and role, some as a person writes them, some as a computation
    leaves them.
    """
    slots = [(dimension, "") for dimension in dimensions] + [
        (ROLES[role], role)
        for role in roles_of(kind)
        if ROLES[role] in dimensions and (role, kind.name) != ("dcr", "choke")  # read as its ohms
    ]
    chosen = draw(st.lists(st.sampled_from(slots), unique=True, max_size=3)) if slots else []
    found = []
    for dimension, role in chosen:
        if draw(st.booleans()):
            written = draw(st.sampled_from(WRITTEN[dimension]))
            if (written[-1].isalpha() and dimension != bare and not role) or not (
                role or dimension == bare
            ):
                written = next(
                    text for text in WRITTEN[dimension] if " " in text or text[-1] in "%2"
                )
            found.append(read_value(written, bare=dimension, role=role))
        else:
            found.append(Value(dimension, draw(st.floats(1e-12, 1e9)), role))
    return tuple(found)


@st.composite
def _bound(draw: st.DrawFn, kind: Kind, words: tuple[str, ...], terminals: tuple[str, ...]):
    """Every terminal on a node, or said to be unused."""
    pins, unused = [], []
    for terminal in terminals:
        if draw(st.integers(0, 5)):
            pins.append((terminal, draw(st.sampled_from(NODES))))
        else:
            unused.append(terminal)
    return tuple(in_order(kind.name, words, pins)), tuple(draw(st.permutations(unused)))


@st.composite
def parts(draw: st.DrawFn, name: str, kinds: tuple[str, ...] = tuple(sorted(KINDS))) -> Part:
    """One part of any of these kinds, with its settings still to be chosen."""
    kind = KINDS[draw(st.sampled_from(kinds))]
    known = sorted(word for word in kind.words - {"unlisted", "three-pin"} if not style_named(word))
    words = tuple(draw(st.lists(st.sampled_from(known), unique=True, max_size=2))) if known else ()
    type_, windings = draw(st.sampled_from(("", "", "1N4007", "SK2", "80", "2 x 40", "10V"))), ()
    if kind.is_switch:
        style = draw(st.sampled_from(("SPST", "DPST", "SPDT", "DPDT", "SP3T", "3P4T")))
        words = (
            style,
            *(("centre-off",) if "centre-off" in kind.words and draw(st.booleans()) else ()),
        )
        poles = tuple(terminal for pole in style_of(words).contacts for terminal in pole)
        terminals = (*kind.terminals, *poles)
    elif kind.name == "tube":
        type_ = draw(st.sampled_from((*library.types(), "unlisted")))
        words = ("unlisted",) if type_ == "unlisted" else ()
        type_ = draw(st.sampled_from(("QX 9", "RV12", "83", "8Z9"))) if words else type_
        tube = library.find(type_) if not words else None
        terminals = tube.socket_pins if tube else ("1", "2", "10", "cap")
    elif kind.name == "unlisted part":
        type_ = draw(st.sampled_from(("delay line", "hum filter", "47")))
        terminals = ("1", "2", "A", "k")
    elif kind.name == "module":
        terminals = ("in.line", "in.neutral", "out.plus", "out.minus", "earth")
    elif kind.form in ("windings", "cores"):
        allowed = (
            ("winding",)
            if kind.name == "autotransformer"
            else ("core", "shield")
            if kind.form == "cores"
            else WINDING_NAMES
        )
        chosen = draw(
            st.lists(
                st.sampled_from(allowed).flatmap(lambda stem: st.sampled_from((stem, f"{stem}2"))),
                unique=True,
                min_size=1,
                max_size=3,
            )
        )
        terminals, told = kind.optional * draw(st.booleans()), []
        for winding in chosen:
            single = winding.startswith(("screen", "shield"))
            terminals += chain_terminals(
                winding, draw(st.integers(1 if single else 2, 5)), form=kind.form
            )
            told.append(
                (winding, draw(values(WINDING, ("voltage", "resistance", "fraction"))))
                if kind.form == "windings"
                else (winding, ())
            )
        if kind.name == "output transformer":  # plain ohms are asked about there
            told = [
                (name, tuple(v for v in stated if v.dimension != "resistance" or v.role))
                for name, stated in told
            ]
        windings = tuple(pair for pair in told if pair[1])
    else:
        terminals = kind.terminals + tuple(t for t in kind.optional if draw(st.booleans()))
        terminals = terminals or tuple(
            draw(st.lists(st.sampled_from(("1", "2", "10", "A", "cap")), unique=True, min_size=1))
        )
    pins, unused = draw(_bound(kind, words, terminals))
    # windings are written in the order of their pins, those with nothing on them last
    order = list(dict.fromkeys(terminal.partition(".")[0] for terminal, _ in pins))
    windings = tuple(
        sorted(windings, key=lambda pair: order.index(pair[0]) if pair[0] in order else len(order))
    )
    dimensions = kind.dimensions if kind.name != "tube" else ()
    return Part(
        name,
        kind.name,
        type_,
        draw(values(kind, dimensions, bare=dimensions[0] if dimensions else "")),
        words,
        (),
        pins,
        unused,
        windings,
        draw(REMARKS),
    )


def _turns_with(part: Part, other: Part) -> bool:
    """Return whether two parts may be on one shaft: switches have as many positions."""
    counts = [
        len(style_of(each.words).positions) for each in (part, other) if each.traits.is_switch
    ]
    return len(set(counts)) < 2


@st.composite
def circuits(draw: st.DrawFn) -> Circuit:
    """A circuit that a file can state: nodes with one pin are open or a port."""
    names = [f"{draw(st.sampled_from(STEMS))}{number}" for number in range(draw(st.integers(1, 8)))]
    made = []
    for name in names:
        part = draw(parts(name))
        settings = []
        for word, kinds in (
            ("on", ("pot",)),
            ("mates", ("connector",)),
            ("ganged", ("switch", "pot")),
        ):
            others = [
                other.name
                for other in made
                if other.kind in kinds and (word != "ganged" or _turns_with(part, other))
            ]
            if word in KINDS[part.kind].settings and others and draw(st.booleans()):
                settings.append((word, draw(st.sampled_from(others))))
        if part.traits.is_switch and draw(st.booleans()):
            settings.append(("in", draw(st.sampled_from(style_of(part.words).positions))))
        if part.traits.classes and draw(st.booleans()):
            settings.append(("class", draw(st.sampled_from(part.traits.classes))))
        made.append(replace(part, settings=tuple(settings)))
    circuit = Circuit(parts=tuple(made))
    lonely = [node for node, on in circuit.at.items() if len(on) == 1]
    nodes = st.sampled_from(circuit.nodes) if circuit.nodes else st.nothing()
    ports = [(f"p{number}", node) for number, node in enumerate(lonely) if draw(st.booleans())]
    aliases = (
        draw(
            st.lists(
                st.tuples(st.sampled_from(("Z1", "Z2", "Z3")), nodes),
                unique_by=lambda pair: pair[0],
            )
        )
        if circuit.nodes
        else []
    )
    return replace(
        circuit,
        title=draw(REMARKS),
        mains=draw(
            st.none()
            | st.builds(Mains, st.floats(1, 1000), st.sampled_from((0, 50, 60.0, 59.94, 1 / 3)))
        ),
        touchable=tuple(draw(st.lists(nodes, unique=True))) if circuit.nodes else (),
        ports=tuple(ports),
        open_nodes=tuple(node for node in lonely if node not in dict(ports).values()),
        aliases=tuple(sorted(aliases)),
    )
