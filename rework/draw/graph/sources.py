"""The whole circuit as a drawing: line and inputs at the left, speaker at the right, B+ on top of
each block, commons below.

Each area of the page (line and filter, signal, heaters, attached circuits) is laid out by graphviz
on its own; the areas are then set on the page one under another. Of two circuits the union is laid
out, so that what is in both stands still.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace

from rework.circuit.circuit import Circuit
from rework.circuit.parts import Part
from rework.draw.colours import PALETTES, Theme
from rework.draw.graph.areas import TITLES
from rework.draw.graph.blocks import text
from rework.draw.graph.dot import Layout, Vertices, graph, ids, write
from rework.draw.graph.legend import with_key
from rework.draw.graph.levels import steps
from rework.draw.graph.marks import Marks
from rework.draw.graph.parts_shown import name_of
from rework.draw.graph.placing import arranged, placed, title_of
from rework.draw.graph.sheet import Sheet, sheet

#: Nothing to point out.
_PLAIN = Marks()


def source(
    circuit: Circuit,
    *,
    theme: Theme = "light",
    hazards: frozenset[str] = frozenset(),
    live: frozenset[str] = frozenset(),
    states: Mapping[str, str] | None = None,
) -> str:
    """Return the DOT source of one circuit, nothing placed: graphviz sets the areas."""
    drawn = sheet(circuit, theme, Marks(hazards, live, states or {}))
    page, plain = graph(theme, circuit.title), ids(drawn)
    for number, area in enumerate(sorted(set(drawn.area.values()))):
        keys = [key for key in drawn.vertices if drawn.area[key] == area]
        if area in TITLES:
            write(page, drawn, keys, plain)
            continue
        with page.subgraph(name=f"cluster_{number}") as cluster:
            cluster.attr(
                label=f"<<I>{text(title_of(area), 60)}</I>>",
                fontsize="10",
                fontcolor=PALETTES[theme].faint,
                color=PALETTES[theme].faint,
                style="rounded,dashed",
                margin="8",
            )
            write(cluster, drawn, keys, plain)
    return str(page.source)


def placed_source(
    circuit: Circuit,
    layout: Layout,
    *,
    chassis: str | None = None,
    theme: Theme = "light",
    marks: Marks = _PLAIN,
) -> str:
    """Return the DOT source of a circuit with every area in its place (for ``neato -n2``): whole,
    or one chassis of it.
    """
    drawn = with_key(sheet(circuit, theme, marks, chassis=chassis), theme)
    return placed(drawn, arranged(drawn, theme, layout), theme, _titled(circuit.title, chassis))


def pair_sources(
    before: Circuit,
    after: Circuit,
    layout: Layout,
    *,
    chassis: str | None = None,
    theme: Theme = "light",
    before_marks: Marks = _PLAIN,
    after_marks: Marks = _PLAIN,
) -> tuple[str, str]:
    """Return the DOT sources of two circuits, or one chassis of them; what is in both is in one
    place (for ``neato -n2``).

    Parts that go are marked as "removed" in the first, parts that come as "new" in the second,
    parts that change as "changed" in both.
    """
    old, new = before.by_name, after.by_name
    gone = {name: "removed" for name in old if name not in new}
    come = {name: "new" for name in new if name not in old}
    far = {name for name in old.keys() & new.keys() if _is_another(old[name], new[name])}
    gone |= dict.fromkeys(far, "removed")
    come |= dict.fromkeys(far, "new")
    changed = {
        name: "changed"
        for name in (old.keys() & new.keys()) - far
        if (old[name].kind, old[name].type, old[name].values)
        != (new[name].kind, new[name].type, new[name].values)
    }
    marks = (
        replace(before_marks, states={**gone, **changed}),
        replace(after_marks, states={**come, **changed}),
    )
    drawn = [with_key(near, theme) for near in _drafted((before, after), marks, theme, chassis)]
    places = arranged(_union(drawn, theme, layout), theme, layout)
    titles = (f"Before: {before.title}", f"After: {after.title}")
    first, second = (
        placed(near, places, theme, _titled(title, chassis))
        for near, title in zip(drawn, titles, strict=True)
    )
    return first, second


def _titled(title: str, chassis: str | None) -> str:
    return f"{title}: {chassis}" if chassis else title


def series_sources(
    circuits: Sequence[Circuit], layout: Layout, *, theme: Theme = "light", marks: Sequence[Marks]
) -> tuple[str, ...]:
    """Return the DOT sources of circuits that came one out of another, whatever is in two of them
    in the same place in both.

    ``marks`` has one entry a circuit. A part that goes or comes between two of them under the same
    name, but as another part, has a place for each.
    """
    drawn = _drafted(circuits, marks, theme, None)
    places = arranged(_union(drawn, theme, layout), theme, layout)
    return tuple(
        placed(picture, places, theme, circuit.title)
        for picture, circuit in zip(drawn, circuits, strict=True)
    )


def _drafted(
    circuits: Sequence[Circuit], marks: Sequence[Marks], theme: Theme, chassis: str | None
) -> list[Sheet]:
    """Return a sheet of each circuit, whatever is in two of them in one area, and its lines on one
    side, in both.
    """
    last = {part.name: part for circuit in circuits for part in circuit.parts}
    drafts: list[tuple[Circuit, Marks, dict[str, str], set[str]]] = []
    sheets: list[Sheet] = []
    area_of: dict[str, str] = {}
    for circuit, mark in zip(reversed(circuits), reversed(marks), strict=True):
        apart = {part.name for part in circuit.parts if _is_another(part, last[part.name])}
        known = {name: area for name, area in area_of.items() if name not in apart}
        drafts.insert(0, (circuit, mark, known, apart))
        sheets.insert(0, sheet(circuit, theme, mark, chassis=chassis, area_of=known, apart=apart))
        area_of = {
            name_of(key): area
            for key, area in sheets[0].area.items()
            if key[0] in "pw" and name_of(key) not in apart
        } | area_of
    level = steps(
        *(
            [thing for draft in sheets for thing in getattr(draft, what)]
            for what in ("joints", "sources", "detours")
        )
    )
    return [
        sheet(circuit, theme, mark, chassis=chassis, area_of=known, apart=apart, level=level)
        for circuit, mark, known, apart in drafts
    ]


def _is_another(old: Part, new: Part) -> bool:
    """True where a name was given to another part: of another kind, or on none of the nodes that
    the old one was on.
    """
    if old.kind != new.kind:
        return new.kind != "socket"
    return old.values != new.values and not {node for _, node in old.pins} & {
        node for _, node in new.pins
    }


def _union(sheets: Sequence[Sheet], theme: Theme, layout: Layout) -> Sheet:
    """Return all that is on any of the sheets, as the last of them has it."""
    together = Sheet(_roomy([draft.vertices for draft in sheets], theme, layout))
    for draft in sheets:
        together.edges |= draft.edges
        together.area |= draft.area
        together.level |= draft.level
    return together


def _roomy(every: Sequence[Vertices], theme: Theme, layout: Layout) -> Vertices:
    """Return the vertices of all; one that does not look the same everywhere gets room for each of
    its looks.
    """
    looks: dict[str, list[dict[str, str]]] = {}
    for vertices in every:
        for key, look in vertices.items():
            if look not in looks.setdefault(key, []):
                looks[key].append(look)
    roomy = {key: seen[-1] for key, seen in looks.items()}
    several = {key: seen for key, seen in looks.items() if len(seen) > 1}
    if not several:
        return roomy
    page = graph(theme, "")
    for number, seen in enumerate(several.values()):
        for count, look in enumerate(seen):
            page.node(f"v{number}_{count}", **look)
    size = {
        thing["name"]: (float(thing["width"]), float(thing["height"]))
        for thing in json.loads(layout(page.source))["objects"]
    }
    for number, (key, seen) in enumerate(several.items()):
        sizes = [size[f"v{number}_{count}"] for count in range(len(seen))]
        most = tuple(map(max, zip(*sizes, strict=True)))
        roomy[key] = next(
            (
                look
                for look, own_size in reversed(list(zip(seen, sizes, strict=True)))
                if own_size == most
            ),
            {
                **seen[-1],
                "shape": "none",
                "margin": "0",
                "width": f"{most[0]:.4f}",
                "height": f"{most[1]:.4f}",
            },
        )
    return roomy
