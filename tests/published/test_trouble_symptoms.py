"""Published symptoms against the solver: the trouble put into the reworked pager, a 10 Mohm meter on
the pin. Sources stand beside each row in ``trouble_symptoms.toml``.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from rework.circuit.circuit import Circuit
from rework.circuit.edits import Bridge, MoveLead, RemovePart, SetValue
from rework.circuit.parts import Value
from rework.faultfinding.case import Case, solved_cases
from rework.faultfinding.figures import shown
from rework.faultfinding.points import BenchFigure, ProbePoint
from rework.faultfinding.trouble import SOUND, Emission, SingleTrouble, TroubleKind
from rework.language.bench import BenchState, Quantity, Voltmeter
from rework.rules.job_file import run_job_file

ROOT = Path(__file__).parents[2]
ROWS = tomllib.loads(
    (Path(__file__).with_name("trouble_symptoms.toml")).read_text(encoding="utf-8")
)["row"]
#: Ohms of a short inside a part, and of shorted turns in the primary.
SHORT, TURNS = 1.0, 250.0
#: Volts that a source calls unchanged: within this share, or these volts.
STILL, STILL_VOLTS = 0.02, 0.05


def trouble_named(circuit: Circuit, text: str) -> SingleTrouble:
    """Return the trouble that a row calls ``C7 leaky 100k`` or ``V2.7 open``."""
    match = re.fullmatch(r"([A-Z/]*[A-Z]+[0-9]+)(?:\.(\S+))? (.+)", text)
    assert match is not None
    name, pins, what = match[1], match[2] or "", match[3]
    part = circuit.by_name[name]
    ends = (part.pins[0][1], part.pins[-1][1])
    kind = TroubleKind.PART_OPEN

    def made(*actions, laws=()):
        return SingleTrouble(kind, name, actions=actions, laws=laws)

    if times := re.search(r"weak x([0-9.]+)", what):
        return made(laws=(Emission(name, "", float(times[1])),))
    if what == "dead":
        return made(laws=(Emission(name, "", 0.0),))
    if leak := re.search(r"leaky ([0-9]+)([kM])", what):
        return made(Bridge(*ends, float(leak[1]) * {"k": 1e3, "M": 1e6}[leak[2]]))
    if what == "shorted":
        return made(Bridge(*ends, SHORT))
    if what == "primary shorted":
        return made(Bridge(part.at("primary.start"), part.at("primary.finish"), TURNS))
    if what.endswith("off"):
        return made(MoveLead(name, what.removesuffix(" off"), "OFF"))
    if what == "swapped":
        one, other = pins.split("/")
        return made(MoveLead(name, one, part.at(other)), MoveLead(name, other, part.at(one)))
    if what == "open" and pins:
        return made(MoveLead(name, pins, "OFF"))
    if what == "open":
        return made(RemovePart(name))
    times = {"high x2": 2.0, "decade up": 10.0, "decade down": 0.1}[what]
    values = tuple(
        Value(v.dimension, v.amount * times, v.role) if v.dimension == "resistance" else v
        for v in part.values
    )
    return made(SetValue(name, values, part.words))


def probe(circuit: Circuit, text: str) -> ProbePoint:
    name, _, pin = text.rpartition(".")
    return ProbePoint(name, pin, circuit.by_name[name].at(pin))


@pytest.fixture(scope="module")
def cases():
    """Every trouble of the rows solved, in one run."""
    circuit = run_job_file(str(ROOT / "circuits" / "pager" / "pager.job")).after
    (sound,) = solved_cases([(SOUND, circuit)])
    assert isinstance(sound, Case)
    troubles = [trouble_named(circuit, row["twin"]) for row in ROWS]
    solved = solved_cases([(one, one.made(circuit)) for one in troubles], sound=sound)
    return circuit, sound, {row["id"]: case for row, case in zip(ROWS, solved, strict=True)}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['id']}, {row['source'][:40]}")
def test_volts_go_the_way_the_source_says(row, cases):
    circuit, sound, by_row = cases
    common = ProbePoint("", "", "COMMON")
    figures = [
        BenchFigure(Quantity.DC, probe(circuit, pin), common, BenchState(), Voltmeter())
        for pin in row["signs"]
    ]
    case = by_row[row["id"]]
    assert isinstance(case, Case)
    before, now = shown(sound, figures).mean, shown(case, figures).mean
    ways = {}
    for pin, volts, after in zip(row["signs"], before.tolist(), now.tolist(), strict=True):
        stays = abs(after - volts) < STILL * abs(volts) + STILL_VOLTS
        same = stays and row["signs"][pin] == "0"
        ways[pin] = "0" if same else "+" if after > volts else "-"
    assert ways == row["signs"]
