"""The demos drawn before and after, and read back: nothing on top of anything, nothing off the
page, nobody left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from svg_reading import DEMOS, ROOT, Drawing, drawing_of, inside, overlap

from rework.circuit.circuit import Circuit
from rework.commands.draw_graph import marks
from rework.draw.graph.marks import Marks
from rework.draw.graph.render import layout, rendered
from rework.draw.graph.sources import pair_sources, placed_source
from rework.rules.job_file import run_job_file

#: Points by which outlines may reach into one another: half the width of the two heaviest.
TOUCH = 2.5
#: Points by which words may leave their block: what Helvetica and the renderer's own measure differ
#: by in a long word.
SPILL = 2.0
SIDE_BY_SIDE = pytest.mark.parametrize("demo", DEMOS)


@dataclass(frozen=True)
class Pair:
    circuits: tuple[Circuit, Circuit]
    drawings: tuple[Drawing, Drawing]
    supply: Drawing

    @property
    def sheets(self) -> tuple[Drawing, ...]:
        return (*self.drawings, self.supply)

    def each(self):
        return zip(self.circuits, self.drawings, strict=True)


_PAIRS: dict[str, Pair] = {}


@pytest.fixture
def pair(demo: str) -> Pair:
    if demo not in _PAIRS:
        done = run_job_file(str(ROOT / "circuits" / demo / f"{demo}.job"))
        found = marks(done.before), marks(done.after)
        sources = pair_sources(
            done.before, done.after, layout, chassis="", before_marks=found[0], after_marks=found[1]
        )
        first, second = (drawing_of(rendered(text, "svg", placed=True)) for text in sources)
        supply = drawing_of(
            rendered(
                placed_source(done.after, layout, chassis="SUPPLY", marks=found[1]),
                "svg",
                placed=True,
            )
        )
        _PAIRS[demo] = Pair((done.before, done.after), (first, second), supply)
    return _PAIRS[demo]


@SIDE_BY_SIDE
def test_no_block_and_no_net_stands_on_another(pair):
    for drawing in pair.sheets:
        boxes = sorted((one.box, one.words) for one in drawing.blocks)
        hits = [
            (a, b)
            for at, (one, a) in enumerate(boxes)
            for other, b in boxes[at + 1 :]
            if overlap(one, other) > TOUCH
        ]
        assert not hits


@SIDE_BY_SIDE
def test_all_words_stay_in_their_block_and_all_blocks_on_the_page(pair):
    for drawing in pair.sheets:
        assert not [one.words for one in drawing.blocks if not inside(one.box, drawing.page)]
        assert not [
            text.words
            for one in drawing.blocks
            for text in one.texts
            if not inside(text.box, drawing.page)
        ]
        boxed = [one for one in drawing.blocks if "a meter decides" not in one.words]
        assert not [
            text.words
            for one in boxed
            for text in one.texts
            if not inside(text.box, one.box, SPILL)
        ]


@SIDE_BY_SIDE
def test_no_words_stand_on_other_words(pair):
    for drawing in pair.sheets:
        for one in drawing.blocks:
            texts = one.texts
            hits = [
                (a.words, b.words)
                for at, a in enumerate(texts)
                for b in texts[at + 1 :]
                if overlap(a.box, b.box) > TOUCH
            ]
            assert not hits, one.words


@SIDE_BY_SIDE
def test_no_line_runs_through_a_block_it_does_not_end_at(pair):
    for drawing in pair.sheets:
        through = []
        for line in drawing.lines:
            for one in drawing.blocks:
                left, top, right, bottom = one.box
                within = [left + 3 < x < right - 3 and top + 3 < y < bottom - 3 for x, y in line]
                if any(within) and not within[0] and not within[-1]:
                    through.append(one.words)
        assert not through


@SIDE_BY_SIDE
def test_every_part_and_every_node_that_parts_meet_on_is_named(pair):
    for circuit, drawing in pair.each():
        words = " ".join(
            one.words
            for one in (
                *drawing.blocks,
                *(pair.supply.blocks if circuit is pair.circuits[1] else ()),
            )
        ).split()
        names = {part.name.rpartition("/")[2] for part in circuit.parts}
        met = {
            node.rpartition("/")[2]
            for node, on in circuit.at.items()
            if sum(not part.is_conductor for part, _ in on) >= 2
        }
        assert not [
            name
            for name in sorted(names | met)
            if not any(name == word or word.endswith("/" + name) for word in words)
        ]


@SIDE_BY_SIDE
def test_what_is_in_both_stands_in_the_same_place(pair):
    old, new = (circuit.by_name for circuit in pair.circuits)
    lone = {
        name
        for name in old.keys() & new.keys()
        if not any(other.endswith("/" + name) for other in new)
    }
    before, after = (
        {
            (one.name, "heater" in (text.words for text in one.texts)): one
            for one in drawing.blocks
            if one.name in lone and not {"removed", "new"} & set(one.words.split())
        }
        for drawing in pair.drawings
    )
    both = sorted(before.keys() & after.keys())
    assert len(both) >= 15
    moved = [
        (key, _middle(before[key]), _middle(after[key]))
        for key in both
        if _middle(before[key]) != pytest.approx(_middle(after[key]), abs=1.5)
    ]
    assert not moved


def _middle(seen):
    return ((seen.box[0] + seen.box[2]) / 2, (seen.box[1] + seen.box[3]) / 2)


@SIDE_BY_SIDE
def test_on_a4_lying_no_letter_is_smaller_than_six_points(pair):
    """Five millimetres of margin all round; a point is 1/72 of an inch."""
    page = tuple((side - 10) / 25.4 * 72 for side in (297, 210))
    for drawing in pair.sheets:
        scale = min(room / measure for room, measure in zip(page, drawing.canvas, strict=True))
        assert min(text.size for one in drawing.blocks for text in one.texts) * scale >= 6


@SIDE_BY_SIDE
def test_a_supply_on_its_own_chassis_has_a_sheet_of_its_own(pair):
    own = {
        part.name.rpartition("/")[2]
        for part in pair.circuits[1].parts
        if part.name.startswith("SUPPLY/") and part.kind != "wire"
    }
    assert {one.name for one in pair.supply.blocks} - {""} >= own
    connectors = {part.name for part in pair.circuits[1].parts if part.kind == "connector"}
    assert {one.part for one in pair.drawings[1].blocks if "/" in one.part} == connectors, (
        "what the amplifier plugs into"
    )
    fuse = next(one for one in pair.supply.blocks if one.name == "F1")
    assert "to WS1" in fuse.words, "where the line goes on, on the other sheet"


@SIDE_BY_SIDE
def test_both_sheets_measure_the_same_and_fit_a4_lying(pair):
    before, after = (
        (drawing.page[2] - drawing.page[0], drawing.page[3] - drawing.page[1])
        for drawing in pair.drawings
    )
    assert before == pytest.approx(after, rel=0.05)
    assert after == pytest.approx(pair.drawings[1].canvas, abs=2), (
        "paper to the very edge, whatever lies behind the picture"
    )
    assert 0.85 < after[0] / after[1] < 2.0


@SIDE_BY_SIDE
def test_the_line_stands_left_and_the_speaker_right(pair):
    for circuit, drawing in pair.each():
        of_kind = {part.kind: part.name for part in circuit.parts if "/" not in part.name}
        at = {one.name: one.box for one in drawing.blocks if one.name in of_kind.values()}
        source = next(of_kind[kind] for kind in ("jack", "pickup", "microphone") if kind in of_kind)
        assert at[source][2] < at[of_kind["output transformer"]][0] < at[of_kind["speaker"]][0]
        assert "plug" not in of_kind or at[of_kind["plug"]][2] < at[of_kind["speaker"]][0]


@SIDE_BY_SIDE
def test_a_hazard_within_reach_is_told_by_the_word_and_a_second_outline(pair):
    for circuit, drawing in pair.each():
        hazards = marks(circuit).hazards
        told = [
            one
            for one in drawing.blocks
            if "HAZARD" in [word for text in one.texts if text.bold for word in text.words.split()]
        ]
        assert bool(told) == bool(hazards)
        assert all(len(one.outlines) >= 2 for one in told)


@SIDE_BY_SIDE
def test_what_goes_and_what_comes_is_told_by_the_word_and_the_outline(pair):
    (before, after), (first, second) = pair.circuits, pair.drawings
    gone = {
        name
        for name, part in before.by_name.items()
        if name not in after.by_name and not part.is_conductor
    }
    come = {
        name
        for name, part in after.by_name.items()
        if name not in before.by_name
        and not part.is_conductor
        and ("/" not in name or part.kind == "connector")
    }
    removed = [one for one in first.blocks if "removed" in one.words.split()]
    new = [one for one in second.blocks if "new" in one.words.split()]
    assert gone <= {one.name for one in removed}
    assert come <= {one.part for one in new}
    assert all(dash for one in removed for dash, _ in one.outlines[-1:]), "dashed"
    assert all(max(width for _, width in one.outlines) >= 2 for one in new), "heavy"
    assert not any("removed" in one.words.split() for one in second.blocks)
    assert not any("new" in one.words.split() for one in first.blocks)


@SIDE_BY_SIDE
def test_one_circuit_alone_is_drawn_as_cleanly(pair):
    circuit = pair.circuits[0]
    drawing = drawing_of(
        rendered(
            placed_source(circuit, layout, marks=Marks(frozenset(), frozenset(), {})),
            "svg",
            placed=True,
        )
    )
    boxes = [one.box for one in drawing.blocks]
    assert not [
        1
        for at, one in enumerate(boxes)
        for other in boxes[at + 1 :]
        if overlap(one, other) > TOUCH
    ]
    assert drawing.title == circuit.title


@SIDE_BY_SIDE
def test_where_something_is_marked_it_is_said_that_no_mark_is_no_promise(pair):
    for drawing in pair.drawings:
        assert any(
            "without a mark can still be at line voltage" in one.words for one in drawing.blocks
        )


@SIDE_BY_SIDE
def test_the_room_left_for_the_new_supply_is_told(pair):
    before, after = pair.drawings
    room, supply = (
        next(text.box for one in drawing.blocks for text in one.texts if words in text.words)
        for drawing, words in ((before, "Room for SUPPLY"), (after, "SUPPLY, on its own chassis"))
    )
    assert room[:2] == pytest.approx(supply[:2], abs=60)


def test_what_a_b_plus_fuse_feeds_is_red_as_well():
    from rework.draw.graph.roles import roles
    from rework.language.resolve import read_circuit

    circuit, problems = read_circuit("""mains 117 V 60 Hz
P1 plug three-pin : line=L1, neutral=N1, earth=PE
F1 fuse 0.5 A 250 V slow : L1 -- L2
T1 transformer 50 VA : primary 117 V = L2 -- N1, hv 200 V = H1 -- H2, screen=PE
BR1 bridge 600 V 1 A : ac1=H1, ac2=H2, plus=B1, minus=COMMON
C1 electrolytic 47 uF 350 V : B1 -- COMMON
F2 fuse 100 mA 500 V fast : B1 -- BP
R1 resistor 100k 2 W bleeder : BP -- COMMON
CH1 chassis : PE
""")
    assert circuit is not None, problems
    found = roles(circuit)
    assert (found["B1"], found["BP"]) == ("b-plus", "b-plus")
    assert (found["L1"], found["L2"]) == ("line", "line"), "what the line fuse feeds stays line"
