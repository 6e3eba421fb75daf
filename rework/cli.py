"""The command ``rework``: reads arguments, calls one function, prints.

Exit 0 nothing found, 1 hazard found, 2 not done.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence

from rework.circuit.place import Problem
from rework.commands.parser import COMMANDS, module_of, parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    from rework.report.terminal import tolerate_any_letter

    tolerate_any_letter()
    words = list(sys.argv[1:] if arguments is None else arguments)
    if not words:
        parser().print_help()
        return 2
    named = [word for word in words if not word.startswith("-")][:1]
    if named and named[0] not in COMMANDS:
        return _no_such_command(named[0])
    # Stacks of small matrices: threads of the algebra library only wait for one another, the more
    # so on a busy machine. It is asked before any command is imported, for numpy comes with it.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Files are read into many small values and hardly a circle of them: to look for circles after
    # every 700 takes a sixteenth of a command.
    gc.set_threshold(100_000, 20, 20)
    try:
        return _run(words, named)
    except KeyboardInterrupt:  # while a command is loaded, too
        print("\nstopped", file=sys.stderr)
        return 2


def _run(words: Sequence[str], named: Sequence[str]) -> int:
    asked = parser(*named).parse_args(words)
    from rework.language.files import Refusal

    try:
        status = int(module_of(asked.command).run(asked))
        sys.stdout.flush()
        return status
    except Refusal as refusal:
        _print_problems(refusal.problems, as_json=getattr(asked, "json", False))
        return 2
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 2
    except Exception as error:
        if asked.traceback:
            raise
        from rework.report.terminal import printable

        print(
            f"rework failed in a way it should not: {type(error).__name__}:"
            f" {printable(str(error))}\nNo result. Do not take this as a clean bill. Run it again"
            " with --traceback before the command to see where.",
            file=sys.stderr,
        )
        return 2


def _no_such_command(word: str) -> int:
    from difflib import get_close_matches

    near = get_close_matches(word, COMMANDS, 1, 0.6)
    _print_problems(
        [
            Problem(
                f"there is no command {word}",
                expected="one of " + ", ".join(COMMANDS),
                hint=f"did you mean rework {near[0]}?" if near else "",
            )
        ],
        as_json=False,
    )
    return 2


def _print_problems(problems: Sequence[Problem], *, as_json: bool) -> None:
    from rework.report.problems import problems_json, problems_text

    if as_json:
        import json

        print(json.dumps({"problems": problems_json(problems)}, indent=2, ensure_ascii=False))
    else:
        print(problems_text(problems, stream=sys.stderr), file=sys.stderr)
        count = sum(problem.severity == "error" for problem in problems)
        print(f"\n{count} problem{'s' if count != 1 else ''}; nothing was done.", file=sys.stderr)


if __name__ == "__main__":
    sys.exit(main())
