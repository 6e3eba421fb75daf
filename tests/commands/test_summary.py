"""One screen: does the finished set work? Whole demos do; a job with any one line left out is
refused, or is told as what it then is.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from rework.anatomy.function import function
from rework.anatomy.function_row import Working
from rework.anatomy.lost import lost
from rework.circuit.edits import RemovePart, apply_edit
from rework.cli import main
from rework.commands.beside import Beside
from rework.commands.glance import glances_of
from rework.commands.subject import Subject, subject
from rework.commands.summary_words import MOST_LINES, summary_text
from rework.language.files import Refusal
from rework.rules.job_file import run_job_file
from rework.safety.check import check
from rework.solve.charged import charge_left

CIRCUITS = Path(__file__).parents[2] / "circuits"
DEMOS = ("hostel", "pager", "rink", "skihut")

REFUSED = "refused"
#: What is left of each demo when the line that begins so is left out: refused, what the check or
#: the wiring then tells ("aspect subject"), "over PART" where a part is then over its rating,
#: "charged CONNECTOR" where that stays charged when it is pulled, or
#: "" where the set works as well without that line.
LEFT_OUT = {
    "pager": {
        "job": "",
        "circuit": REFUSED,
        "apply keep-dial-lamp": "lost dial",
        "apply open-line-to-chassis": "left over C9",
        "apply take-out-dropper": "left over R16",
        "apply remove-rectifier": REFUSED,
        "apply remove-filter": "over C11",
        "apply release-line-cord": REFUSED,
        "apply exchange-tube : tube=V1": REFUSED,
        "apply exchange-tube : tube=V2": REFUSED,
        "apply exchange-tube : tube=V3": REFUSED,
        "apply exchange-output-transformer": "match of the load T1",
        "apply change-value": "",
        "apply cut-heater-string": "heater V1",
        "attach": REFUSED,
        "apply bond-common": "check",
        "apply reuse-power-switch": "primary SUPPLY/T1",
        "apply renew-filter-capacitor : node=B2": "lost B2",
        "apply renew-filter-capacitor : node=B3": "lost B3",
        "apply fit-bleeder": "charged SUPPLY/X2",
        "labour": "",
        "worth": "",
        "customer": "",
    },
    "rink": {
        "job": "",
        "circuit": REFUSED,
        "apply open-line-to-chassis": "left over R11",
        "apply take-out-dropper": "left over R1",
        "apply keep-back-bias": REFUSED,
        "apply remove-rectifier": REFUSED,
        "apply remove-filter": "",
        "apply release-line-cord": "check",
        "apply exchange-tube : tube=V1": REFUSED,
        "apply exchange-tube : tube=V2": REFUSED,
        "apply cut-heater-string": REFUSED,
        "attach": REFUSED,
        "apply bond-common": "check",
        "apply reuse-power-switch": "primary SUPPLY/T1",
        "apply renew-filter-capacitor": "lost B2",
        "apply fit-bleeder": "charged SUPPLY/X2",
        "labour": "",
        "customer": "",
    },
    "hostel": {
        "job": "",
        "circuit": REFUSED,
        "apply open-line-to-chassis": "left over C11",
        "apply take-out-dropper": "left over R16",
        "apply remove-rectifier": "rectifier D1",
        "apply remove-filter": "",
        "apply release-line-cord": REFUSED,
        "apply exchange-tube : tube=V2": REFUSED,
        "apply rewire-tapped-heater": REFUSED,
        "apply cut-heater-string": "heater V2",
        "attach": REFUSED,
        "apply bond-common": "return of an input J1",
        "apply reuse-power-switch": "primary SUPPLY/T1",
        "apply renew-filter-capacitor : node=B2": "lost B2",
        "apply renew-filter-capacitor : node=B3": "lost B3",
        "apply fit-bleeder": "charged SUPPLY/X2",
        "labour": "",
        "customer": "",
    },
    "skihut": {
        "job": "",
        "circuit": REFUSED,
        "apply open-line-to-chassis": "left over C2",
        "apply take-out-dropper": "left over TH1",
        "apply remove-rectifier": REFUSED,
        "apply remove-filter": "",
        "apply free-motor": REFUSED,
        "apply release-line-cord": REFUSED,
        "apply exchange-tube : tube=V1": REFUSED,
        "apply cut-heater-string": REFUSED,
        "attach": REFUSED,
        "apply bond-common": "hanging end PU1",
        "apply reuse-power-switch": "primary SUPPLY/T1",
        "apply renew-filter-capacitor : node=B2": "lost B2",
        "apply renew-filter-capacitor : node=B3": "lost B3",
        "apply fit-bleeder": "charged SUPPLY/X2",
        "labour": "",
        "customer": "",
    },
}


def statements(text: str) -> list[list[str]]:
    """Return the lines of each statement of a job, remarks left out."""
    found: list[list[str]] = []
    for line in text.splitlines():
        if line.strip() and not line.lstrip().startswith("#"):
            if line.startswith(" "):
                found[-1].append(line)
            else:
                found.append([line])
    return found


def shorter_job(demo: str, beginning: str, folder: Path) -> Path:
    """Return the job of a demo without the statement that begins so, beside copies of its files."""
    shutil.copytree(CIRCUITS / demo, folder, dirs_exist_ok=True)
    path = folder / f"{demo}.job"
    every = statements(path.read_text(encoding="utf-8"))
    kept = [each for each in every if not each[0].startswith(beginning)]
    assert len(kept) == len(every) - 1, f"{beginning} is not one statement of {demo}"
    path.write_text("\n".join(line for each in kept for line in each) + "\n", encoding="utf-8")
    return path


def test_every_statement_of_every_demo_job_is_in_the_table():
    for demo, table in LEFT_OUT.items():
        every = statements((CIRCUITS / demo / f"{demo}.job").read_text(encoding="utf-8"))
        for each in every:
            assert sum(each[0].startswith(beginning) for beginning in table) == 1, each[0]


@pytest.mark.parametrize(
    ("demo", "beginning"), [(demo, line) for demo, table in LEFT_OUT.items() for line in table]
)
def test_a_job_without_one_line_is_refused_or_told_as_what_it_is(demo, beginning, tmp_path):
    wanted = LEFT_OUT[demo][beginning]
    path = shorter_job(demo, beginning, tmp_path)
    if wanted == REFUSED:
        with pytest.raises(Refusal):
            run_job_file(str(path))
        return
    run = run_job_file(str(path))
    report = check(run.after)
    rows = (*function(run.after), *lost(run.before, run.after, run.edits))
    bad = {f"{row.aspect} {row.subject}" for row in rows if row.working is not Working.WORKS}
    faults = {f"{row.aspect} {row.subject}" for row in rows if row.working is Working.FAULT}
    if wanted.startswith("over "):
        after = glances(subject(str(path)))["after"]
        assert wanted.removeprefix("over ") in {
            row.subject for row in after.rows if row.working is Working.FAULT
        }
    elif wanted.startswith("charged "):
        (pins,) = (pins for pins in charge_left(run.after).pins if pins.over_limit)
        assert pins.part == wanted.removeprefix("charged ")
    elif wanted == "check":
        assert report.exit_status == 1
    elif wanted:
        assert wanted in bad
    else:
        assert report.exit_status == 0
        assert faults == set()


@pytest.mark.parametrize("demo", DEMOS)
def test_a_finished_demo_works_on_one_screen(demo, capsys):
    assert main(["summary", str(CIRCUITS / demo / f"{demo}.job")]) == 0
    printed = capsys.readouterr().out
    assert printed.count("\n") <= MOST_LINES
    for word in ("mains", "touch current", "single faults", "heaters", "gain", "rework"):
        assert word in printed


def glances(about: Subject):
    """Return the glances of a subject, nothing held."""
    with Beside() as beside:
        return glances_of(about, (), beside)


def glances_without(demo: str, *names: str):
    """Return the glances of a demo's job with parts missing from the finished set."""
    about = subject(str(CIRCUITS / demo / f"{demo}.job"))
    after = about.circuits["after"]
    for name in names:
        after = apply_edit(after, RemovePart(name))
    circuits = {**about.circuits, "after": after}
    return glances(Subject(about.file, circuits, about.run, about.problems))


def test_a_connector_that_stays_charged_is_on_the_screen_and_in_the_exit_status():
    glances = glances_without("rink", "R12")
    last = glances["after"]
    assert last.touched.charged == ("SUPPLY/X2",)
    assert last.exit_status == 1
    assert "stored charge" in summary_text("rink", glances, file="rink.job")


def test_a_screen_capacitor_not_put_back_is_named_as_the_cause_of_the_fall():
    glances = glances_without("pager", "C3")
    (gain,) = (row for row in glances["after"].rows if row.aspect == "gain")
    assert gain.working is Working.FAULT
    assert gain.part == "C3"
    text = summary_text("pager", glances, file="pager.job")
    assert "C3 was not put back" in text
    assert glances["after"].exit_status == 1


def test_a_coupling_capacitor_not_put_back_is_named_where_no_signal_gets_through():
    about = subject(str(CIRCUITS / "pager" / "pager.job"))
    after = apply_edit(about.circuits["after"], RemovePart("C4"))
    assert about.run is not None
    rows = lost(about.circuits["before"], after, about.run.edits)
    assert [(row.subject, row.place, row.part) for row in rows] == [("J1", "signal path", "C4")]


def test_the_worst_comes_first_and_the_screen_stays_one_screen():
    glances = glances_without("pager", "WS1", "R9", "C3", "R12", "C7", "W7", "W8")
    text = summary_text("pager", glances, file="pager.job")
    assert text.count("\n") < MOST_LINES
    first = text.splitlines()[4]
    assert first.split()[0] in ("mains", "line", "rectifiers", "heaters")
    assert "more lines" in text or "grid of V3" in text


def test_a_set_that_works_and_is_tied_is_first_told_to_be_unsafe(tmp_path, capsys):
    text = (CIRCUITS.parent / "tests/cases/two-tube-bench-set.circuit").read_text(encoding="utf-8")
    path = tmp_path / "tied.circuit"
    path.write_text(f"{text}W30 wire : N1 -- COM\n", encoding="utf-8")
    assert main(["summary", str(path)]) == 1
    told = capsys.readouterr().out.splitlines()[1]
    assert told.startswith("The set is not safe to touch. It works")


def test_a_set_that_only_a_single_fault_makes_unsafe_is_told_as_that(capsys):
    """Plate to grid of V1, for the jack is on the grid."""
    case = CIRCUITS.parent / "tests/cases/ordinary-input-stage.circuit"
    assert main(["summary", str(case)]) == 1
    told = capsys.readouterr().out.splitlines()[1]
    assert told.startswith("The set is not safe to touch after 1 of 66 single faults. It works")


def test_a_heater_off_its_volts_is_told_once(tmp_path, capsys):
    text = (CIRCUITS.parent / "tests/cases/two-tube-bench-set.circuit").read_text(encoding="utf-8")
    path = tmp_path / "hot.circuit"
    path.write_text(text.replace("heater 6.3 V", "heater 12.6 V"), encoding="utf-8")
    main(["summary", str(path)])
    assert capsys.readouterr().out.count("rated 6.3 V") == 2, "once for each of two tubes"


def test_a_circuit_alone_is_summed_up_too(capsys):
    status = main(["summary", "--json", str(CIRCUITS / "pager" / "pager.circuit")])
    told = json.loads(capsys.readouterr().out)
    assert status == told["exit_status"] == 1
    faults = [row for row in told["function"] if row["working"] != "works"]
    assert {row["aspect"] for row in faults} == {"rating"}, "old capacitors at switch-on"
    assert told["touch_amps"] > 0.05
    assert 0.5 < told["watts"] < 2


PLAYER = """circuit "player"
mains 117 V 60 Hz
touchable CHASSIS
P1 plug three-pin 10 A 125 V : line=L1, neutral=N1, earth=CHASSIS
F1 fuse 1 A 250 V slow : L1 -- L2
S1 switch SPST 3 A 125 V : L2 -- L3
T1 transformer 60 VA : primary 117 V dcr 9 ohm = L3 -- N1, hv 480 V 90 mA dcr 240 ohm = HV1 -- CHASSIS -- HV2,
                       heater 6.3 V 2.5 A dcr 0.06 ohm = H1 -- H2, core=CHASSIS
M1 motor {motor} V 60 Hz 12 W : 1=L3, 2=N1, frame=CHASSIS
V3 tube 6X4 : plate1=HV1, plate2={plate}, cathode=BR, 3=H1, 4=H2
C1 electrolytic 22 uF 450 V : BR -- CHASSIS
R1 resistor 10k 10 W 10% : BR -- CHASSIS
R2 resistor 100 ohm 1/2 W 5% : H1 -- CHASSIS
CH1 chassis : CHASSIS
"""


def summed(tmp_path, capsys, *, motor: int = 117, plate: str = "HV2") -> tuple[int, str]:
    path = tmp_path / "player.circuit"
    lost = "" if plate == "HV2" else "open HV2\n"
    path.write_text(PLAYER.format(motor=motor, plate=plate) + lost, encoding="utf-8")
    status = main(["summary", str(path)])
    return status, capsys.readouterr().out


def test_a_motor_on_too_many_volts_is_told_once(tmp_path, capsys):
    status, out = summed(tmp_path, capsys, motor=92)
    assert status == 1
    assert "M1 gets 117 V, rated 92 V" in out
    assert out.count("M1") == 1
    assert "1 finding." in out


def test_one_plate_on_the_cathode_leaves_the_other_to_rectify(tmp_path, capsys):
    status, out = summed(tmp_path, capsys, plate="BR")
    assert status == 1
    assert "V3 is wired to itself" in out
    assert "1 fed" not in out.split("rectifiers", 1)[1].split("\n", 1)[0]
    assert "at BR" in out


def test_what_a_supply_alone_does_not_have_is_not_asked_for(tmp_path, capsys):
    """No input and no speaker: no gain and no watts, and not "no numbers" either."""
    status, out = summed(tmp_path, capsys)
    assert status == 0, out
    assert "B+ volts" in out
    assert "gain" not in out


def test_what_is_felt_is_the_same_without_a_second_process(monkeypatch):
    about = subject(str(CIRCUITS.parent / "tests/cases/two-tube-bench-set.circuit"))
    beside = glances(about)
    monkeypatch.setattr("rework.commands.beside._cores", lambda: 1)
    alone = glances(about)
    assert {key: each.touched for key, each in alone.items()} == {
        key: each.touched for key, each in beside.items()
    }


def test_the_second_process_ends_where_nothing_was_asked_of_it(tmp_path):
    import multiprocessing

    assert main(["summary", str(tmp_path / "none.circuit")]) == 2
    for process in multiprocessing.active_children():
        process.join(10)
    assert not multiprocessing.active_children()
