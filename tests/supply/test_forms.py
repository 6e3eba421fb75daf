"""Every form as a circuit: it reads, it is tidy, and a job with it leaves nothing for the check to
find.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from demo_amplifiers import amplifier_of, mark_line, needs_of, shelf_of

from rework.language.writer import tidy
from rework.safety.check import check
from rework.safety.findings import NOTHING
from rework.supply.choose import choice_of
from rework.supply.evaluate import evaluated
from rework.supply.filters import Behind
from rework.supply.forms import BALANCES, FILTERS, RECTIFIERS
from rework.supply.screen import Rough
from rework.supply.sources import Wishes, sources
from rework.supply.stock import StockChoke, StockFuse
from rework.supply.supply_text import supply_circuit, supply_text


def choices(name: str, wishes: Wishes):
    """Return one choice of each form that the list has the parts for, whatever its volts."""
    shelf, needs = shelf_of(), needs_of(name)
    found = {}
    for source in (one for one in sources(shelf, needs, wishes)[0] if one.open_volts <= 450):
        for filter_ in wishes.filters:
            if filter_ == "L-C" and source.rectifier == "half-wave":
                continue
            choke = shelf.of(StockChoke)[0] if "L" in filter_ else None
            rough = Rough(
                source,
                Behind(filter_, 0.0 if filter_ == "L-C" else 47e-6, choke),
                0.0,
                0.0,
                0.0 if filter_ == "C" else 47e-6,
                470.0 if filter_ == "C-R-C" else 0.0,
                0.0,
                0.0,
                0.0,
                0.0,
            )
            found.setdefault(
                (
                    source.rectifier,
                    filter_,
                    (source.second is not None, source.filament is not None),
                    bool(source.rectifier_winding)
                    and source.rectifier_winding == source.heater_winding,
                ),
                choice_of(rough, shelf, wishes, needs),
            )
    return found


def whole(name: str, choice, **more):
    amp = amplifier_of(name)
    text = supply_text(choice, amp.mains, amp.ports, bonded=amp.bonded, title="x", **more)
    assert tidy(text, "x")[0] == text
    return amp.rerun(supply_circuit(text)), text


@pytest.mark.parametrize("demo", ["pager", "skihut"])
def test_every_form_leaves_nothing_for_the_check_to_find(demo):
    found = choices(demo, Wishes())
    assert {rectifier for rectifier, *_ in found} == set(RECTIFIERS)
    assert {filter_ for _, filter_, *_ in found} == set(FILTERS)
    assert any(twice for _, _, (twice, _), _ in found)
    assert any(beside for _, _, (_, beside), _ in found)
    for form, choice in found.items():
        run, text = whole(demo, choice)
        assert run.done, (form, run.problems)
        report = check(run.after)
        assert report.verdict == NOTHING, (form, report, text)
        warned = any("half-wave" in caution.message for caution in report.cautions)
        assert warned == (form[0] == "half-wave"), form


BOTH = {"bplus_fuse": True, "soft_start": True}


@pytest.mark.parametrize(
    ("balance", "options"),
    [
        *((balance, options) for balance in BALANCES for options in ({}, BOTH)),
        ("pot", {"bplus_fuse": True}),
        ("tap", {"soft_start": True}),
    ],
    ids=str,
)
def test_every_balance_and_fuse_leaves_nothing_to_find(balance, options):
    wishes = Wishes(
        ("bridge", "tube"), ("C-L-C", "C"), balance, soft_start=options.get("soft_start", False)
    )
    for choice in choices("hostel", wishes).values():
        if options.get("bplus_fuse"):
            choice = replace(
                choice, bplus_fuse=StockFuse(name="F", volts=500.0, amps=0.1, speed="fast")
            )
        run, text = whole("hostel", choice)
        assert run.done, run.problems
        assert check(run.after).verdict == NOTHING, text
        assert ("F2" in text) == options.get("bplus_fuse", False)
        assert {
            "pot": "hum balance",
            "elevated": "HC",
            "tap": "H1 -- COMMON -- H2",
            "resistors": "R3 ",
        }[balance] in text or choice.second


def test_every_limit_of_every_form_is_what_was_read_and_approved(golden):
    """Rectifier tubes with capacitor and choke input, on the heater winding and on one of their
    own, and silicon behind a thermistor.
    """
    forms = {
        form: choice
        for form, choice in choices("hostel", Wishes(soft_start=True)).items()
        if form[:2] in {("tube", "C"), ("tube", "L-C"), ("half-wave", "C")}
    }
    solved = evaluated(
        tuple(forms.values()), amplifier_of("hostel"), needs_of("hostel"), shelf_of()
    )
    lines = [
        line
        for choice, candidate in zip(forms.values(), solved, strict=True)
        for line in (f"{choice.form}, {choice.valve.name}", *map(mark_line, candidate.marks))
    ]
    golden("supply/marks-forms.txt", "\n".join(lines) + "\n")


def test_the_supply_has_a_switch_of_its_own_where_no_port_asks_for_one():
    choice = next(iter(choices("hostel", Wishes()).values()))
    amp = amplifier_of("hostel")
    own = tuple(port for port in amp.ports if not port.startswith("switch"))
    circuit = supply_circuit(supply_text(choice, amp.mains, own, bonded=True, title="x"))
    assert circuit.by_name["S1"].kind == "switch"
    assert check(circuit).verdict == NOTHING


def test_fuse_first_then_switch_then_primary(demo):
    circuit = supply_circuit(whole(demo, next(iter(choices(demo, Wishes()).values())))[1])
    at = {node: [part.name for part, _ in pins] for node, pins in circuit.at.items()}
    assert at["LINE1"] == ["P1", "F1"]
    assert dict(circuit.ports)["switch1"] == "LINE2"
    assert "T1" in at["LINE3"]
    assert at["N1"][:1] == ["P1"]


def test_a_directly_heated_rectifier_never_shares_the_amplifiers_winding():
    found, _ = sources(shelf_of(), needs_of("pager"), Wishes())
    direct = [source for source in found if source.valve.name == "5Y3GT"]
    assert direct
    assert all(source.rectifier_winding not in ("", source.heater_winding) for source in direct)


def test_a_rectifier_whose_heater_insulation_does_not_stand_b_plus_has_no_place_on_a_shared_winding():
    for source in sources(shelf_of(), needs_of("pager"), Wishes())[0]:
        if source.tube and source.rectifier_winding == source.heater_winding:
            assert source.tube.ratings["heater_cathode_volts"].value >= source.open_volts


def test_names_with_quotes_in_the_list_do_not_break_the_netlist():
    choice = next(iter(choices("hostel", Wishes()).values()))
    odd = replace(choice, transformer=replace(choice.transformer, name='the "big" one # 5'))
    run, _ = whole("hostel", odd)
    assert run.done
