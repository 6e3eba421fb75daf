"""A mutation run: small changes to the program, one at a time, and whether the tests notice.

    python tests/bench/mutants.py rework/touch --tests tests/touch --count 300 --seed 1

Mutants are sampled with a fixed seed from every place of the modules named where a comparison, a
sign, a factor, a constant or a truth can be turned. A mutant is written into a copy of the package
and the tests are run on it until the first failure; one that no test notices has survived and is
listed. Prints the share that was killed; the exit status is 1 below ``--least``.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
#: What each operator is turned into.
COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
}
#: A test run that takes longer has been killed: a loop that never ends is noticed too.
SECONDS = 300


@dataclass(frozen=True, slots=True)
class Mutant:
    """One change: the module, the number of the node in a walk of its tree, and the change."""

    path: Path
    node: int
    what: str


def mutants(path: Path) -> Iterator[Mutant]:
    """Return every mutant of one module."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    decorators = {
        inside
        for node in ast.walk(tree)
        for decorator in getattr(node, "decorator_list", ())
        for inside in ast.walk(decorator)
    }
    for number, node in enumerate(ast.walk(tree)):
        if node in decorators:
            continue  # frozen, slots: how a value is kept, not what it is
        line = getattr(node, "lineno", 0)
        if isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARISONS:
            new = COMPARISONS[type(node.ops[0])].__name__
            yield Mutant(path, number, f"line {line}: {type(node.ops[0]).__name__} to {new}")
        elif isinstance(node, ast.BinOp) and type(node.op) in OPERATORS and not _is_text(node):
            new = OPERATORS[type(node.op)].__name__
            yield Mutant(path, number, f"line {line}: {type(node.op).__name__} to {new}")
        elif isinstance(node, ast.BoolOp):
            new = "or" if isinstance(node.op, ast.And) else "and"
            yield Mutant(path, number, f"line {line}: to {new}")
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not | ast.Invert):
            yield Mutant(path, number, f"line {line}: without {type(node.op).__name__}")
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float, bool):
            yield Mutant(path, number, f"line {line}: {node.value!r} to {_other(node.value)!r}")


def _is_text(node: ast.BinOp) -> bool:
    """Return whether an operator puts text or lists together."""
    ends = (ast.Constant, ast.JoinedStr, ast.List, ast.Tuple)
    return any(
        isinstance(end, ends) and not isinstance(getattr(end, "value", None), int | float)
        for end in (node.left, node.right)
    )


def _other(value: complex | bool) -> complex | bool:
    """Return the constant of a mutant: the other truth, one more, or twice as much."""
    if isinstance(value, bool):
        return not value
    return value + 1 if isinstance(value, int) else value * 2 or 1.0


def mutated(mutant: Mutant, text: str) -> str:
    """Return the text of a module with its change."""
    tree = ast.parse(text)
    node = list(ast.walk(tree))[mutant.node]
    if isinstance(node, ast.Compare):
        node.ops[0] = COMPARISONS[type(node.ops[0])]()
    elif isinstance(node, ast.BinOp):
        node.op = OPERATORS[type(node.op)]()
    elif isinstance(node, ast.BoolOp):
        node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
    elif isinstance(node, ast.UnaryOp):
        node.op = ast.UAdd() if isinstance(node.op, ast.USub) else node.op
        if isinstance(node.op, ast.Not | ast.Invert):
            tree = _Bare(node).visit(tree)
    elif isinstance(node, ast.Constant):
        assert isinstance(node.value, bool | int | float)
        node.value = _other(node.value)
    return ast.unparse(ast.fix_missing_locations(tree))


class _Bare(ast.NodeTransformer):
    """Takes one operator off its operand."""

    def __init__(self, node: ast.UnaryOp) -> None:
        self.node = node

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        """Return the operand of the node meant."""
        self.generic_visit(node)
        return node.operand if node is self.node else node


def survives(mutant: Mutant, copy: Path, tests: list[str]) -> bool:
    """Return whether the tests pass with the mutant in the copy of the package."""
    target = mutant.path
    kept = target.read_text(encoding="utf-8")
    target.write_text(mutated(mutant, kept), encoding="utf-8")
    environment = os.environ | {"PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests],
            cwd=copy,
            env=environment,
            capture_output=True,
            timeout=SECONDS,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return False
    finally:
        target.write_text(kept, encoding="utf-8")
    return done.returncode == 0


def main() -> int:
    """Run the mutants asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("modules", nargs="+", help="modules or rooms to mutate")
    parser.add_argument("--tests", nargs="+", required=True)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--least", type=float, default=0.9, help="share that has to be killed")
    asked = parser.parse_args()
    paths = sorted(
        path
        for name in asked.modules
        for path in ([ROOT / name] if name.endswith(".py") else (ROOT / name).rglob("*.py"))
    )
    survivors: list[Mutant] = []
    with tempfile.TemporaryDirectory() as folder:
        # All from the copy: the files may be edited while this runs.
        copy = Path(folder) / "copy"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", "__pycache__", ".venv"))
        paths = [copy / path.relative_to(ROOT) for path in paths]
        every = [mutant for path in paths for mutant in mutants(path)]
        chosen = random.Random(asked.seed).sample(every, min(asked.count, len(every)))
        for number, mutant in enumerate(chosen, 1):
            if survives(mutant, copy, asked.tests):
                survivors.append(mutant)
                print(f"survived: {mutant.path.relative_to(copy)} {mutant.what}", flush=True)
            if number % 10 == 0:
                killed = 1 - len(survivors) / number
                print(f"{number} of {len(chosen)}, {killed:.0%} killed", flush=True)
    share = 1 - len(survivors) / len(chosen)
    print(f"{len(chosen)} mutants of {len(every)}, {share:.1%} killed, seed {asked.seed}")
    return int(share < asked.least)


if __name__ == "__main__":
    sys.exit(main())
