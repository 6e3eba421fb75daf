"""Colours of transformer leads against the table that the trade passes on.

Second-hand: the standard's own text was not seen.

Seen: rfcafe.com/references/electrical/xfr-lead-color-code.htm (power and audio transformers); the
same in liquisearch.com/electronic_color_code and
angelfire.com/electronic/funwithtubes/Transformer_Lead_Colors.HTML.
"""

import pytest

from rework.circuit.circuit import Circuit, Mains
from rework.circuit.leads import lead_colour
from rework.circuit.parts import Part
from rework.draw.graph.leads import chips_of

POWER = Part(
    "T1",
    "transformer",
    pins=tuple(
        (terminal, terminal)
        for terminal in (
            "primary.start",
            "primary.finish",
            "hv.start",
            "hv.tap",
            "hv.finish",
            "rectifier.start",
            "rectifier.finish",
            "heater.start",
            "heater.tap",
            "heater.finish",
            "heater2.start",
            "heater2.finish",
            "heater3.start",
            "heater3.finish",
            "core",
        )
    ),
)
#: Printed: winding, leads, tap.
PRINTED = {
    "primary.start": "black",
    "primary.finish": "black",
    "hv.start": "red",
    "hv.finish": "red",
    "hv.tap": "red/yellow",
    "rectifier.start": "yellow",
    "heater.start": "green",
    "heater.tap": "green/yellow",
    "heater2.finish": "brown",
    "heater3.start": "slate",
}
ROLES = {"P": "plate", "Q": "plate", "B": "b-plus", "S": "signal", "C": "common"}


def colour(part: Part, terminal: str, *, hertz: float = 60) -> str:
    circuit = Circuit(mains=Mains(117, hertz), parts=(part,))
    return lead_colour(circuit, part, terminal, dict.fromkeys(circuit.at, "signal") | ROLES)


@pytest.mark.parametrize(("terminal", "printed"), PRINTED.items())
def test_power_transformer(terminal, printed):
    assert colour(POWER, terminal) == printed


def test_a_tapped_primary_has_black_yellow_and_black_red():
    tapped = Part(
        "T1",
        "transformer",
        pins=(("primary.start", "A"), ("primary.tap", "B"), ("primary.finish", "D")),
    )
    assert [colour(tapped, terminal) for terminal, _ in tapped.pins] == [
        "black",
        "black/yellow",
        "black/red",
    ]


def test_output_transformer_by_what_its_leads_are_on():
    single = Part(
        "T1",
        "output transformer",
        pins=(
            ("primary.start", "B"),
            ("primary.finish", "P"),
            ("secondary.start", "S"),
            ("secondary.finish", "C"),
        ),
    )
    assert [colour(single, terminal) for terminal, _ in single.pins] == [
        "red",
        "blue",
        "green",
        "black",
    ]
    pair = Part(
        "T1",
        "output transformer",
        pins=(("primary.start", "P"), ("primary.tap", "B"), ("primary.finish", "Q")),
    )
    assert [colour(pair, terminal) for terminal, _ in pair.pins] == ["blue", "red", "brown"]


def test_where_the_code_is_silent_no_colour_is_made_up():
    assert colour(POWER, "core") == ""
    assert colour(POWER, "primary.start", hertz=50) == "", "Europe has no common code"
    unknown = Part(
        "T1", "output transformer", pins=(("primary.start", "S"), ("primary.finish", "C"))
    )
    assert colour(unknown, "primary.start") == ""


def test_a_colour_is_told_by_its_name_as_well():
    for theme in ("light", "dark", "print"):
        assert [name for name, *_ in chips_of("red/yellow", theme)] == ["red", "yellow"]
