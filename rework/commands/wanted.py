"""What the user fixes of a supply, by ``--want NAME=VALUE``."""

from __future__ import annotations

from rework.circuit.place import Problem
from rework.language.files import Refusal
from rework.language.mistakes import nearest
from rework.language.quantity import QuantityError, read_value
from rework.language.units import EXAMPLES
from rework.report.figures import shown


def wanted(words: list[str], fixable: dict[str, str]) -> dict[str, float]:
    """Return what the user fixes, in SI.

    Raises Refusal with everything that cannot be read, or is nothing a supply could bring.
    """
    wants: dict[str, float] = {}
    problems: list[Problem] = []
    for word in words:
        want = _want(word, fixable)
        if isinstance(want, Problem):
            problems.append(want)
        elif want[0] in wants:
            problems.append(Problem(f"--want {want[0]} is given twice", expected="each once"))
        else:
            wants[want[0]] = want[1]
    if problems:
        raise Refusal(*problems)
    return wants


def _want(word: str, fixable: dict[str, str]) -> tuple[str, float] | Problem:
    """Return the name and the amount, in SI, of one NAME=VALUE, or what is the matter with it."""
    name, _, text = word.partition("=")
    if name not in fixable:
        near = nearest(name, fixable)
        return Problem(
            f"--want {word}: {name or 'nothing'} is not a quantity you can set",
            expected="one of " + ", ".join(fixable),
            hint=f"did you mean {near}?" if near else "",
        )
    dimension = fixable[name]
    try:
        value = read_value(text.strip())
    except QuantityError as error:
        return Problem(
            f"--want {word}: {error}",
            expected=EXAMPLES[dimension],
            hint=f"as in --want {name}={_example(name)}",
        )
    if value.dimension != dimension:
        return Problem(
            f"--want {word}: {text} is a {value.dimension}",
            expected=EXAMPLES[dimension],
            hint=f"as in --want {name}={_example(name)}",
        )
    most, unit = {"voltage": (520.0, "V"), "current": (20.0, "A")}[dimension]
    if not 0 < value.amount <= most:
        return Problem(
            f"--want {word}: {shown(value.amount, unit)} is not what a supply of this kind gives",
            expected="more than nothing, up to 520 V or 20 A",
        )
    return name, value.amount


def _example(name: str) -> str:
    return {
        "bplus": "250V",
        "idle": "50mA",
        "full": "60mA",
        "heater": "6.3V",
        "heater-current": "1.5A",
        "hum": "2mV",
        "line": "230V",
    }[name]
