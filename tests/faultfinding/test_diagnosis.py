"""From readings on the bench to what is wrong: a set of one tube, its troubles put in by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest
from one_tube import SET, bench_job, bench_run

from rework.circuit.edits import Edit, FitPart
from rework.circuit.parts import Part, Value
from rework.faultfinding.case import Case, solved_cases
from rework.faultfinding.diagnosis import board, diagnosed, exact, reread
from rework.faultfinding.expect import suspects
from rework.faultfinding.figures import off_scale, shown
from rework.faultfinding.lamped import solved_behind_lamp
from rework.faultfinding.live_work import Peril
from rework.faultfinding.placed import problems
from rework.faultfinding.points import figure
from rework.faultfinding.sheet import bench_sheet
from rework.faultfinding.signs import shows
from rework.faultfinding.told import told
from rework.faultfinding.trouble import TroubleKind
from rework.faultfinding.trouble_words import state_words
from rework.faultfinding.troubles import troubles
from rework.faultfinding.turned import turned
from rework.faultfinding.undone import undone
from rework.language.bench import BenchState
from rework.rules.job_file import run_job_file
from rework.rules.rewrite import Applied
from rework.rules.run import JobRun, StepTaken
from rework.solve.bench import filament_ohms
from rework.solve.chart import volts
from rework.solve.network import CannotSolve


def on(solved, *lines: str):
    """Return the board with other lines of the job, its readings among those that were solved."""
    bench = bench_job(*lines).bench
    figures = [figure(solved.circuit, solved.common, reading) for reading in bench.readings]
    place = {one: n for n, one in enumerate(solved.expected.figures)}
    return replace(
        solved,
        bench=bench,
        readings=bench.readings,
        columns=tuple(place[one] for one in figures),
        noticed=bench.noticed,
    )


def likeliest(solved, *lines: str) -> str:
    return diagnosed(on(solved, *lines)).ranking.groups[0].members[0][0]


def place_of(solved, key: str) -> int:
    """Return the place of a trouble on the list, or of one that makes the same circuit."""
    return next(
        n
        for n, suspect in enumerate(solved.expected.suspects)
        if key in {one.key for one in (suspect.trouble, *suspect.alike)}
    )


def written(line: str, amount: float) -> str:
    """Return the line of a reading with what the meter shows in the place of ___."""
    if amount == float("inf"):
        return line.replace("___ ohm", "open")
    return line.replace("___", f"{amount:.4f}")


def shown_under(solved, key: str, *lines: str) -> list[str]:
    """Return the lines of readings with what a meter shows under a trouble, ___ filled in."""
    case = solved.expected.cases[place_of(solved, key)]
    filled = []
    for line in lines:
        (reading,) = bench_job(line.replace("___", "1")).bench.readings
        one = figure(solved.circuit, solved.common, reading)
        filled.append(written(line, off_scale(one, shown(case, [one]).mean[0])))
    return filled


SOUND = ("reading V1.plate ___ V", "reading V1.cathode ___ V", "reading V1.grid ___ V")


def test_the_sound_set_is_called_sound(one_tube):
    lines = shown_under(one_tube, "sound ", *SOUND)
    diagnosis = diagnosed(on(one_tube, *lines))
    assert told(diagnosis, bench_run()).verdict == "sound"


@pytest.mark.parametrize(
    ("key", "lines"),
    [
        ("resistor-open R4", ("reading V1.cathode ___ V", "reading R4 ___ ohm")),
        ("capacitor-short C4", ("reading V1.cathode ___ V", "reading V1.cathode ___ ohm")),
        ("winding-open T2 primary.finish", ("reading V1.plate ___ V", "reading B2 ___ V")),
        ("resistor-open R1", ("reading B1 ___ V", "reading B2 ___ V", "reading R1 ___ ohm")),
        ("fuse-blown F1", ("reading F1 ___ ohm", "reading B1 ___ V")),
    ],
)
def test_a_trouble_is_found_from_what_it_does(one_tube, key, lines):
    read = shown_under(one_tube, key, *lines)
    groups = diagnosed(on(one_tube, *read)).ranking.groups
    listed = one_tube.expected.suspects[place_of(one_tube, key)].trouble.key
    assert listed in [member for member, _ in groups[0].members]


def test_gas_lifts_grid_and_cathode(one_tube):
    lines = shown_under(
        one_tube, "tube-gassy V1", "reading V1.grid ___ V", "reading V1.cathode ___ V"
    )
    assert likeliest(one_tube, *lines) == "tube-gassy V1"


def test_troubles_that_no_reading_parts_are_one_class(one_tube):
    lines = shown_under(one_tube, "resistor-open R4", "reading V1.cathode ___ V")
    members = dict(diagnosed(on(one_tube, *lines)).ranking.groups[0].members)
    assert {"resistor-open R4", "pin-open V1 2"} <= members.keys()


def test_an_open_capacitor_that_volts_do_not_show_is_not_told_from_them(one_tube):
    lines = shown_under(one_tube, "capacitor-open C4", *SOUND)
    groups = diagnosed(on(one_tube, *lines)).ranking.groups
    assert dict(groups[0].members)["capacitor-open C4"] < 0.2
    assert groups[0].suspect == 0


def test_a_slip_of_the_pen_is_named(one_tube):
    lines = shown_under(
        one_tube,
        "sound ",
        *SOUND,
        "reading B1 ___ V",
        "reading B2 ___ V",
        "reading V1.screen ___ V",
    )
    wrong = [
        line.replace(line.split()[-2], f"{float(line.split()[-2]) / 10:.3g}")
        if "cathode" in line
        else line
        for line in lines
    ]
    answer = told(diagnosed(on(one_tube, *wrong)), bench_run())
    assert answer.again.startswith("V1 pin 2 (cathode)")


def test_what_nothing_explains_is_said_so(one_tube):
    answer = told(
        diagnosed(
            on(
                one_tube,
                "reading B1 900 V",
                "reading B2 5 V",
                "reading V1.plate 700 V",
                "reading V1.cathode 90 V",
            )
        ),
        bench_run(),
    )
    assert answer.verdict == "unexplained"


def test_a_dark_tube_is_a_heater_without_volts(one_tube):
    key = likeliest(one_tube, "noticed V1 dark")
    assert key.startswith(("heater-open V1", "pin-open V1 3", "pin-open V1 4", "fuse-blown"))


def test_a_part_proved_good_is_off_the_list(one_tube):
    lines = shown_under(one_tube, "resistor-open R4", "reading V1.cathode ___ V")
    groups = diagnosed(on(one_tube, *lines, "proved R4 good")).ranking.groups
    assert "resistor-open R4" not in [member for group in groups for member, _ in group.members]


def test_the_set_stays_unplugged_while_a_short_is_likely(one_tube):
    lines = shown_under(one_tube, "capacitor-short C1", "reading B1 ___ ohm")
    diagnosis = diagnosed(on(one_tube, *lines))
    assert Peril.FUSE in {reason.peril for reason in diagnosis.perils}
    assert diagnosis.next is None or not told(diagnosis, bench_run()).next.powered


def test_every_point_of_the_job_has_to_be_in_the_set():
    run = bench_run(
        "reading V9.plate 3 V", "reading V1.9 3 V", "noticed V7 dark", "proved R99 good"
    )
    assert [problem.message for problem in problems(run)] == [
        "the set after its job has nothing called V9.plate",
        "V1 has no pin 9 with anything on it",
        "the set after its job has nothing called V7",
        "the set after its job has nothing called R99",
    ]


def test_what_a_part_cannot_show_and_a_state_it_cannot_have_are_refused():
    run = bench_run(
        "bench after without R3",
        "reading V1 180 V",
        "noticed R3 dark",
        "noticed C1 red",
        "noticed R1 blown",
    )
    assert [problem.message for problem in problems(run)] == [
        "R3 is a resistor, which is not pulled from a socket",
        "V1 has 6 leads: say which",
        "R3, a resistor, cannot be dark",
        "C1, an electrolytic, cannot be red",
        "R1, a resistor, cannot be blown",
    ]
    assert all(problem.place and problem.expected for problem in problems(run))


def test_a_name_that_has_two_ends_is_read_across_them():
    run = bench_run(
        "reading V1.heater 6.1 V AC", "reading R4 14 V", "reading T2.primary 400 ohm off"
    )
    assert problems(run) == ()
    ends = [figure(run.after, "COMMON", one) for one in run.job.bench.readings]
    assert [(one.at.terminal, one.to.terminal) for one in ends] == [
        ("3", "4"),
        ("1", "2"),
        ("primary.start", "primary.finish"),
    ]


def test_a_set_on_the_line_is_read_unplugged_unless_the_bench_isolates_it(monkeypatch):
    few = [t for t in troubles(bench_run().after) if t.kind is TroubleKind.RESISTOR_OPEN]
    monkeypatch.setattr("rework.faultfinding.diagnosis.troubles", lambda *_, **__: few)
    hot = (
        SET.replace(
            "secondary 180 V 30 mA dcr 300 ohm = HV -- COMMON",
            "secondary 180 V 30 mA dcr 300 ohm = HV -- N1",
        )
        .replace(
            "heater 6.3 V 1 A dcr 0.2 ohm = H1 -- COMMON", "heater 6.3 V 1 A dcr 0.2 ohm = H1 -- N1"
        )
        .replace("COMMON", "N1")
    )
    diagnosis = diagnosed(board(bench_run(text=hot)))
    assert diagnosis.perils[0].peril is Peril.TIED
    assert diagnosis.next is None or not told(diagnosis, bench_run(text=hot)).next.powered
    isolated = diagnosed(board(bench_run("line 117 V isolated", text=hot)))
    assert isolated.perils == ()


def test_two_troubles_at_once_are_tried_where_no_single_one_explains_the_readings(one_tube):
    """R4 and R1 open, made as one circuit by hand and read with the meter in."""
    listed = {s.trouble.key: s for s in one_tube.expected.suspects}
    first, second = listed["resistor-open R4"], listed["resistor-open R1"]
    circuit = second.trouble.made(first.circuit)
    (case,) = solved_cases([(first.trouble, circuit)], sound=one_tube.expected.cases[0])
    lines = [
        "reading V1.cathode ___ V",
        "reading V1.plate ___ V",
        "reading B1 ___ V",
        "reading B2 ___ V",
        "reading R1 ___ ohm",
        "reading R4 ___ ohm",
        "reading R3 ___ ohm",
    ]
    figures = [
        figure(one_tube.circuit, one_tube.common, bench_job(line.replace("___", "1")).readings[0])
        for line in lines
    ]
    values = shown(case, figures).mean.tolist()
    read = [
        written(line, off_scale(one, value))
        for line, one, value in zip(lines, figures, values, strict=True)
    ]
    diagnosis = diagnosed(on(one_tube, *read))
    assert not diagnosis.ranking.is_explained
    assert {"resistor-open R4", "resistor-open R1"} & set(diagnosis.pairs[0].keys)


def test_the_bench_sheet_begins_unplugged_and_has_branches_for_the_first_three(one_tube):
    sheet = bench_sheet(one_tube, bench_run())
    assert 3 <= len(sheet.rows) <= 10
    assert sheet.rows[0][4] == "plug out"
    assert all(row[-1] for row in sheet.rows[:3])
    assert not any(row[-1] for row in sheet.rows[3:])


def test_another_reading_leaves_what_is_solved_and_another_line_does_not(one_tube):
    typed = bench_run("reading B2 180 V", "reading R4.1 to R4.2 1 kohm off")
    again = reread(one_tube, typed)
    assert again.expected.suspects == one_tube.expected.suspects
    assert len(again.readings) == len(again.columns) == 2
    assert diagnosed(again).ranking.groups[0].suspect == 0
    assert reread(one_tube, bench_run("line 121 V", "reading B2 180 V")) is None
    assert reread(one_tube, bench_run(text=SET.replace("4.7k", "5.6k"))) is None


def test_what_is_told_of_the_likeliest_is_what_volts_prints_of_that_circuit(one_tube):
    lines = shown_under(one_tube, "resistor-open R4", "reading V1.cathode ___ V")
    better = exact(on(one_tube, *lines))
    n = place_of(one_tube, "resistor-open R4")
    chart = volts(better.expected.suspects[n].circuit, samples=2)
    plate = next(row for row in chart.pins if (row.part, row.pin) == ("V1", "5"))
    network = better.expected.cases[n].bias.network
    read = network.volts(better.expected.cases[n].bias.steady.mean, plate.node)
    assert float(read) == pytest.approx(plate.volts, rel=1e-6)


def test_what_a_slip_at_the_bench_can_do_is_on_the_list():
    switched = SET + "S2 switch SPDT : IN -- G1 -- K1\n"
    listed = {trouble.key for trouble in troubles(bench_run(text=switched).after)}
    assert {"capacitor-reversed C1", "wrong-tube V1", "switch-stuck S2 throw1"} <= listed


def test_another_kind_of_tube_in_a_socket_is_solved():
    """A rectifier for an output tube: its law has fewer volts than the one it stands for."""
    text = SET.replace("V1 tube 6AQ5", "V1 tube 50C5").replace("6.3 V 1 A", "50 V 1 A")
    sound = bench_run(text=text).after
    swapped = next(t for t in troubles(sound) if t.kind is TroubleKind.WRONG_TUBE)
    (known,) = solved_cases([(replace(swapped, actions=()), sound)])
    rectifier = replace(swapped, actions=(replace(swapped.actions[0], type="35W4"),))
    (case,) = solved_cases([(rectifier, rectifier.made(sound))], sound=known)
    assert isinstance(case, Case)


def test_amps_in_a_lead_are_held_against_what_each_trouble_makes(one_tube):
    lines = shown_under(
        one_tube, "resistor-open R1", "reading V1.cathode ___ A", "reading R1 ___ A"
    )
    groups = diagnosed(reread(one_tube, bench_run(*lines))).ranking.groups
    assert groups[0].members[0][0] == "resistor-open R1"
    sound = shown_under(one_tube, "sound ", "reading V1.cathode ___ A", "reading V1 ___ A")
    cathode, plate = (float(line.split()[-2]) for line in sound)
    chart = volts(one_tube.circuit, samples=20)
    (tube,) = (row for row in chart.tubes if row.part == "V1")
    assert plate == pytest.approx(tube.plate_amps, abs=1e-3)
    assert cathode == pytest.approx(tube.plate_amps + tube.screen_amps, abs=1e-3)


def test_amps_that_flow_in_no_lead_are_refused():
    run = bench_run("reading B1 30 mA", "reading C1 3 mA", "reading V1.9 3 mA")
    assert [problem.message for problem in problems(run)] == [
        "B1 is a point of the set, and amps flow in the lead of a part",
        "the current in C1, an electrolytic, is not computed",
        "V1 has no pin 9 with anything on it",
    ]


def test_a_control_is_turned_in_the_set_and_in_what_its_job_fits():
    pot = Part(
        "R9",
        "pot",
        values=(Value("resistance", 1e6),),
        pins=(("ccw", "COMMON"), ("wiper", "G1"), ("cw", "G1")),
    )
    before = bench_run().after
    after = before.with_parts((*before.parts, pot))
    step = StepTaken(None, "", Applied((Edit(FitPart(pot)),), (), after, ()), after)
    run = turned(JobRun(bench_run().job, before, after, (step,), ()), "after", {"R9": "cw"})
    assert run.after.part("R9").value("fraction", role="at") == 1.0
    assert run.edits[0].action.part == run.after.part("R9")
    with pytest.raises(CannotSolve, match="no control or switch R77"):
        turned(run, "after", {"R77": "cw"})


def test_readings_that_lean_to_one_trouble_are_not_those_of_a_sound_set(one_tube):
    """Between a sound set and a weak tube: the class holds both, and is not called sound."""
    weak = place_of(one_tube, "tube-weak V1")
    mean = one_tube.expected.mean[[0, weak]]
    for share, verdict in ((0.1, "sound"), (1.0, "explained")):
        lines = []
        for line in (*SOUND, "reading V1.screen ___ V", "reading B1 ___ V"):
            (reading,) = bench_job(line.replace("___", "1")).readings
            column = one_tube.expected.figures.index(
                figure(one_tube.circuit, one_tube.common, reading)
            )
            low, high = mean[:, column]
            lines.append(written(line, low + share * (high - low)))
        assert told(diagnosed(on(one_tube, *lines)), bench_run()).verdict == verdict


def test_a_short_reads_nothing_or_a_few_ohms(one_tube):
    for ohms in ("0 ohm", "6 ohm"):
        read = reread(one_tube, bench_run(f"reading C2 {ohms} off"))
        groups = diagnosed(read).ranking.groups[:2]  # the other is: read again
        assert max(dict(group.members).get("capacitor-short C2", 0.0) for group in groups) > 0.3


@pytest.mark.parametrize(
    "sign",
    [
        "hum 120 Hz",
        "no sound",
        "weak sound",
        "R1 burnt",
        "fuse blown",
        "distorted",
        "smell",
        "V1 blue",
    ],
)
def test_what_was_noticed_is_not_explained_by_a_sound_set(one_tube, sign):
    """The troubles that show it are a class of their own, and none of the others is as likely."""
    board_ = on(one_tube, f"noticed {sign}")
    ranks = diagnosed(board_).ranking
    cases, (noticed,) = one_tube.expected.cases, board_.noticed
    showing = [n for n, case in enumerate(cases) if shows(case, cases[0], noticed)]
    assert showing
    assert ranks.groups[0].suspect in showing
    assert ranks.sound < 0.02


def test_one_of_two_equal_resistors_in_parallel_is_no_trouble_of_its_own():
    """R4 and R5 are the same cathode resistor twice: which is out shows nowhere, unless it is open
    and lifted.
    """
    text = SET + "R5 resistor 1k 1 W 10% : K1 -- COMMON\n"
    made = bench_run(text=text).after
    listed = [(trouble, None) for trouble in troubles(made)]
    known, _ = suspects(made, listed)
    alike = {s.trouble.key: {other.key for other in s.alike} for s in known}
    assert "resistor-off R5" in alike["resistor-off R4"]
    assert "resistor-off R5" not in alike
    assert {"resistor-open R4", "resistor-open R5"} <= {
        key for key, others in alike.items() for key in (key, *others)
    }


def test_readings_with_a_tube_out_are_solved_so_and_the_next_is_read_so():
    """Without the output tube the screen's resistor drops next to nothing: B2 is as high as B1."""
    state = ("line 117 V isolated", "bench after without V1")
    solved = board(bench_run(*state))

    def read(key: str):
        case = solved.expected.cases[place_of(solved, key)]
        lines = []
        for at in ("B1", "B2", "V1.cathode"):
            (reading,) = bench_job(*state, f"reading {at} 1 V").bench.readings
            one = figure(solved.circuit, solved.common, reading)
            lines.append(f"reading {at} {shown(case, [one]).mean[0]:.3f} V")
        run = bench_run(*state, *lines)
        return told(diagnosed(reread(solved, run)), run)

    sound, leaky = read("sound "), read("resistor-open R1")
    assert sound.verdict == "sound"
    assert sound.next.where.endswith(", V1 out")
    assert (
        state_words(BenchState("after", ("V1", "V2"), 60.0))
        == ", V1 and V2 out, behind a 60 W lamp"
    )
    assert leaky.explanations[0].members[0].part == "R1"
    assert "V1 out" in leaky.explanations[0].speaks_for[0].where
    assert reread(solved, bench_run(*state[:1], "reading B1 240 V")) is None


def test_the_lamp_is_as_hot_as_the_set_makes_it(one_tube):
    """Its ohms are those of its own volts; under a short it takes nearly the whole line."""
    sound = one_tube.expected.suspects[0]
    short = one_tube.expected.suspects[place_of(one_tube, "capacitor-short C1")]
    wanted = [(one.trouble, one.circuit) for one in (sound, short)]
    ohms = []
    for case in solved_behind_lamp(wanted, 25.0, line=None):
        lamp, bias = case.circuit.by_name["LAMP1"], case.bias
        wave = bias.network.between(bias.steady.x, *(node for _, node in lamp.pins))
        ohms.append(lamp.value("resistance"))
        hot = filament_ohms(float((wave**2).mean() ** 0.5), 25.0, 117.0)
        assert ohms[-1] == pytest.approx(hot, rel=0.05)
        assert case.blown == ()
    assert ohms[1] > 1.5 * ohms[0]


def test_a_sign_that_a_sound_set_shows_leaves_it_sound(one_tube):
    lines = shown_under(one_tube, "sound ", *SOUND)
    assert diagnosed(on(one_tube, *lines, "noticed V1 lit")).ranking.groups[0].suspect == 0


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("capacitor-leaky C2", "reading V1.screen ___ ohm off"),
        ("resistor-open R1", "reading B2 ___ V"),
        ("capacitor-short C4", "reading V1.cathode ___ V"),
    ],
)
def test_one_reading_that_a_trouble_explains_is_neither_a_slip_nor_off_the_list(
    one_tube, key, line
):
    diagnosis = diagnosed(on(one_tube, *shown_under(one_tube, key, line)))
    answer = told(diagnosis, bench_run())
    assert (answer.verdict, answer.again) == ("explained", "")


def test_a_lead_may_land_at_the_other_end_of_a_resistor():
    """B+ of the umbilical belongs on B1; behind the filter's resistor is B2."""
    run = run_job_file("circuits/pager/pager.job")
    keys = {step.trouble.key for step in undone(run)}
    assert "at-the-neighbour W9 2 B2 connect-umbilical" in keys
    assert not any(key.startswith("at-the-neighbour W10 2 B") for key in keys)
