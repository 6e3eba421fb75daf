"""The single faults: each part open, each part short, leakage tenfold, insulation broken down,
leads loose, outlets wrong.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rework.anatomy.links import Y_CLASSES
from rework.circuit.kinds import KINDS
from rework.touch.parts import EARTH
from rework.touch.shorts import Short, shorts
from rework.touch.study import Study

#: How many times its leakage a failing capacitor passes.
LEAKIER = 10.0

#: What would keep a fault from mattering, by its kind.
PREVENTED = {
    "open": (
        "a sound joint: crimp or hook before soldering, strain relief, and a look at every yearly"
        " test"
    ),
    "earth": (
        "the longest lead, on a screw of its own, never through a switch or fuse; measure 0.1 ohm"
        " at most"
    ),
    "supply": "a switch that opens both line conductors; a sound cord",
    "short": "a part rated for the volts across it, and a fuse in the line conductor",
    "bridging": (
        "nothing between the line and touchable parts; where a capacitor is needed, a capacitor of"
        " class Y, made and tested for that"
    ),
    "leak": "a new film capacitor in its place",
    "insulation": (
        "a transformer with an earthed screen or reinforced insulation, tested between windings,"
        " and earthed metal"
    ),
    "metalwork": (
        "a plastic shaft or an insulated knob, insulation rated for the line, and metal earthed"
    ),
    "heater": (
        "heaters from an isolated winding, referenced to common; no tube beyond its heater-cathode"
        " rating"
    ),
    "lead": (
        "a hook and a tie beside every line lug, sleeves, and metal earthed so that the fuse"
        " clears it"
    ),
    "umbilical": (
        "every tie that matters on both sides of the connector, with bleeder and earth bond on the"
        " supply's own side"
    ),
    "contact": (
        "two contacts each for the earth and for common, one that makes earth first, and common"
        " bonded on either side"
    ),
    "electrodes": (
        "a tube that was tested, and a capacitor or resistor between its grid and touchable parts"
    ),
    "contacts": (
        "line and B+ contacts separate from the others, with an unused or an earthed one between"
    ),
    "pins": "clean sockets, insulated leads and a look for solder bridges between the pins",
    "outlet": (
        "a measurement before you plug in: a voltmeter from the earth contact to an earth that"
        " does not come from this outlet, or a non-contact voltage tester at the earth contact. A"
        " three-lamp outlet tester shows this wiring as correct (M. Sokol, EC&M, 15 July 2013), and"
        " so does a voltmeter between the three contacts"
    ),
    "tube": "nothing in the set: keep the covers on",
}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: what happens, to which part, of which kind (a key of PREVENTED), and how the
    network changes.

    ``opened`` are elements taken out; ``added`` are (nodes, siemens) put in; ``earth_hot`` is the
    outlet wired wrong.
    """

    what: str
    part: str
    kind: str
    opened: tuple[int, ...] = ()
    added: tuple[tuple[tuple[str, str], float], ...] = ()
    earth_hot: bool = False

    @property
    def changes(self) -> int:
        """How many elements change at once: the rank of the change."""
        return len(self.opened) + len(self.added)


def single_faults(study: Study) -> tuple[Fault, ...]:
    """Return every single fault of a circuit, in the order of its parts, each once."""
    every = [
        *_of_elements(study),
        *_of_whole_parts(study),
        *(_bridged(study, short) for short in shorts(study.circuit)),
        *_of_leads(study),
    ]
    if study.earth_pin:
        every.append(
            Fault(
                "outlet wired the wrong way round: hot and neutral swapped, earth tied to that"
                " neutral",
                "",
                "outlet",
                earth_hot=True,
            )
        )
    return tuple(
        {
            (
                fault.opened,
                frozenset((frozenset(nodes), siemens) for nodes, siemens in fault.added),
                fault.earth_hot,
            ): fault
            for fault in reversed(every)
        }.values()
    )[::-1]


def _of_elements(study: Study) -> Iterator[Fault]:
    short = 1 / study.assumed["short_ohm"]
    tied = study.tied_and_reached
    for number, element in enumerate(study.elements):
        name, ends = element.name, element.ends
        if element.kind == "blade":
            yield Fault(
                f"{element.gate[1]}.{element.gate[2]}: its conductor open",
                element.part,
                "supply",
                (number,),
            )
        elif element.kind == "earth":
            yield Fault(f"{name} open", element.part, "earth", (number,))
        elif element.kind in ("insulation", "unproved"):
            kind = (
                "insulation"
                if KINDS[study.circuit.by_name[element.part].kind].form == "windings"
                else "metalwork"
            )
            yield Fault(f"{name} broken down", element.part, kind, added=((ends, short),))
        elif element.kind in ("conductor", "contact"):
            yield Fault(
                f"{name} open",
                element.part,
                "contact" if element.kind == "contact" else "open",
                (number,),
            )
        else:
            if (
                element.siemens or element.farads or element.kind == "winding"
            ):  # what conducts or not is open in its usual states
                yield Fault(f"{name} open", element.part, "open", (number,))
            part = study.circuit.by_name[element.part]
            if ends[0] != ends[1]:
                kind = (
                    "bridging"
                    if element.kind != "winding"
                    and any(node in tied for node in ends)
                    and part.setting("class") not in Y_CLASSES - {"Y2"}
                    else "short"
                )
                yield Fault(f"{name} short", element.part, kind, added=((ends, short),))
            if element.kind == "capacitor" and element.siemens > 0:
                yield Fault(
                    f"{name} leaking tenfold",
                    element.part,
                    "leak",
                    added=((ends, (LEAKIER - 1) * element.siemens),),
                )


def _bridged(study: Study, short: Short) -> Fault:
    siemens = 1 / study.assumed["short_ohm"]
    return Fault(short.what, short.part, short.kind, added=((short.nodes, siemens),))


def _of_whole_parts(study: Study) -> Iterator[Fault]:
    """Return umbilicals pulled and tubes out of their sockets: several elements at once."""
    pulled: dict[str, list[int]] = {}
    out: dict[str, list[int]] = {}
    for number, element in enumerate(study.elements):
        if element.gate[:1] == ("umbilical",):
            pulled.setdefault(element.gate[1], []).append(number)
        elif element.kind in ("tube", "heater") and (element.siemens or element.farads):
            out.setdefault(element.part, []).append(number)
    for name, numbers in pulled.items():
        yield Fault(f"umbilical {name} pulled", name, "umbilical", tuple(numbers))
    for name, numbers in out.items():
        yield Fault(f"{name} out of its socket", name, "tube", tuple(numbers))


def _of_leads(study: Study) -> Iterator[Fault]:
    """Return every line lead, up to and past the fuse and switch, off its lug and onto each
    chassis.
    """
    metal = sorted(
        {node for part in study.circuit.parts if part.kind == "chassis" for _, node in part.pins}
        or {node for node in study.circuit.within_reach if node in study.circuit.at}
    )
    short = 1 / study.assumed["short_ohm"]
    for lead in line_leads(study):
        for node in metal:
            if node != lead:
                yield Fault(
                    f"line lead {lead} off its lug and onto {node}",
                    "",
                    "lead",
                    added=(((lead, node), short),),
                )


def line_leads(study: Study) -> tuple[str, ...]:
    """Return the nodes joined to a plug blade by conductors, fuses and closed switches, that only
    primary-side parts are on.
    """
    carries = [
        element for element in study.elements if element.kind in ("conductor", "fuse", "switch")
    ]
    reached = {element.nodes[0] for element in study.elements if element.kind == "blade"}
    growing = True
    while growing:
        joined = {
            node
            for element in carries
            if not reached.isdisjoint(element.nodes)
            for node in element.nodes
        }
        growing = not joined <= reached
        reached |= joined
    at = study.circuit.at
    return tuple(
        sorted(
            node
            for node in reached - {EARTH}
            if any(KINDS[part.kind].primary_side for part, _ in at[node])
        )
    )
