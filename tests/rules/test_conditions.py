"""What each word for conditions says of sets that anyone at the bench can look over."""

from __future__ import annotations

import pytest
from sets import PAGER, SUPPLY, TALKBACK, circuit, with_supply

from rework.circuit.circuit import Circuit
from rework.rules.known import Known, Operand
from rework.rules.match import node_at
from rework.rules.vocabulary import VOCABULARY


def says(board: Circuit, phrase: str, *names: str) -> bool:
    """Ask one phrase; a name is a part, a node, or a plain word, in that order."""
    known = Known(board)
    operands = []
    for name in names:
        node = node_at(board, name)
        if (part := board.part(name)) is not None:
            operands.append(Operand(name, part=part))
        elif node in known.facts.group:
            operands.append(Operand(name, point=known.facts.group[node]))
        else:
            operands.append(Operand(name))
    return VOCABULARY[phrase](known, *operands)


PAGER_SET, TALKBACK_SET, BOTH = circuit(PAGER), circuit(TALKBACK), with_supply(PAGER)

DOUBLER = circuit("""
circuit "Doubler"
mains 117 V 60 Hz
P1  plug two-blade           : line=L1, neutral=COMMON
C1  electrolytic 40 uF 150 V : X -- L1
V1  tube 25Z6GT              : 2=L1, 7=COMMON, diode1.plate=X, diode1.cathode=B1,
                               diode2.plate=COMMON, diode2.cathode=X, unused 1
C2  electrolytic 40 uF 300 V : B1 -- COMMON
R1  resistor 10k 10 W        : B1 -- COMMON
T1  transformer 2.5 VA       : primary 117 V = L1 -- COMMON, heater 6.3 V = H1 -- COMMON
V2  tube 6AV6                : 1=G1, 2=COMMON, 3=H1, 4=COMMON, 5=COMMON, 6=COMMON, 7=P1N
R2  resistor 10M             : G1 -- COMMON
R3  resistor 220k            : B1 -- P1N
M1  motor 117 V 60 Hz        : 1=L1, 2=COMMON
M2  motor 92 V 0.3 A         : 1=L1, 2=COMMON
""")

DIRECT = circuit("""
circuit "Direct"
mains 220 V DC
P1  plug two-blade        : line=L1, neutral=COMMON
S1  switch SPST on R1     : L1 -- L2
R1  pot 500k              : ccw=COMMON, wiper=G1, cw=IN
R2  pot 500k plastic-shaft : ccw=COMMON, wiper=G1, cw=IN
R3  resistor 10k 5 W      : L2 -- COMMON
""")

TRUE = [
    (DIRECT, "_ is for direct current", "P1"),
    (DIRECT, "_ carries _", "R1", "S1"),
    (DIRECT, "_ has a loose shaft", "R1"),
    (DOUBLER, "_ is doubler", "V1"),
    (DOUBLER, "_ feeds heaters only", "T1"),
    (DOUBLER, "_ is for the line", "M1"),
    (PAGER_SET, "_ is mains-tied", "COMMON"),
    (PAGER_SET, "_ is mains-tied", "P1"),
    (PAGER_SET, "_ is mains-tied", "V3"),
    (PAGER_SET, "_ is line", "L3"),
    (PAGER_SET, "_ is line", "N1"),
    (PAGER_SET, "_ is live", "L2"),
    (PAGER_SET, "_ is same line as _", "L1", "L3"),
    (PAGER_SET, "_ is touchable", "IN"),
    (PAGER_SET, "_ is metal", "CHASSIS"),
    (PAGER_SET, "_ is chassis", "CHASSIS"),
    (PAGER_SET, "_ is common", "COMMON"),
    (PAGER_SET, "_ is on board", "R1"),
    (PAGER_SET, "_ is on _", "H3", "HA"),
    (PAGER_SET, "_ is between _ _", "R13", "COMMON", "K3"),
    (PAGER_SET, "_ is a part", "R1"),
    (PAGER_SET, "_ is a node", "V3.plate"),
    (PAGER_SET, "_ is rail", "B2"),
    (PAGER_SET, "_ is rail", "B1"),
    (PAGER_SET, "_ is filter", "C1"),
    (PAGER_SET, "_ is line fuse", "F1"),
    (PAGER_SET, "_ is line switch", "S1"),
    (PAGER_SET, "_ in heater string", "V1"),
    (PAGER_SET, "_ in heater string", "V4"),
    (PAGER_SET, "_ in heater string", "R1"),
    (PAGER_SET, "_ in heater string", "LA1"),
    (PAGER_SET, "_ heater is _", "V1", "12.6 V"),
    (PAGER_SET, "_ is known tube", "6CU5"),
    (PAGER_SET, "_ is rectifier", "V4"),
    (PAGER_SET, "_ has rectifier unit", "V4"),
    (PAGER_SET, "_ is marked _", "R2", "surge"),
    (PAGER_SET, "_ is same curves as _", "V3", "6CU5"),
    (PAGER_SET, "_ is bypassed", "R13"),
    (PAGER_SET, "_ has free pins", "V3"),
    (PAGER_SET, "_ is named _", "C1", "C1"),
    (PAGER_SET, "_ is referenced to _", "G3", "COMMON"),
    (PAGER_SET, "_ is under _", "R2", "2 W"),
    (PAGER_SET, "_ is under _", "500 mW", "1 W"),
    (PAGER_SET, "_ is over _", "C3", "350 V"),
    (PAGER_SET, "_ is output stage", "V3"),
    (PAGER_SET, "_ is in series with _", "V3", "V2"),
    (PAGER_SET, "_ may be _", "V1", "V2"),
    (TALKBACK_SET, "_ is capacitively-tied", "CHASSIS"),
    (TALKBACK_SET, "_ is back-bias", "R3"),
    (TALKBACK_SET, "_ is back-bias", "R5"),
    (TALKBACK_SET, "_ is back-biased", "COMMON"),
    (TALKBACK_SET, "_ is negative return", "BMIN"),
    (TALKBACK_SET, "_ is rectifier", "D1"),
    (TALKBACK_SET, "_ has tapped heater", "V1"),
    (TALKBACK_SET, "_ heater is _", "V1", "12.6 V"),
    (TALKBACK_SET, "_ in heater string", "TH1"),
    (BOTH, "_ is earthed", "SUPPLY/UE"),
    (BOTH, "_ unplugs", "SUPPLY/UB"),
    (BOTH, "_ is fed by a winding", "SUPPLY/BR1"),
    (BOTH, "_ is a node", "SUPPLY/bplus"),
    (BOTH, "_ stays earthed", "SUPPLY/E"),
]
FALSE = [
    (PAGER_SET, "_ is for direct current", "P1"),
    (DIRECT, "_ carries _", "R2", "S1"),
    (DIRECT, "_ has a loose shaft", "R2"),
    (PAGER_SET, "_ has a loose shaft", "R9"),
    (PAGER_SET, "_ is doubler", "V4"),
    (DOUBLER, "_ is doubler", "V2"),
    (BOTH, "_ feeds heaters only", "SUPPLY/T1"),
    (DOUBLER, "_ is for the line", "M2"),
    (PAGER_SET, "_ is mains-tied", "SP1"),
    (PAGER_SET, "_ is under _", "R2", "1 W"),
    (PAGER_SET, "_ is over _", "R2", "1 W"),
    (PAGER_SET, "_ is under _", "R5", "1 W"),
    (PAGER_SET, "_ is under _", "500 mW", "1 V"),
    (PAGER_SET, "_ is under _", "R2", "little"),
    (PAGER_SET, "_ is output stage", "V2"),
    (PAGER_SET, "_ is in series with _", "R1", "R2"),
    (PAGER_SET, "_ is in series with _", "R1", "R1"),
    (PAGER_SET, "_ is capacitively-tied", "COMMON"),
    (PAGER_SET, "_ is line", "B1"),
    (PAGER_SET, "_ is live", "COMMON"),
    (PAGER_SET, "_ is same line as _", "L1", "N1"),
    (PAGER_SET, "_ is metal", "IN"),
    (PAGER_SET, "_ is touchable", "P3"),
    (PAGER_SET, "_ is earthed", "CHASSIS"),
    (PAGER_SET, "_ is rail", "P3"),
    (PAGER_SET, "_ is rail", "S1N"),
    (PAGER_SET, "_ is rail", "COMMON"),
    (PAGER_SET, "_ is filter", "C10"),
    (PAGER_SET, "_ in heater string", "R2"),
    (PAGER_SET, "_ in heater string", "R5"),
    (PAGER_SET, "_ in heater string", "R4"),
    (PAGER_SET, "_ heater is _", "V1", "6.3 V"),
    (PAGER_SET, "_ has tapped heater", "V1"),
    (PAGER_SET, "_ is same curves as _", "V3", "6AQ5"),
    (PAGER_SET, "_ is rectifier", "V1"),
    (PAGER_SET, "_ is back-bias", "R13"),
    (PAGER_SET, "_ is back-biased", "COMMON"),
    (PAGER_SET, "_ is a node", "HEAT1"),
    (PAGER_SET, "_ is a part", "R99"),
    (PAGER_SET, "_ is bypassed", "R6"),
    (PAGER_SET, "_ is fed by a winding", "V4"),
    (PAGER_SET, "_ is known tube", "6ZZ9"),
    (TALKBACK_SET, "_ is back-bias", "R7"),
    (TALKBACK_SET, "_ in heater string", "R1"),
    (BOTH, "_ is on board", "SUPPLY/R1"),
    (BOTH, "_ unplugs", "B1"),
    (BOTH, "_ stays earthed", "SUPPLY/UE"),
    (BOTH, "_ is mains-tied", "SUPPLY/B1"),
]


def named(case) -> str:
    board, phrase, *names = case
    return phrase.replace("_", "{}").format(*names) + f" ({board.title.split()[0]})"


@pytest.mark.parametrize("case", TRUE, ids=named)
def test_it_is(case):
    assert says(*case)


@pytest.mark.parametrize("case", FALSE, ids=named)
def test_it_is_not(case):
    assert not says(*case)


def test_every_word_is_tried_here_or_in_a_rule():
    tried = {phrase for _, phrase, *_ in (*TRUE, *FALSE)}
    assert set(VOCABULARY) - tried <= {
        "_ joins two only",
        "_ is _",
        "_ heater is across _ _",
        "_ heater has a winding",
    }


def test_the_supply_alone_has_nothing_in_a_string_and_nothing_back_biased():
    known = Known(circuit(SUPPLY))
    assert not known.facts.heaters.parts
    assert not known.facts.back_biased


def test_heaters_in_parallel_on_a_winding_are_in_no_string_and_in_series_they_are():
    parallel = """
T1 transformer : primary = L1 -- N1, heater 6.3 V = H1 -- H2
P1 plug two-blade : line=L1, neutral=N1
V1 tube 6AV6 : 1=G1, 2=K, 3=H1, 4=H2, 5=K, 6=K, 7=A1
V2 tube 6AV6 : 1=G2, 2=K, 3={third}, 4=H2, 5=K, 6=K, 7=A2
open G1, G2, A1, A2 {more}
"""
    assert not Known(circuit(parallel.format(third="H1", more=""))).facts.heaters.parts
    series = parallel.replace("4=H2, 5=K, 6=K, 7=A1", "4=H3, 5=K, 6=K, 7=A1").format(
        third="H3", more=""
    )
    known = Known(circuit(series))
    assert known.facts.heaters.parts == {"V1", "V2"}
    assert not known.facts.ties.tied.keys() & {
        "H1",
        "H2",
        "H3",
    }, "a string on a winding is no hazard"


def test_a_divider_between_common_and_the_line_is_no_bias_where_the_cathode_has_its_own_resistor():
    board = circuit(
        TALKBACK.replace("cathode=COMMON, 2=G2", "cathode=K2, 2=G2")
        + "R99 resistor 150 ohm : K2 -- COMMON\n"
    )
    assert not Known(board).facts.back_biased
