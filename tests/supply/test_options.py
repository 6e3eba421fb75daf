"""The five ways to go side by side: every column a real circuit, every figure read off it, every
gap with its reason.
"""

import json
import re
from dataclasses import asdict, replace
from functools import cache
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rework.circuit.edits import replay
from rework.circuit.parts import Part, Value
from rework.circuit.preferred import VOLT_AMPS
from rework.cli import main
from rework.commands.answers.shape import json_text, schema
from rework.commands.answers.supply import compared_answer
from rework.commands.beside import each_beside
from rework.language.files import read_circuit_file, wanted_circuit
from rework.language.job import Money, read_job
from rework.rules.job_file import run_job_file
from rework.rules.run import run_job
from rework.safety.check import check
from rework.supply.amplifier import amplifier
from rework.supply.assess import safe_findings
from rework.supply.draft import draft, draft_text
from rework.supply.feed import feed_of
from rework.supply.findings import Option
from rework.supply.isolate import isolated, to_order
from rework.supply.options import TITLES, options
from rework.supply.stock_reader import read_shelf
from rework.supply.work import price_of
from rework.touch.stored import after_unplugging

CIRCUITS = Path(__file__).parents[2] / "circuits"
SETS = Path(__file__).parents[1] / "sets"
DEMOS = ("hostel", "pager", "rink", "skihut")
#: Those whose whole table is made here.
TABLED = ("pager", "rink")


def shelf():
    return read_shelf((CIRCUITS / "shelf.csv").read_bytes(), file="shelf.csv")[0]


def demo(name):
    return wanted_circuit(CIRCUITS / name / f"{name}.circuit")[0]


@cache
def of_job(name):
    run, folder = run_job_file(str(CIRCUITS / name / f"{name}.job")), CIRCUITS / name
    return options(
        run.before,
        shelf(),
        run=run,
        read=lambda file: read_circuit_file(folder / file),
        folder=folder,
    )


@cache
def drafted(name):
    return draft(demo(name), feed_of(demo(name)))


def column(name, kind):
    return next(one for one in of_job(name).findings if one.option.kind == kind)


def behind(name, *, bridge, stock=None):
    circuit = demo(name)
    return isolated(circuit, feed_of(circuit), stock, bridge=bridge)


# the drafted job


@pytest.mark.parametrize("name", DEMOS)
def test_a_lone_circuit_is_converted_by_the_drafted_job_and_nothing_is_found_in_it(name):
    circuit = demo(name)
    amp = amplifier(drafted(name), lambda file: (circuit, ()))
    report = check(amp.stand_in)
    assert report.hazards == ()
    assert not [one for one in report.cautions if one.weight == "must"]


@pytest.mark.parametrize("name", DEMOS)
def test_the_drafted_job_reads_back_as_it_was_drafted(name):
    made = drafted(name)
    job, problems = read_job(draft_text(made, f"{name}.circuit").encode(), file="drafted.job")
    assert problems == ()
    assert [getattr(step, "rule", "attach") for step in job.steps] == [
        getattr(step, "rule", "attach") for step in made.steps
    ]
    assert [getattr(step, "arguments", getattr(step, "ports", ())) for step in job.steps] == [
        getattr(step, "arguments", getattr(step, "ports", ())) for step in made.steps
    ]


def test_the_draft_keeps_back_bias_rewires_a_tapped_heater_and_feeds_a_motor():
    rules = {
        name: [getattr(step, "rule", "attach") for step in drafted(name).steps] for name in DEMOS
    }
    assert "keep-back-bias" in rules["rink"]
    assert "keep-back-bias" not in rules["pager"]
    assert "rewire-tapped-heater" in rules["hostel"]
    assert "feed-motor" in rules["skihut"]


@pytest.mark.parametrize("name", ["rink", "hostel"])
def test_a_drafted_job_leaves_no_charge_at_the_pulled_umbilical(name):
    """With the supply that its own job has, which was designed without the draft."""
    circuit = demo(name)
    supply = wanted_circuit(CIRCUITS / name / "supply.circuit")[0]
    made = drafted(name)
    kept = [step for step in made.steps if getattr(step, "rule", "") != "fit-bleeder"]
    assert len(kept) == len(made.steps) - 1

    def finished(steps):
        job = replace(made, steps=tuple(steps))
        return run_job(job, lambda file: (supply if "supply" in file else circuit, ())).after

    charged = dict.fromkeys(finished(made.steps).by_name, 160.0)
    assert not after_unplugging(finished(made.steps), volts=charged).is_over
    assert after_unplugging(finished(kept), volts=charged).is_over


# the string isolated


@pytest.mark.parametrize(("name", "rectifier"), [("pager", "V4"), ("rink", "V3")])
def test_the_transformer_alone_leaves_a_half_wave_load_and_the_bridge_cures_it(name, rectifier):
    told = [one.message for one in check(behind(name, bridge=False).circuit).cautions]
    assert any(f"{rectifier} is a half-wave rectifier" in message for message in told)
    assert not any(
        "half-wave" in one.message for one in check(behind(name, bridge=True).circuit).cautions
    )
    assert any("magnetising inductance" in line for line in column(name, "isolate").assumed)
    assert column(name, "isolate").loads[0].direct_amps > 0.03
    assert column(name, "bridge").loads[0].direct_amps < 1e-3


@pytest.mark.parametrize("name", ["pager", "hostel", "rink"])
@pytest.mark.parametrize("bridge", [False, True])
def test_behind_the_transformer_nothing_is_tied_and_the_edits_make_the_circuit(name, bridge):
    made = behind(name, bridge=bridge)
    report = check(made.circuit)
    assert report.hazards == ()
    assert [one.message for one in report.cautions if one.weight == "must"] == []
    assert replay(demo(name), made.edits).parts == made.circuit.parts


def test_what_lay_across_the_line_does_not_pump_the_filter_behind_a_bridge():
    assert {"C11", "R16"} & {part.name for part in demo("hostel").parts} == {"C11", "R16"}
    made = behind("hostel", bridge=True).circuit.by_name
    assert "C11" not in made, "the line capacitor goes, the dropper stays"
    assert "R16" in made, "the line capacitor goes, the dropper stays"
    assert all(
        limit.stress.amount < 200
        for limit in column("rink", "bridge").over
        if limit.stress.part in ("C7", "C8")
    )


@pytest.mark.parametrize("bridge", [False, True])
def test_with_the_chassis_on_the_line_both_are_to_be_had(bridge):
    report = check(behind("skihut", bridge=bridge).circuit)
    assert not report.hazards, [hazard.node for hazard in report.hazards]


def test_a_transformer_from_the_shelf_is_the_smallest_that_carries_the_load_and_without_one_a_preferred_size_is_ordered():
    assert (
        behind("pager", bridge=False, stock=shelf()).transformer.name,
        behind("pager", bridge=False, stock=shelf()).on_shelf,
    ) == ("IT-117-50", True)
    ordered = behind("pager", bridge=False)
    assert not ordered.on_shelf
    assert ordered.transformer.va in VOLT_AMPS
    assert "to be ordered" in ordered.notes[0]
    assert "common practice, no source" in ordered.notes[0]


@given(volts=st.floats(100, 250), va=st.floats(5, 500))
@settings(max_examples=30, deadline=None)
def test_a_transformer_to_order_sags_by_a_tenth_at_its_full_load(volts, va):
    primary, secondary = to_order(volts, va).windings
    assert (primary.ohms + secondary.ohms) * va / volts == pytest.approx(0.1 * volts)


# the table


@pytest.mark.parametrize("name", TABLED)
def test_every_option_is_there_in_its_order_with_figures_or_reasons(name):
    found = of_job(name).findings
    assert [one.option.kind for one in found] == list(TITLES)
    for one in found:
        if one.option.circuit is None:
            assert one.option.why
        else:
            assert one.hazards is not None
            assert one.touch is not None
            assert one.fault is not None
            for row in ("bplus", "watts", "hum", "heat"):
                assert (getattr(one, row) is None) == (row in one.missing)


@pytest.mark.parametrize("name", TABLED)
def test_leaving_it_is_a_hazard_and_a_new_supply_is_none(name):
    assert column(name, "leave").reach
    assert column(name, "leave").touch_over
    for kind in ("silicon", "tube"):
        one = column(name, kind)
        assert (one.hazards, one.mend, one.touch_over) == (0, (), False)


@pytest.mark.parametrize(("name", "kind"), [("pager", "tube"), ("rink", "silicon")])
def test_the_supply_of_the_job_has_its_own_column_and_the_other_is_designed_for_the_same_b_plus(
    name, kind
):
    own, other = column(name, kind), column(name, "silicon" if kind == "tube" else "tube")
    assert "(the job's)" in own.option.title
    assert own.option.circuit == run_job_file(str(CIRCUITS / name / f"{name}.job")).after
    assert other.bplus == pytest.approx(own.bplus, rel=0.1)


def test_what_volts_and_signal_tell_of_the_same_circuit_is_what_the_table_tells():
    from rework.solve.chart import volts
    from rework.solve.signal import signal

    for kind in ("leave", "tube"):
        one = column("pager", kind)
        heard = signal(one.option.circuit)
        assert one.watts == pytest.approx(heard.full.watts, rel=0.02)
        assert one.hum == pytest.approx(heard.hum.volts, rel=0.02)
        if kind == "tube":
            chart = volts(one.option.circuit, samples=20)
            rows = {row.node: row.volts for row in chart.nodes}
            assert one.bplus == pytest.approx(rows["B1"] - rows["COMMON"], rel=0.01)
            assert one.heat == pytest.approx(chart.line_watts, rel=0.01)


def test_heat_leaves_the_old_cabinet_with_the_supply_only():
    for kind in ("leave", "isolate", "bridge"):
        assert column("pager", kind).heat_old == column("pager", kind).heat
    assert column("pager", "tube").heat_old < column("pager", "tube").heat - 3


def test_work_is_read_off_the_edits():
    one = column("pager", "tube")
    assert sorted(one.cut) == ["K1", "K2", "K3"]
    assert one.reversible == "except for 3 traces cut"
    assert one.holes == ()
    assert one.kept + len(one.out) < one.of  # exchanged parts are neither kept nor out
    only = column("pager", "isolate")
    assert (only.kept, only.of, only.out, only.pins) == (35, 36, ("P1",), 0)
    assert sorted(only.holes) == ["F2", "S2", "T2"]
    assert column("pager", "leave").reversible == "nothing was done"
    assert column("pager", "leave").price == 0


def test_the_reasons_against_come_with_the_figures_of_the_option():
    told = dict(zip(TITLES, of_job("pager").against, strict=True))
    assert any(re.search(r"half-wave.*\d+ mA of direct current", line) for line in told["isolate"])
    for kind in ("isolate", "bridge"):
        assert any(re.search(r"series string stays: \d+ V RMS", line) for line in told[kind])
        assert any("no hum balance" in line for line in told[kind])
        assert any("autotransformer isolates nothing" in line for line in told[kind])
    assert any("C10" in line and "over rating" in line for line in told["bridge"])
    assert not any("string" in line or "autotransformer" in line for line in told["tube"])


def test_what_has_no_figure_says_why():
    for one in of_job("rink").findings:
        for row in ("bplus", "watts", "hum", "heat", "touch", "fault"):
            assert getattr(one, row) is not None or one.missing[row], (one.option.kind, row)


# prices


@pytest.mark.parametrize(
    ("part", "price"),
    [
        (Part("R1", "resistor", values=(Value("resistance", 100e3),), pins=()), True),
        (Part("P1", "plug", words=("three-pin",), pins=()), False),
        (Part("V1", "tube", type="6X4", pins=()), True),
        (
            Part(
                "C1",
                "electrolytic",
                values=(Value("capacitance", 47e-6), Value("voltage", 900.0)),
                pins=(),
            ),
            False,
        ),
    ],
)
def test_a_price_is_that_of_a_part_that_serves_or_none(part, price):
    assert (price_of(part, shelf()) is not None) == price
    assert price_of(part, None) is None


@given(farads=st.sampled_from((10e-6, 22e-6, 47e-6, 100e-6)), volts=st.floats(10, 600))
@settings(max_examples=40, deadline=None)
def test_a_capacitor_of_more_volts_never_costs_less(farads, volts):
    def price(wanted):
        return price_of(
            Part(
                "C1",
                "electrolytic",
                values=(Value("capacitance", farads), Value("voltage", wanted)),
                pins=(),
            ),
            shelf(),
        )

    low, high = price(volts), price(volts * 1.3)
    assert high is None or (low is not None and low <= high)


def test_what_is_felt_is_the_same_computed_beside():
    circuit = wanted_circuit(SETS / "nursery" / "nursery.circuit")[0]
    option = Option("leave", "leave it", circuit)
    with each_beside() as begin:
        beside = begin(option)()
    assert asdict(replace(beside, option=option)) == asdict(safe_findings(option))


# the command


def told(arguments, capsys):
    status = main(["options", *map(str, arguments)])
    said = capsys.readouterr()
    return status, said.out, said.err


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("options")
    text = (
        (SETS / "nursery" / "nursery.circuit")
        .read_text(encoding="utf-8")
        .replace('"Nursery record player, as found"', '"<b>Nursery & co</b>"')
    )
    (folder / "own.circuit").write_text(text, encoding="utf-8")
    return folder


def test_a_lone_circuit_without_a_stock_list_gets_its_table_its_page_and_its_job(bench, capsys):
    status, out, _ = told(
        [bench / "own.circuit", "-o", bench / "own.html", "--draft", bench / "own.job"], capsys
    )
    assert status == 0
    assert "No stock list" in out
    assert "name one with --shelf" in out
    page = (bench / "own.html").read_text(encoding="utf-8")
    assert "&lt;b&gt;Nursery &amp; co&lt;/b&gt;" in page
    assert "<b>Nursery" not in page
    assert not re.search(r"https?://|<script|<link|@import|src=", page)
    assert 'circuit "own.circuit"' in (bench / "own.job").read_text(encoding="utf-8")
    status, out, err = told([bench / "own.circuit", "-o", bench / "own.html"], capsys)
    assert status == 2
    assert "is there already" in err
    assert out == ""


def test_json_has_every_row_in_si():
    found = json.loads(
        json_text(compared_answer(of_job("rink"), "shelf.csv", (7 * 3600.0, Money(45.0, "USD"))))
    )
    jsonschema.Draft202012Validator(schema("options")).validate(found)
    assert [one["kind"] for one in found["options"]] == list(TITLES)
    leave = found["options"][0]
    assert leave["reach"] == 4
    assert 110 < leave["bplus"] < 130
    assert leave["labour"] == "0 h"
    assert [one["labour"] for one in found["options"][1:]] == [
        "not in the job",
        "not in the job",
        "7 h, 315 USD",
        "7 h, 315 USD",
    ]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nothing.job"], "there is no file"),
        ([CIRCUITS / "pager" / "pager.circuit", "-o", "page.svg"], "page.svg is no page"),
        ([CIRCUITS / "pager" / "pager.circuit", "--draft", "draft.txt"], "draft.txt is no job"),
        (
            [CIRCUITS / "pager" / "pager.circuit", "--shelf", "none.csv"],
            "there is no stock list none.csv",
        ),
    ],
)
def test_what_cannot_be_done_is_refused_before_anything_is_written(
    arguments, words, capsys, tmp_path, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    status, out, err = told(arguments, capsys)
    assert status == 2
    assert out == ""
    assert words in err
    assert list(tmp_path.iterdir()) == []


def test_a_circuit_that_has_no_rectifier_off_the_line_still_gets_its_first_column(capsys):
    status, out, _ = told([CIRCUITS / "pager" / "supply.circuit"], capsys)
    assert status == 0
    assert "no rectifier feeds B+ from the line to the tubes" in out
