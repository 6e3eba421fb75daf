"""Every built-in rule on every demo, as found and part way through: it is done whole, or nothing
is, and nothing is left hanging.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import islice, product
from pathlib import Path

from each import each
from sets import PAGER, SUPPLY, TALKBACK, circuit

from rework.circuit.circuit import Circuit
from rework.circuit.edits import (
    AttachCircuit,
    CutConductor,
    ExchangeTube,
    FitPart,
    RemovePart,
    RunWire,
    apply_edit,
    replay,
)
from rework.circuit.graph import contracted
from rework.compare.difference import difference
from rework.language.writer import write_circuit
from rework.rules.catalogue import builtin_names, load
from rework.rules.known import Known
from rework.rules.rewrite import Applied, NothingToDo, Refused, plan
from rework.tubes import library
from rework.tubes.relatives import relatives

DEMOS = Path(__file__).parents[2] / "circuits"
FOLDERS = tuple(sorted(path.name for path in DEMOS.iterdir() if path.is_dir()))
STAGES = ("as found", "with the supply beside it", "off the line")
#: How many ways of filling in a rule's parameters are tried on one circuit.
TRIED = 8


@cache
def demo(name: str, stage: str) -> Circuit:
    if name in ("own pager", "own talkback"):
        board, supply = circuit(PAGER if name == "own pager" else TALKBACK), circuit(SUPPLY)
    else:
        board = circuit((DEMOS / name / f"{name}.circuit").read_text(encoding="utf-8"))
        supply = circuit((DEMOS / name / "supply.circuit").read_text(encoding="utf-8"))
    if stage == "as found":
        return board
    board = apply_edit(board, AttachCircuit(supply, "SUPPLY"))
    if stage == "off the line":
        for rule in (
            "open-line-to-chassis",
            "take-out-dropper",
            "remove-rectifier",
            "remove-filter",
            "release-line-cord",
        ):
            outcome = plan(load(rule)[0], board)
            board = outcome.after if isinstance(outcome, Applied) else board
    return board


def guesses(rule, board: Circuit):
    """Yield arguments for a rule, made up from the circuit by what its parameters are called."""
    named = {
        kind: [part.name for part in board.parts if part.kind == kind and "/" not in part.name]
        for kind in ("tube", "switch", "resistor", "motor", "output transformer")
    }
    rails = sorted(Known(board).facts.rail)
    types = [
        kin.type
        for name in named["tube"]
        if (tube := library.find(board.by_name[name].type))
        for kin in relatives(tube)[:1]
    ]
    pool = {
        "tube": named["tube"],
        "type": types,
        "switch": named["switch"],
        "load": named["resistor"],
        "rail": rails,
        "bplus": rails,
        "node": rails,
        "motor": named["motor"],
        "transformer": named["output transformer"],
        "part": named["resistor"],
        "value": ["100 ohm 2 W"],
    }
    asked = [one.name for one in rule.parameters if one.default is None or one.name == "load"]
    choices = [pool.get(name) or [board.parts[0].name] for name in asked]
    for values in islice(product(*choices), TRIED):
        yield dict(zip(asked, values, strict=True))


def lone(board: Circuit) -> set[str]:
    return {node for node, on in board.at.items() if len(on) == 1}


@each("stage", STAGES)
@each("name", [*FOLDERS, "own pager", "own talkback"])
@each("rule_name", builtin_names())
def test_a_rule_on_a_demo(rule_name, name, stage):
    rule, board = load(rule_name)[0], demo(name, stage)
    before = replace(board)
    for number, arguments in enumerate(guesses(rule, board)):
        outcome = plan(rule, board, arguments)
        assert board == before, "planning changes nothing"
        match outcome:
            case Refused(reasons):
                assert reasons, reasons
                assert all(
                    len(reason) > 20
                    and "{" not in reason
                    and "?" not in reason.replace("did you mean", "")
                    for reason in reasons
                    if "Did you mean" not in reason
                ), reasons
            case NothingToDo(reason):
                assert rule_name in reason
            case Applied():
                holds_good(rule, arguments, board, outcome)
                if not number:
                    reads_back(outcome.after)
            case _:
                raise AssertionError(outcome)


def holds_good(rule, arguments, board: Circuit, outcome: Applied) -> None:
    after = outcome.after
    assert replay(board, outcome.edits) == after, "the edits give the circuit again"
    assert plan(rule, board, arguments) == outcome, (
        "the same rule on the same circuit comes out the same"
    )
    again = plan(rule, after, arguments)
    assert isinstance(again, NothingToDo | Refused), f"a second time does nothing: {again}"
    nothing_hangs(board, after)
    told = difference(board, after)
    actions = [edit.action for edit in outcome.edits]
    gone = {action.name for action in actions if isinstance(action, RemovePart | CutConductor)}
    new = {action.part.name for action in actions if isinstance(action, FitPart | RunWire)}
    assert {part.name for part in (*told.removed, *told.cut)} - new == gone - new
    assert {part.name for part in (*told.added, *told.run)} - gone == new - gone
    assert {one.part for one in told.exchanged} == {
        action.name for action in actions if isinstance(action, ExchangeTube)
    }


def reads_back(after: Circuit) -> None:
    """The text of the circuit reads back as the very same circuit; what ends in the air is said to."""
    said = replace(after, open_nodes=tuple(sorted({*after.open_nodes, *lone(after)})))
    again = circuit(write_circuit(said))
    assert again.parts == said.parts
    assert (set(again.touchable), set(again.open_nodes), again.aliases, again.ports) == (
        set(said.touchable),
        set(said.open_nodes),
        said.aliases,
        said.ports,
    )


def nothing_hangs(board: Circuit, after: Circuit) -> None:
    """No wire is left with an end on nothing but itself where the line or the string was."""
    facts = Known(board)
    off_limits = facts.facts.line | facts.facts.string_points
    for node in lone(after) - lone(board):
        part, terminal = after.at[node][0]
        if node in board.at and facts.facts.point(node) in off_limits:
            assert (
                part.kind == "plug"
                or terminal in ("shaft", "frame", "core", "metal", "sleeve", "shield")
                or part.name not in board.by_name
            ), f"{part.name}.{terminal} is left alone on {node}"


@each("name", FOLDERS)
def test_the_signal_still_finds_its_way(name):
    """From the input to the speaker through parts and their terminals, before and after everything
    that comes out.
    """
    for stage in STAGES:
        board = demo(name, stage)
        group = contracted(board)
        reach = {
            group[node]
            for part in board.parts
            if part.kind in ("jack", "pickup")
            for end, node in part.pins
            if end in ("tip", "signal")
        }
        for _ in range(len(board.parts)):
            for part in board.parts:
                ends = {
                    group[node] for end, node in part.pins if end not in ("shaft", "frame", "core")
                }
                if "/" not in part.name and part.kind not in ("plug", "chassis") and ends & reach:
                    reach |= {point for point in ends if not is_common(board, group, point)}
        speakers = {
            group[node]
            for part in board.parts
            if part.kind == "speaker"
            for end, node in part.pins
            if end == "1"
        }
        assert speakers, stage
        assert speakers <= reach, stage


def is_common(board: Circuit, group, point: str) -> bool:
    return point in {
        group[node]
        for node in board.nodes
        if node in ("COMMON", "CHASSIS", "BMINUS") or node.startswith("B")
    }
