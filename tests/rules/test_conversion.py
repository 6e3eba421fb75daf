"""The orders of built-in rules that take a set off the line are tried before they are told."""

from __future__ import annotations

from pathlib import Path

import pytest

from rework.language.resolve import read_circuit
from rework.rules.conversion import ConversionKind, conversions
from rework.safety.check import check

ROOT = Path(__file__).parents[2]
FOUND = sorted((ROOT / "circuits").glob("*/*.circuit"))


def circuit_of(path: Path):
    circuit, _ = read_circuit(path.read_text(encoding="utf-8"), file=str(path))
    assert circuit is not None
    return circuit


@pytest.mark.parametrize(
    "path", [path for path in FOUND if path.stem == path.parent.name], ids=lambda path: path.stem
)
def test_every_demo_as_found_has_a_conversion_that_leaves_no_tie(path):
    circuit = circuit_of(path)
    assert any(not hazard.remedies for hazard in check(circuit).hazards)
    tried = {conversion.kind: conversion for conversion in conversions(circuit)}
    assert ConversionKind.SUPPLY in tried
    for conversion in tried.values():
        assert not check(conversion.after).hazards
        assert all(line.startswith("apply ") for line in conversion.rules)


def test_rules_that_leave_a_tie_are_not_told():
    """The chassis is a blade: nothing isolates it, and no rule of the list parts the two."""
    circuit = circuit_of(ROOT / "tests" / "cases" / "patched-to-a-hot-set.circuit")
    for conversion in conversions(circuit):
        assert not check(conversion.after).hazards


def test_a_bulb_of_no_known_type_stays_behind_a_transformer_and_keeps_its_rectifier():
    """Nothing says which pins of it are a rectifier: no bridge and no new supply for it."""
    path = ROOT / "tests" / "sets" / "night-class" / "night-class.circuit"
    text = path.read_text(encoding="utf-8").replace("117N7GT", "117L7GT")
    circuit, _ = read_circuit(text, file=str(path))
    (conversion,) = conversions(circuit)
    assert conversion.kind is ConversionKind.ISOLATE
    assert conversion.rules[0].startswith("apply isolate-keep-rectifier")
    assert not check(conversion.after).hazards


def test_a_set_for_direct_current_is_offered_no_transformer_before_it():
    path = ROOT / "tests" / "sets" / "lighthouse" / "lighthouse.circuit"
    assert [each.kind for each in conversions(circuit_of(path))] == [ConversionKind.SUPPLY]
