"""What a person can say in a rule of his own: values compared, two units of one bulb, a part put in
a lead, the one of several places.
"""

from __future__ import annotations

import pytest
from sets import circuit

from rework.circuit.circuit import Circuit
from rework.rules.catalogue import builtin_names, load
from rework.rules.reader import read_rule
from rework.rules.rewrite import Applied, NothingToDo, Outcome, Refused, plan

HEAD = """rule {name}
  says "Try it"
  why "It is a trial."
  sure "bookkeeping"
"""

BOARD = """
open B1
P1  plug two-blade     : line=L1, neutral=COMMON
D1  diode silicon      : L1 -- B1
R1  resistor 10k 1/2 W : B1 -- COMMON
R2  resistor 22k 2 W   : B1 -- COMMON
R3  resistor 47k       : B1 -- COMMON
V1  tube 12AX7         : triode1.plate=PA, triode1.grid=GA, triode1.cathode=COMMON,
                         triode2.plate=PB, triode2.grid=GB, triode2.cathode=COMMON,
                         4=HA, 5=HB, unused 9
R4  resistor 220k      : B1 -- PA
R5  resistor 220k      : B1 -- PB
C1  capacitor 10n      : PA -- GB
R6  resistor 1M        : GA -- COMMON
R7  resistor 1M        : GB -- COMMON
R8  resistor 100k      : HA -- HB
"""


def trial(body: str, on: str = BOARD, **arguments: str) -> Outcome:
    rule, problems = read_rule((HEAD.format(name="trial") + body).encode(), file="trial.rule")
    assert rule is not None, [problem.message for problem in problems]
    return plan(rule, circuit(on), arguments)


def after(outcome: Outcome) -> Circuit:
    assert isinstance(outcome, Applied), outcome
    return outcome.after


def test_a_rating_is_compared_with_a_value():
    body = """
  for each
    ?R resistor : B1 -- COMMON
  where ?R is under 1 W
  then
    set ?R to 2 W
"""
    changed = after(trial(body))
    assert changed.by_name["R1"].value("power") == 2.0
    assert changed.by_name["R2"].value("power") == 2.0
    assert changed.by_name["R3"].value("power") is None, "a part that states no watts is not under"


@pytest.mark.parametrize("limit", ["500 mW", "1/2 W"])
def test_just_at_the_limit_is_neither_under_nor_over(limit):
    for word in ("under", "over"):
        body = f"""
  for each
    ?R resistor : B1 -- COMMON
  where ?R is {word} {limit} and ?R is named R1
  then
    remove ?R
"""
        assert isinstance(trial(body), NothingToDo)


UNITS = """
  for each
    ?V tube : triode1.plate=?p
    ?W tube : triode2.grid=?g
    ?C capacitor : ?p -- ?g
  {where}
  then
    remove ?C
"""


def test_two_units_of_one_bulb_match_only_where_that_is_said():
    assert isinstance(trial(UNITS.format(where="")), NothingToDo)
    assert "C1" not in after(trial(UNITS.format(where="where ?V may be ?W"))).by_name


def test_a_part_is_put_in_a_lead_by_one_verb():
    body = """
  for each
    ?D diode : ?l -- B1
  then
    insert R# resistor 33 ohm 5 W : ?D.anode -- ?l
"""
    changed = after(trial(body))
    surge = changed.by_name["R9"]
    assert surge.node("2") == "L1"
    assert changed.by_name["D1"].node("anode") not in ("L1", None)
    wire = next(part for part in changed.parts if part.kind == "wire")
    assert surge.value("resistance") == 33.0
    assert {node for _, node in wire.pins} == {changed.by_name["D1"].node("anode"), surge.node("1")}


def test_the_job_names_the_one_of_several_and_the_refusal_says_how():
    body = """
  find one else "No resistor."
    ?R resistor : B1 -- COMMON
  then
    remove ?R
"""
    refused = trial(body)
    assert isinstance(refused, Refused)
    assert refused.reasons == (
        "trial looks for one place and found 3: R1, R2, R3. Name the one that is meant:"
        " apply trial : R=R1",
    )
    assert "R2" not in after(trial(body, R="R2")).by_name
    assert "R1" in after(trial(body, R="R2")).by_name
    assert isinstance(trial(body, R="R7"), Refused), "R7 is not where the pattern looks"
    assert isinstance(trial(body, Q="R1"), Refused), "the rule has no ?Q"


def test_a_rule_in_a_file_of_another_name_is_pointed_out(tmp_path):
    (tmp_path / "mine.rule").write_text(
        HEAD.format(name="free-the-arm") + "  once\n  then\n    cut W1\n"
    )
    rule, problems = load("free-the-arm", tmp_path)
    assert rule is None
    assert problems[0].message == (
        "the rule free-the-arm is in mine.rule, so it is not found by its name"
    )
    rule, problems = load("mine", tmp_path)
    assert rule is None
    assert "calls itself free-the-arm" in problems[0].message


def test_the_source_of_a_built_in_rule_may_be_typed_back(tmp_path):
    for name in builtin_names():
        rule, _ = load(name)
        assert rule is not None
        again, problems = read_rule(rule.source.encode(), file=f"{name}.rule")
        assert again is not None, problems
        assert again.passes == rule.passes


def test_a_value_is_computed_for_the_part_that_a_name_stands_for():
    body = """
  with tube
  for each
    {tube} tube : heater1=?a, heater2=?b
  then
    remove {tube}
    fit R# resistor {tube}.heater-ohms {tube}.heater-watts : ?a -- ?b
"""
    set_ = """
V1  tube 50C5    : 1=K1, 2=G1, 3=HA, 4=HB, 6=B1, 7=P1, unused 5
R1  resistor 10k : HA -- HB
R2  resistor 10k : K1 -- G1
R3  resistor 10k : B1 -- P1
"""
    fitted = after(trial(body, set_, tube="V1")).by_name["R4"]
    # 50 V at 0.15 A are 333 ohm and 7.5 W: the nearest of E24, and the next made above twice that
    assert (fitted.value("resistance"), fitted.value("power")) == (330.0, 20.0)


def test_heater_pins_that_hung_on_nothing_are_said_to_after_an_exchange():
    set_ = """
V1  tube 50C5    : 1=K1, 2=G1, 4=HB, 6=B1, 7=P1, unused 3 5
R1  resistor 10k : HB -- K1
R2  resistor 10k : G1 -- B1
R3  resistor 10k : P1 -- B1
"""
    body = """
  for each
    ?V tube
  then
    exchange ?V for 6AQ5
"""
    tube = after(trial(body, set_)).by_name["V1"]
    assert tube.node("4") == "HB"
    assert "3" in tube.unused, "both ends of a heater are pins of their own"
    assert "1" not in tube.unused or tube.node("7") is None
