"""The stock list: what it reads, and that every mistake of a file is told at once, with its place."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rework.supply.stock import CLASSES, STOCKED, StockTransformer
from rework.supply.stock_reader import WANTED, cells, read_shelf

ROOT = Path(__file__).parents[2]
HEAD = "kind,name,value,volts,amps,ohms,watts,va,windings,screen,class,size,ripple,surge,i2t,no-load,price,note\n"


def read(*lines: str):
    return read_shelf((HEAD + "\n".join(lines) + "\n").encode(), file="shelf.csv")


def test_the_demo_list_reads_and_says_that_it_is_invented():
    data = (ROOT / "circuits" / "shelf.csv").read_bytes()
    shelf, problems = read_shelf(data, file="shelf.csv")
    assert problems == ()
    assert b"invented" in data.splitlines()[0]
    assert all(shelf.of(stocked) for stocked in STOCKED.values())
    assert {round(item.primary.volts) for item in shelf.of(StockTransformer)} >= {
        117,
        220,
        230,
    }


def test_the_skeleton_of_a_list_reads_and_has_a_line_of_every_kind():
    from rework.commands.new import skeleton

    shelf, problems = read_shelf(skeleton(Path("mine.csv")).encode(), file="mine.csv")
    assert problems == ()
    assert all(len(list(shelf.of_kind(kind))) == 1 for kind in WANTED)


def test_a_transformer_with_a_tapped_winding():
    shelf, problems = read(
        "transformer,T,,,,,,50,primary 117 V 9 ohm + hv 240-0-240 V 60 mA 420 ohm + heater 6.3 V"
        ' tap 2.5 A 0.08 ohm,yes,A,80 x 66 x 70 mm,,,,3.2,46,"from a ""dead"" set, tested"'
    )
    assert problems == ()
    one = shelf.items[0]
    hv = one.winding("hv")
    assert (hv.volts, hv.amps, hv.ohms, hv.tapped) == (480, 0.06, 420, True)
    assert one.winding("heater").tapped
    assert not one.winding("primary").tapped
    assert one.screen
    assert one.size == (0.08, 0.066, 0.07)
    assert one.price == 46
    assert one.note == 'from a "dead" set, tested'


def test_a_bare_number_takes_the_unit_of_its_column():
    shelf, _ = read("fuse,,,250,0.5,,,,,,slow,,,,,,,")
    assert (shelf.items[0].volts, shelf.items[0].amps, shelf.items[0].speed) == (
        250,
        0.5,
        "slow",
    )


@pytest.mark.parametrize("mark", [";", "\t"])
def test_a_list_out_of_a_spreadsheet_with_other_marks(mark):
    shelf, problems = read_shelf(
        f"kind{mark}name{mark}volts{mark}amps\r\ndiode{mark}1N4007{mark}1000 V{mark}1 A\r\n".encode(),
        file="s.csv",
    )
    assert problems == ()
    assert shelf.items[0].volts == 1000


def test_every_mistake_comes_at_once_with_line_column_and_what_was_expected():
    lines = [
        "electrolytic,,47 kg,450 V,,,,,,,,,,,,,,",
        "choke,CH,10 H,,75 mA,,,,,,,,,,,,,",
        "tube,6V66GT,,,,,,,,,,,,,,,,",
        "transformer,T,,,,,,50,primary 117 V 9 ohm + hv 480 V 60 mA,maybe,Z,big,,,,,cheap,",
        "bananna,,,,,,,,,,,,,,,,,",
    ]
    shelf, problems = read(*lines)
    assert shelf is None
    at = {(problem.place.line, problem.place.column) for problem in problems}
    assert {line for line, _ in at} == {2, 3, 4, 5, 6}
    assert (2, lines[0].index("47 kg") + 1) in at
    assert (5, lines[3].index("hv 480 V") + 1) in at, "the winding itself is pointed at"
    assert sum(problem.place.line == 5 for problem in problems) == 5, (
        "ohms, screen, class, size and price"
    )
    assert all(problem.expected for problem in problems)
    assert all(problem.text for problem in problems)


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "lists no parts"),
        (b"# nothing\n", "lists no parts"),
        (b"kind,name\n", "lists no parts"),
        (b"name,volts\nX,3\n", "no column kind"),
        (b"kind,nmae,volts\n", "no column 'nmae'"),
        (b"kind,name,volts,volts\n", "twice"),
        (b"\xff\xfe\x00k", "UTF-16"),
        (b"kind,name,volts,amps\ndiode,X,1000 V,1 A,4,5\n", "6 cells"),
        (b"kind,name,value,volts\nelectrolytic,,47 uF,450 A\n", "no voltage"),
        (
            b"kind,name,va,windings\ntransformer,T,50,hv 100 V 1 A 3 ohm\n",
            "no winding is called primary",
        ),
        (
            (
                b"kind,name,va,windings\ntransformer,T,50,primary 117 V 9 ohm + hv 100-0-90 V 1 A 3"
                b" ohm\n"
            ),
            "a winding cannot say",
        ),
        (b"kind,name,amps,volts,class\nfuse,F,1 A,250 V,A\n", "kind of fuse"),
    ],
)
def test_lists_that_cannot_be_read_say_why(data, says):
    shelf, problems = read_shelf(data, file="shelf.csv")
    assert shelf is None
    assert any(says in problem.message for problem in problems), [
        problem.message for problem in problems
    ]


@given(st.binary(max_size=400))
def test_no_bytes_break_the_reader(data):
    shelf, problems = read_shelf(data, file="shelf.csv")
    assert (shelf is None) == bool(problems)


@given(
    st.text(alphabet=st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), max_size=200)
)
def test_no_text_behind_a_good_first_line_breaks_the_reader(text):
    shelf, problems = read_shelf((HEAD + text).encode(), file="shelf.csv")
    assert (shelf is None) == bool(problems)
    assert all(
        problem.place.column >= 1 and problem.place.end > problem.place.column
        for problem in problems
    )


WINDING = st.tuples(
    st.sampled_from(["hv", "heater", "rectifier", "secondary"]),
    st.integers(1, 600),
    st.integers(1, 5000),
    st.floats(0.01, 900).map(lambda x: round(x, 3)),
    st.booleans(),
)


@given(
    st.integers(1, 500),
    st.integers(90, 260),
    st.lists(WINDING, max_size=4, unique_by=lambda one: one[0]),
    st.sampled_from(sorted(CLASSES)),
    st.booleans(),
)
def test_what_is_written_of_a_transformer_is_what_is_read(va, line, windings, thermal, quoted):
    told = [f"primary {line} V 9 ohm"] + [
        f"{name} {volts} V {amps} mA {ohms} ohm{' tap' if tapped else ''}"
        for name, volts, amps, ohms, tapped in windings
    ]
    cell = " + ".join(told)
    cell = f'"{cell}"' if quoted else cell
    shelf, problems = read(f"transformer,T,,,,,,{va},{cell},,{thermal},,,,,,,")
    assert problems == ()
    one = shelf.items[0]
    assert (one.va, one.insulation) == (va, thermal)
    assert [
        (w.name, w.volts, round(w.amps * 1000), w.ohms, w.tapped) for w in one.windings[1:]
    ] == [tuple(w) for w in windings]


@given(
    st.lists(
        st.text(
            alphabet=st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Z")), max_size=8
        ),
        min_size=1,
        max_size=6,
    )
)
def test_cells_quoted_as_rfc_4180_has_it_come_back_with_their_place(texts):
    line = ",".join('"' + text.replace('"', '""') + '"' for text in texts)
    found = list(cells(line, ","))
    assert [text for text, _, _ in found] == texts
    assert all(line[start - 2] == '"' for _, start, _ in found)
