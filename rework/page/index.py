"""What the page finds by name, type, value, kind, colour or rule: one entry a part, node and rule.

An entry has ``what`` (``part``, ``node`` or ``rule``), ``name``, ``words`` in small letters that a
pattern is held against one by one, ``told``, the line that is shown, and for a rule its first
``step``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from rework.circuit.parts import Part
from rework.compare.entries import value_text
from rework.language.quantity import write_value
from rework.page.board import Plain
from rework.page.wires import wires
from rework.papers.places import plain
from rework.rules.run import JobRun


def index(run: JobRun) -> list[Plain]:
    """Return what can be found in a job: parts, nodes, rules, in this order."""
    return [*_parts(run), *_nodes(run), *_rules(run)]


def _parts(run: JobRun) -> Iterable[Plain]:
    for name in dict.fromkeys([*run.before.by_name, *run.after.by_name]):
        was, now = run.before.part(name), run.after.part(name)
        both = [part for part in (was, now) if part is not None]
        title = " → ".join(dict.fromkeys(map(plain, both)))
        yield _entry("part", name, title, (word for part in both for word in _words(part)))


def _words(part: Part) -> Iterable[str]:
    values = [*part.values, *(value for _, every in part.windings for value in every)]
    for value in values:
        for text in (value.text, value_text(value), write_value(value)):
            yield text
            yield text.replace(" ", "")
    yield from (part.kind, part.type, *part.words, part.remark)


def _nodes(run: JobRun) -> Iterable[Plain]:
    before, after = wires(run.before), wires(run.after)
    for node in sorted({*run.before.at, *run.after.at}):
        colours = [side[node] for side in (before, after) if node in side]
        words = [word for colour in colours for word in (*re.split(r"[, ]+", colour), colour)]
        yield _entry("node", node, " → ".join(dict.fromkeys(colours)), words)


def _rules(run: JobRun) -> Iterable[Plain]:
    seen: set[str] = set()
    for number, taken in enumerate(run.taken, 1):
        rule = getattr(taken.step, "rule", "")
        if rule and rule not in seen:
            seen.add(rule)
            yield {**_entry("rule", rule, taken.says, rule.split("-")), "step": number}


def _entry(what: str, name: str, title: str, words: Iterable[str]) -> Plain:
    every = [name, name.rpartition("/")[2], *words]
    small = dict.fromkeys(word.lower() for word in every if word)
    return {"what": what, "name": name, "told": title, "words": list(small)}
