"""What the amplifier needs: worked out from the amplifier, within every old part's rating, and
whatever the user fixes.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from demo_amplifiers import CIRCUITS, amplifier_of, needs_of

from rework.language.files import read_circuit_file
from rework.rules.run import run_job
from rework.safety.check import check
from rework.solve.chart import volts
from rework.solve.network import CannotSolve
from rework.solve.signal import loudest
from rework.supply.amplifier import NODES, NoSupply, amplifier, stand_in
from rework.supply.needs import NEAR, needs


def test_a_supply_in_the_place_of_the_stand_in_is_what_running_the_job_on_it_gives(demo):
    amp = amplifier_of(demo)
    supply, _ = read_circuit_file(CIRCUITS / demo / "supply.circuit")
    assert amp.with_supply(supply) == amp.rerun(supply).after


def test_b_minus_is_bonded_in_the_supply_only_where_the_amplifier_does_not(demo):
    assert not amplifier_of(demo).bonded


def test_b_minus_is_not_bonded_in_the_supply_where_the_check_asks_for_no_bond():
    """The hostel's sleeves are on its earthed chassis: without its bond nothing in reach is on
    common, and the check finds nothing that a bond in the supply would clear.
    """
    amp, folder = amplifier_of("hostel"), CIRCUITS / "hostel"
    loose = replace(
        amp.job,
        steps=tuple(step for step in amp.job.steps if getattr(step, "rule", "") != "bond-common"),
    )
    found = amplifier(loose, lambda file: read_circuit_file(folder / file), folder=folder)
    report = check(found.stand_in)
    assert not report.hazards
    assert not any(caution.weight == "must" for caution in report.cautions)
    assert not found.bonded


def test_heater_amperes_are_those_of_the_tubes_after_the_exchange_and_of_a_lamp_that_is_kept():
    assert [
        (needs_of(name).heater_volts, round(needs_of(name).heater_amps, 3))
        for name in ("pager", "rink", "hostel", "skihut")
    ] == [(6.3, 1.2), (6.3, 1.5), (6.3, 1.5), (6.3, 0.78)]


def test_b_plus_is_inside_every_old_parts_rating(demo):
    found = needs_of(demo)
    assert found.low < found.bplus <= NEAR * found.ceiling
    assert found.high <= found.ceiling
    assert found.ceiling == min(limit.volts for limit in found.limits)


def test_b_plus_aims_at_the_printed_row_that_the_stage_comes_nearest_to():
    found = needs_of("rink")
    assert found.aims[0].plate_volts == 110
    assert found.bplus == pytest.approx(found.aims[0].bplus)
    assert [aim.miss for aim in found.aims] == sorted(aim.miss for aim in found.aims)


def test_the_load_is_that_of_the_amplifier_solved_with_its_old_supply():
    amp = amplifier_of("skihut")
    supply, _ = read_circuit_file(CIRCUITS / "skihut" / "supply.circuit")
    whole = amp.with_supply(supply)
    chart = volts(whole, samples=20)
    at = {row.node: row.volts for row in chart.nodes}
    drawn = (
        sum(row.mean_amps for row in chart.rectifiers) - at["SUPPLY/BP"] / 100e3
    )  # less the bleeder
    assert float(needs_of("skihut").amps_at(at["SUPPLY/BP"])) == pytest.approx(drawn, rel=0.02)


def test_full_power_is_what_the_signal_says_on_a_supply_that_does_not_give_way():
    amp = amplifier_of("skihut")
    from demo_amplifiers import shelf_of

    from rework.supply.choose import choice_of
    from rework.supply.evaluate import evaluate
    from rework.supply.screen import sieve
    from rework.supply.sources import Wishes

    found = needs_of("skihut")
    rough = sieve(shelf_of(), found, Wishes(("bridge",), ("C-L-C",)))[0][0]
    one = evaluate(choice_of(rough, shelf_of(), Wishes(), found), amp, found, shelf_of())
    assert found.full_watts == pytest.approx(loudest(one.whole).full.watts, rel=0.1)


@pytest.mark.parametrize(
    ("name", "amount", "read"),
    [
        ("bplus", 200.0, lambda n: n.bplus),
        ("idle", 0.06, lambda n: n.idle_amps),
        ("full", 0.07, lambda n: n.full_amps),
        ("heater", 6.0, lambda n: n.heater_volts),
        ("heater-current", 2.0, lambda n: n.heater_amps),
        ("hum", 1e-4, lambda n: n.hum),
        ("line", 120.0, lambda n: n.mains.volts),
    ],
)
def test_the_user_may_fix_any_of_it(name, amount, read):
    found = needs(amplifier_of("pager"), {name: amount})
    assert read(found) == pytest.approx(amount)
    assert found.fixed == (name,)
    assert any("fixed by the user" in why for _, why in found.why)


def test_b_plus_fixed_over_the_first_rating_is_told():
    assert "at which" in dict(needs(amplifier_of("hostel"), {"bplus": 250.0}).why)["bplus"]


@pytest.mark.parametrize("bplus", [1.0, 900.0])
def test_b_plus_of_another_world_is_refused(bplus):
    with pytest.raises(CannotSolve):
        needs(amplifier_of("pager"), {"bplus": bplus})


def job_of(*, ports: str | None, before: str = ""):
    from rework.language.job import read_job

    attach = f'attach "supply.circuit" as SUPPLY : {ports}\n' if ports is not None else ""
    job, problems = read_job(
        f'job "x"\ncircuit "pager.circuit"\n{before}{attach}'.encode(), file="x.job"
    )
    assert job, problems
    return job


@pytest.mark.parametrize(
    ("ports", "says"),
    [
        (None, "attaches no supply"),
        ("bplus=B1, common=COMMON, heater1=A, heater2=B, earth=CHASSIS, grid=G", "no port grid"),
        ("bplus=B1, common=COMMON", "does not say where the supply's heater1 goes"),
    ],
)
def test_a_job_without_a_supply_that_can_be_designed_says_what_to_write(ports, says):
    with pytest.raises(NoSupply) as told:
        amplifier(job_of(ports=ports), lambda name: read_circuit_file(CIRCUITS / "pager" / name))
    assert any(says in problem.message for problem in told.value.problems)
    assert all(problem.hint or problem.expected for problem in told.value.problems)


def test_a_rule_that_refuses_on_the_way_is_told_as_the_job_tells_it():
    ports = "bplus=B1, common=COMMON, heater1=HEAT1, heater2=HEAT2, earth=CHASSIS"
    with pytest.raises(NoSupply) as told:
        amplifier(job_of(ports=ports), lambda name: read_circuit_file(CIRCUITS / "pager" / name))
    assert told.value.problems, "there is no node HEAT1 before the string is cut"


def test_the_stand_in_has_every_port_and_nothing_that_rectifies():
    circuit = stand_in(amplifier_of("skihut").mains, tuple(NODES), bonded=True)
    assert dict(circuit.ports) == NODES
    assert not [part for part in circuit.parts if part.kind in ("tube", "bridge", "diode")]
    assert run_job  # the job is run by the same code as every other command runs it
