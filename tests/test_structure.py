"""The shape of the house: ranks, sizes, names, what is loaded when, and what stands at the top."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from functools import cache
from pathlib import Path

import networkx

ROOT = Path(__file__).parents[1]
MODULES = sorted((ROOT / "rework").rglob("*.py"))
EDGE = 12
#: Lines of a module as the formatter leaves it.
CAP = 450
#: Lines of a function, its docstring not counted.
LONGEST = 50
RANKS = {
    "circuit": 0,
    "tubes": 1,
    "compare": 1,
    "language": 2,
    "anatomy": 3,
    "safety": 4,
    "touch": 5,
    "solve": 6,
    "rules": 7,
    "supply": 8,
    "faultfinding": 9,
    "draw": 10,
    "papers": 11,
    "commands": EDGE,
    "page": EDGE,
    "lsp": EDGE,
    "manual": EDGE,
    "report": 1,
    "cli": EDGE,
    "__main__": EDGE,
    "__init__": 0,
}
HEAVY = ("networkx", "numpy", "pint", "scipy", "graphviz", "matplotlib", "pygls", "lsprotocol")


def room(module: str) -> str:
    """Return the room of ``rework.room.module``."""
    return module.split(".")[1] if "." in module else "__init__"


def name_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


NAMES = frozenset(map(name_of, MODULES))


@cache
def tree(path: Path) -> ast.Module:
    """Return what a module says, as Python reads it."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def imports(path: Path) -> set[str]:
    """Return the modules of ours a file imports, inside functions and for type checking too."""
    found: set[str] = set()
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names if alias.name.startswith("rework")}
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("rework"):
            found |= {
                full if (full := f"{node.module}.{alias.name}") in NAMES else node.module
                for alias in node.names
            }
    return found


def test_a_module_imports_lower_ranks_and_its_own_room_only():
    assert [
        f"{name_of(path)} imports {other}"
        for path in MODULES
        for other in imports(path)
        if room(other) != (own := room(name_of(path)))
        and RANKS[own] != EDGE
        and RANKS[room(other)] >= RANKS[own]
    ] == []


def test_no_module_imports_itself_by_a_detour():
    graph = networkx.DiGraph(
        (name_of(path), other)
        for path in MODULES
        for other in imports(path)
        if other != name_of(path)
    )
    assert list(networkx.simple_cycles(graph)) == []


def test_a_module_is_a_room_one_can_see_across():
    lines = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    assert [f"{name_of(path)} ({count})" for path, count in lines.items() if count > CAP] == []
    vague = ("utils", "helpers", "common", "misc", "base")
    assert [name_of(path) for path in MODULES if path.stem in vague] == []


def test_a_function_fits_on_a_screen():
    """Fifty lines as the formatter leaves them, the docstring not counted."""
    long = []
    for path in MODULES:
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                lines = node.end_lineno - node.lineno + 1
                if ast.get_docstring(node):
                    lines -= node.body[0].end_lineno - node.body[0].lineno + 1
                if lines > LONGEST:
                    long.append(f"{name_of(path)}.{node.name} ({lines})")
    assert long == []


def test_what_is_public_says_what_it_is():
    silent = [name_of(path) for path in MODULES if not ast.get_docstring(tree(path))]
    silent += [
        f"{name_of(path)}.{node.name}"
        for path in MODULES
        for node in tree(path).body
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
        and not node.name.startswith("_")
        and not ast.get_docstring(node)
    ]
    assert silent == []


def loaded_after(code: str) -> set[str]:
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            code + "\nimport sys; print('\\n'.join(sys.modules), file=sys.stderr)",
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    return {name.split(".")[0] for name in done.stderr.split()}


def test_one_class_name_is_one_class():
    homes: dict[str, list[str]] = {}
    for path in MODULES:
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.ClassDef):
                homes.setdefault(node.name, []).append(str(path.relative_to(ROOT)))
    assert {name: where for name, where in homes.items() if len(where) > 1} == {}


def test_help_loads_nothing_heavy():
    assert loaded_after("import rework.cli; rework.cli.parser()").isdisjoint({*HEAVY, "lark"})


def test_the_algebra_library_begins_with_one_thread():
    """Threads of stacks of small matrices wait for one another: five times the seconds, measured
    with ``rework touch`` on two busy cores. The library reads the number once, when it is loaded.
    """
    program = (
        "import builtins, os\n"
        "plain, seen = builtins.__import__, []\n"
        "def watched(name, *rest):\n"
        "    if name == 'numpy' and not seen:\n"
        "        seen.append(os.environ.get('OPENBLAS_NUM_THREADS'))\n"
        "    return plain(name, *rest)\n"
        "builtins.__import__ = watched\n"
        "from rework.cli import main\n"
        "main(['touch', '/nowhere.circuit'])\n"
        "print(seen)\n"
    )
    environment = {name: value for name, value in os.environ.items() if "OPENBLAS" not in name}
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, env=environment, check=True
    )
    assert done.stdout.splitlines()[-1] == "['1']"


def test_check_loads_nothing_heavy():
    circuit = ROOT / "circuits" / "pager" / "pager.circuit"
    assert loaded_after(
        f"import rework.cli; rework.cli.main(['check', {str(circuit)!r}])"
    ).isdisjoint(HEAVY)


def test_the_top_level_holds_what_the_design_says():
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.split("\n")
    top = {name.split("/")[0] for name in listed if name and not name.startswith(".")}
    assert top == {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "rework",
        "grammar",
        "tests",
        "circuits",
    }


def test_the_shipped_files_are_found_from_where_the_package_is_installed():
    from rework.commands.demo import demos
    from rework.language.syntax import grammar_folder
    from rework.rules.catalogue import builtin_names

    assert {path.name for path in grammar_folder().glob("*.lark")} >= {
        "tokens.lark",
        "circuit.lark",
        "job.lark",
        "rule.lark",
    }
    assert len(demos()) >= 4
    assert len(builtin_names()) >= 15
