"""Every ``--json`` output is held to its schema, and every schema is kept for review."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from rework.cli import main
from rework.commands.answers.shape import SHAPES, schema
from rework.commands.parser import COMMANDS, module_of

PAGER = Path(__file__).parents[2] / "circuits" / "pager"
CASES = Path(__file__).parents[1] / "cases"
#: The set that is compared quickest; that of a demo is held to the schema in tests/supply.
NIGHT_CLASS = Path(__file__).parents[1] / "sets" / "night-class" / "night-class.circuit"
#: Only one form, so that the sum is short.
SHORT = ("--rectifier", "bridge", "--filter", "C-L-C", "--one-transformer")
JOB, CIRCUIT = str(PAGER / "pager.job"), str(PAGER / "pager.circuit")
RUNS = [
    ("summary", JOB),
    ("check", CIRCUIT),
    ("check", JOB),
    ("touch", CIRCUIT),
    ("faults", CIRCUIT),
    ("volts", JOB, "--samples", "20"),
    ("ohms", JOB),
    ("signal", CIRCUIT),
    ("fit-tube", "6AQ5"),
    ("apply", JOB),
    ("diff", CIRCUIT, str(PAGER / "supply.circuit")),
    ("compare", JOB, JOB),
    ("kinds",),
    ("rules",),
    ("rules", "exchange-tube"),
    ("rules", "--words"),
    ("tubes",),
    ("tubes", "50C5"),
    ("relatives", "50C5"),
    ("relatives", CIRCUIT, "--bplus", "180V"),
    ("supply", JOB, *SHORT),
    ("options", str(NIGHT_CLASS)),
    ("trouble", str(CASES / "dc-mains.circuit")),
]


def validator(command: str) -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(schema(command))


@pytest.mark.parametrize("run", RUNS, ids=lambda run: " ".join(Path(word).name for word in run))
def test_what_a_command_prints_is_as_its_schema_says(run, capsys):
    assert main([*run, "--json"]) in (0, 1)
    answer = json.loads(capsys.readouterr().out)
    errors = [
        f"{error.json_path}: {error.message[:200]}"
        for found in validator(run[0]).iter_errors(answer)
        for error in (found.context or [found])
    ]
    assert errors == []


@pytest.mark.parametrize("command", SHAPES)
def test_a_refusal_is_as_the_schema_says(command, capsys):
    missing = (
        ("no-such-thing",)
        if command not in ("diff", "compare")
        else ("no-such-thing", "no-such-thing")
    )
    assert main([command, *missing, "--json"]) == 2
    answer = json.loads(capsys.readouterr().out)
    validator(command).validate(answer)
    assert answer["problems"]


@pytest.mark.parametrize("command", SHAPES)
def test_the_schema_is_the_one_that_was_reviewed(command, golden):
    text = json.dumps(schema(command), indent=1, ensure_ascii=False) + "\n"
    golden(f"schemas/{command}.json", text)


def test_every_command_that_prints_json_has_a_schema():
    import argparse

    with_json = set()
    for name in COMMANDS:
        parser = argparse.ArgumentParser()
        module_of(name).arguments(parser)
        with_json |= {name} if "--json" in parser.format_help() else set()
    assert with_json == set(SHAPES)
