"""Every command as its user runs it: what is printed, what is written, and the exit status."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from rework.circuit.edits import replay
from rework.cli import main
from rework.compare.difference import difference
from rework.language.files import read_circuit_file
from rework.rules.job_file import run_job_file

ROOT = Path(__file__).parents[2]
DEMOS = sorted(path.stem for path in (ROOT / "circuits").glob("*/*.job"))


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """Return a folder with a copy of every demo's files, which is the current one."""
    for path in (ROOT / "circuits").glob("*/*.[cjr]*"):
        (tmp_path / path.parent.name).mkdir(exist_ok=True)
        (tmp_path / path.parent.name / path.name).write_bytes(path.read_bytes())
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(capsys, *words: str) -> tuple[int, str, str]:
    status = main(list(words))
    said = capsys.readouterr()
    return status, said.out, said.err


def test_there_are_four_demos():
    assert len(DEMOS) >= 4


@pytest.mark.parametrize("name", DEMOS)
def test_a_demo_has_hazards_before_and_none_after(name, bench, capsys):
    status, out, _ = run(capsys, "check", f"{name}/{name}.circuit", "--json")
    found = json.loads(out)
    assert status == 1
    assert found["verdict"] == "hazard found"
    assert {"node", "parts", "touchable", "through", "path", "when", "remedies"} <= found[
        "hazards"
    ][0].keys()
    assert {hazard["through"] for hazard in found["hazards"]} <= {"conduction", "capacitor"}

    status, out, _ = run(capsys, "check", f"{name}/{name}.job", "--json")
    after = json.loads(out)["after"]
    assert status == 0
    assert after["verdict"] == "nothing found in the netlist as written"
    assert after["hazards"] == []
    assert [caution for caution in after["cautions"] if caution["weight"] == "must"] == []


@pytest.mark.parametrize("name", DEMOS)
def test_apply_writes_a_circuit_that_reads_back_to_the_same(name, bench, capsys):
    status, out, _ = run(capsys, "apply", f"{name}/{name}.job", "-o", "after.circuit")
    assert status == 0
    assert "after.circuit is written" in out
    circuit, problems = read_circuit_file("after.circuit")
    assert problems == ()
    done = run_job_file(f"{name}/{name}.job")
    assert circuit == done.after
    replayed = replay(done.before, done.edits)
    assert replayed.parts == done.after.parts
    assert difference(circuit, done.after).is_empty


@pytest.mark.parametrize("name", DEMOS)
def test_the_way_from_the_input_to_the_speaker_is_still_there(name, bench):
    """The invariant of the whole job: signal gets from jack or pickup to the speaker through what
    amplifies and couples.
    """
    import networkx

    done = run_job_file(f"{name}/{name}.job")
    for circuit in (done.before, done.after):
        graph = networkx.Graph()
        for part in circuit.parts:
            nodes = [node for _, node in part.pins]
            if (
                part.kind in ("tube", "capacitor", "pot", "output transformer", "resistor")
                or part.is_conductor
            ):
                for node in nodes:
                    graph.add_edge(("part", part.name), node)
        inputs = [
            part.node("tip") or part.node("signal")
            for part in circuit.parts
            if part.kind in ("jack", "pickup")
        ]
        speaker = next(part for part in circuit.parts if part.kind == "speaker").node("1")
        assert all(networkx.has_path(graph, tip, speaker) for tip in inputs)


def test_apply_does_not_replace_a_file_unless_forced(bench, capsys):
    Path("after.circuit").write_text("mine\n")
    status, _, err = run(capsys, "apply", "pager/pager.job", "-o", "after.circuit")
    assert status == 2
    assert "is there already" in err
    assert Path("after.circuit").read_text() == "mine\n"
    assert run(capsys, "apply", "pager/pager.job", "-o", "after.circuit", "--force")[0] == 0


def test_a_rule_that_refuses_stops_the_job_and_nothing_is_written(bench, capsys):
    job = Path("pager/pager.job")
    job.write_text(job.read_text().replace(", accept=yes", ""))
    status, _, err = run(capsys, "apply", str(job), "-o", "after.circuit")
    assert status == 2
    assert "pager/pager.job:" in err
    assert "6AQ5" in err
    assert not Path("after.circuit").exists()


def test_a_missing_rule_is_told_with_the_nearest(bench, capsys):
    job = Path("pager/pager.job")
    job.write_text(job.read_text().replace("apply remove-filter", "apply remove-fliter"))
    status, _, err = run(capsys, "apply", str(job))
    assert status == 2
    assert "remove-filter?" in err


def test_diff_tells_a_moved_pin_once_by_element_and_number(bench, capsys):
    run(capsys, "apply", "pager/pager.job", "-o", "after.circuit")
    _, out, _ = run(capsys, "diff", "pager/pager.circuit", "after.circuit")
    words = " ".join(out.split())
    assert words.count("PL3 moves from V3 pin 7 (plate) to V3 pin 5 (plate)") == 1
    status, out, _ = run(capsys, "diff", "pager/pager.circuit", "pager/pager.circuit", "--json")
    assert status == 0
    assert json.loads(out)["same"] is True


def test_diff_by_structure_sees_through_other_names(bench, capsys):
    text = Path("pager/pager.circuit").read_text()
    Path("other.circuit").write_text(text.replace("R13 ", "R99 ").replace("PL1", "ANODE1"))
    _, out, _ = run(capsys, "diff", "pager/pager.circuit", "other.circuit", "--by-structure")
    assert out.strip() == "No difference in meaning."


def test_rules_and_tubes_speak_to_people_and_machines(bench, capsys):
    assert "remove-rectifier" in run(capsys, "rules")[1]
    assert (
        json.loads(run(capsys, "rules", "cut-heater-string", "--json")[1])["name"]
        == "cut-heater-string"
    )
    card = run(capsys, "tubes", "50c5")[1]
    assert "from memory" in card
    assert "looks alike and is NOT the same" in card
    assert json.loads(run(capsys, "tubes", "12AX7", "--json")[1])["type"] == "12AX7"
    status, _, err = run(capsys, "tubes", "12AX8")
    assert status == 2
    assert "did you mean" in err


def test_a_rule_of_ones_own_is_found_beside_the_job_and_may_not_take_a_built_in_name(bench, capsys):
    assert "free-motor (yours)" in run(capsys, "rules", "--folder", "skihut")[1]
    Path("skihut/remove-filter.rule").write_text(
        Path("skihut/free-motor.rule").read_text().replace("free-motor", "remove-filter")
    )
    status, _, err = run(capsys, "check", "skihut/skihut.job")
    assert status == 2
    assert "built in" in err


@pytest.mark.parametrize("suffix", [".circuit", ".job", ".rule"])
def test_a_skeleton_can_be_read_as_it_is(suffix, bench, capsys):
    assert run(capsys, "new", f"mine{suffix}")[0] == 0
    if suffix == ".circuit":
        assert run(capsys, "check", "mine.circuit")[0] == 1
    elif suffix == ".job":
        run(capsys, "new", "mine.circuit")
        assert run(capsys, "apply", "mine.job")[0] in (0, 1)
    else:
        assert run(capsys, "rules", "mine")[0] == 0
    assert run(capsys, "new", f"mine{suffix}")[0] == 2


def test_the_demo_copies_runs_and_draws_and_keeps_what_the_user_changed(bench, capsys):
    status, out, _ = run(capsys, "demo", "pager", "--to", "here")
    assert status == 0
    assert "HAZARD FOUND" in out
    assert {"pager-before.svg", "pager-after.svg", "pager-sockets.svg", "pager-after.circuit"} <= {
        path.name for path in Path("here").iterdir()
    }
    Path("here/pager.circuit").write_text("mine\n")
    assert run(capsys, "demo", "pager", "--to", "here")[0] == 2
    assert Path("here/pager.circuit").read_text() == "mine\n"


def test_the_same_job_gives_the_same_bytes_whatever_the_hash_seed(capsys):
    words = ["apply", str(ROOT / "circuits/rink/rink.job"), "--json"]
    other = subprocess.run(
        [sys.executable, "-m", "rework", *words],
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONHASHSEED": "1"},
        check=False,
    ).stdout
    assert run(capsys, *words)[1] == other != ""


def test_a_circuit_given_where_a_job_is_wanted_is_told_once(bench, capsys):
    status, _, err = run(capsys, "apply", "pager/pager.circuit")
    assert status == 2
    assert err.count("error:") == 1


def test_all_that_is_wrong_with_a_job_is_told_in_one_run(bench, capsys):
    Path("pager/wrong.job").write_text("""job "x"
circuit "pagr.circuit"
aply open-line-to-chassis
apply open-line-to-chasis
apply exchange-tube : tub=V1, type=6AU6
attach "suply.circuit" as SUPPLY : bplus=B1
attach "supply.circuit" as SUPPLY : bplus=B1, comon=COMMON
labour seven h
""")
    status, out, _ = run(capsys, "check", "pager/wrong.job")
    status, out, err = run(capsys, "apply", "pager/wrong.job", "-o", "out.circuit")
    assert status == 2
    assert not out
    assert not Path("out.circuit").exists()
    told = [
        (int(place), what) for place, what in re.findall(r"wrong\.job:(\d+):\d+: error: (.*)", err)
    ]
    assert told == [
        (2, "there is no file pager/pagr.circuit"),
        (3, "aply is no statement of a job"),
        (4, "there is no rule open-line-to-chasis"),
        (5, "exchange-tube takes no tub; did you mean tube?"),
        (5, "exchange-tube needs tube: write apply exchange-tube : tube=..."),
        (6, "there is no file pager/suply.circuit"),
        (7, "supply.circuit has no port comon"),
        (8, "labour is stated in hours"),
    ]
    assert all(
        f"did you mean {name}?" in err
        for name in (
            "pager/pager.circuit",
            "apply",
            "open-line-to-chassis",
            "pager/supply.circuit",
            "common",
        )
    )


def test_the_steps_before_a_wrong_one_are_still_looked_at(bench, capsys):
    job = Path("pager/pager.job").read_text()
    Path("pager/wrong.job").write_text(
        job.replace("type=6BA6", "type=6V6GT").replace("bond-common ", "bond-comon ")
    )
    _, _, err = run(capsys, "check", "pager/wrong.job")
    assert "6V6GT is no twin" in err
    assert "there is no rule bond-comon" in err


def test_no_command_is_answered_with_help_and_a_wrong_one_with_the_nearest(capsys):
    status, out, _ = run(capsys)
    assert status == 2
    assert "COMMAND" in out
    assert "Exit status" in out
    for words in (["chek", "pager.circuit"], ["--traceback", "chek", "check"]):
        status, _, err = run(capsys, *words)
        assert status == 2
        assert "there is no command chek" in err
    assert "did you mean rework check?" in err


def test_a_command_that_is_stopped_while_it_loads_says_so_without_a_traceback(monkeypatch, capsys):
    def interrupted(_: str) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("rework.cli.parser", interrupted)
    assert main(["check", "any.circuit"]) == 2
    assert capsys.readouterr().err == "\nstopped\n"


def test_tidy_says_what_it_wrote_and_takes_jobs_too(bench, capsys):
    status, out, _ = run(capsys, "tidy", "pager/pager.circuit", "--in-place")
    assert status == 0
    assert out == "pager/pager.circuit is written.\n"
    Path("loose.job").write_text(
        'job   "x"\ncircuit "pager/pager.circuit"\napply take-out-part:part=C9\n'
    )
    status, out, _ = run(capsys, "tidy", "loose.job")
    assert status == 0
    assert out == 'job "x"\ncircuit "pager/pager.circuit"\napply take-out-part : part=C9\n'


def test_each_chassis_is_drawn_on_its_own_sheet_unless_one_is_asked_for(bench, capsys):
    run(capsys, "draw", "pager/pager.job", "-o", "apart.svg")
    run(capsys, "draw", "pager/pager.job", "-o", "whole.svg", "--whole")
    assert {path.name for path in Path().glob("apart*.svg")} == {
        "apart-before.svg",
        "apart-after.svg",
        "apart-SUPPLY.svg",
    }
    beside = sorted(path.name for path in Path().glob("whole*.svg"))
    assert {"whole-before.svg", "whole-after.svg"} <= {*beside}
    # With the supply there are more parts than one sheet holds in this type: it goes on in -2, -3.
    assert all(re.fullmatch(r"whole-(before|after)(-[2-9])?\.svg", name) for name in beside)
    whole = "".join(Path(name).read_text() for name in beside if "after" in name)
    supply = set(re.findall(r'data-part="(SUPPLY/[^"]+)"', whole))
    apart = re.findall(r'data-part="(SUPPLY/[^"]+)"', Path("apart-SUPPLY.svg").read_text())
    assert supply == {*apart, "SUPPLY/X2"}  # the plug of the umbilical is at the amplifier
    run(capsys, "apply", "pager/pager.job", "-o", "after.circuit")
    run(capsys, "draw", "after.circuit", "-o", "one.svg")
    assert {"one.svg", "one-SUPPLY.svg"} <= {path.name for path in Path().glob("one*")}
