"""The manual of a rule, read from the rule's own file: what it does, why, what it looks for, what
it edits.
"""

from __future__ import annotations

import textwrap

from rework.rules.rule import Example, Pass, Rule
from rework.rules.verbs import MEANS, PART_LINE_VERBS

_WIDTH = 100


def manual(rule: Rule) -> str:
    """Return the manual page of a rule as plain text."""
    blocks = [
        f"{rule.name}\n{'=' * len(rule.name)}",
        _wrapped(f"{rule.says.rstrip('.')}."),
        *(_headed("Why", [why]) for why in rule.why),
        _headed("How sure", [rule.sure]),
    ]
    if rule.parameters:
        blocks.append(
            _headed(
                (
                    "The job may say"
                    if all(p.default is not None for p in rule.parameters)
                    else "The job says"
                ),
                [
                    (
                        f"{parameter.name}={parameter.default}"
                        if parameter.default is not None
                        else f"{parameter.name}=...  (has to be given)"
                    )
                    for parameter in rule.parameters
                ],
            )
        )
    for index, pass_ in enumerate(rule.passes, 1):
        blocks += _pass(pass_, f" ({index} of {len(rule.passes)})" if len(rule.passes) > 1 else "")
    cautions = [caution for pass_ in rule.passes for caution in pass_.cautions]
    if cautions:
        blocks.append(_headed("Cautions", list(dict.fromkeys(cautions))))
    if rule.limits:
        blocks.append(_headed("Known limits", list(rule.limits)))
    for example in rule.examples:
        blocks += _example(example)
    return "\n\n".join(block for block in blocks if block) + "\n"


def _pass(pass_: Pass, which: str) -> list[str]:
    looked = [pattern.text for pattern in pass_.patterns]
    looked += [f"unless {pattern.text}" for group in pass_.unless for pattern in group]
    looked += [f"where {text}" for text in pass_.where_text]
    quantifier = {"for each": "for each", "find one": "exactly one", "once": "once, wherever"}[
        pass_.quantifier
    ]
    blocks = [_headed(f"Looks for{which}, {quantifier}", looked)] if looked else []
    if pass_.missing:
        blocks.append(_headed("Refuses where there is none", [pass_.missing]))
    if pass_.needs:
        blocks.append(
            _headed("Needs", [f"{need.text}; else: {need.otherwise}" for need in pass_.needs])
        )
    if pass_.steps:
        blocks.append(
            _headed(
                "Edits",
                [
                    f"{step.verb} {step.text}" if step.verb in PART_LINE_VERBS else step.text
                    for step in pass_.steps
                ],
            )
        )
        verbs = dict.fromkeys(
            step.verb
            for step in pass_.steps
            if step.verb in ("free", "leave", "lift", "move", "exchange", "insert")
        )
        blocks[-1] += "".join(f"\n{_wrapped(f'({verb}: {MEANS[verb]})', '    ')}" for verb in verbs)
    return blocks


def _example(example: Example) -> list[str]:
    given = ", ".join(f"{name}={value}" for name, value in example.arguments)
    blocks = [
        f"Example{f' with {given}' if given else ''},"
        f" before:\n{textwrap.indent(example.before.rstrip(), '    ')}"
    ]
    if example.refusal is not None:
        blocks.append(f"It refuses: {example.refusal}")
    elif example.after is not None:
        blocks.append(f"After:\n{textwrap.indent(example.after.rstrip(), '    ')}")
    else:
        blocks.append("It finds nothing to do.")
    return blocks


def _headed(title: str, lines: list[str]) -> str:
    return "\n".join([f"{title}:", *(_wrapped(line, "    ") for line in lines)])


def _wrapped(text: str, indent: str = "") -> str:
    return (
        "\n".join(
            textwrap.wrap(
                text,
                _WIDTH,
                initial_indent=indent,
                subsequent_indent=indent + ("  " if indent else ""),
                break_long_words=False,
                break_on_hyphens=False,
            )
        )
        or indent
    )


def as_json(rule: Rule) -> dict[str, object]:
    """Return the same as plain data for ``rework rules --json``."""
    return {
        "name": rule.name,
        "says": rule.says,
        "why": list(rule.why),
        "sure": rule.sure,
        "limits": list(rule.limits),
        "parameters": [
            {"name": parameter.name, "default": parameter.default} for parameter in rule.parameters
        ],
        "passes": [
            {
                "quantifier": pass_.quantifier,
                "patterns": [pattern.text for pattern in pass_.patterns],
                "unless": [[pattern.text for pattern in group] for group in pass_.unless],
                "where": list(pass_.where_text),
                "needs": [
                    {"condition": need.text, "otherwise": need.otherwise} for need in pass_.needs
                ],
                "edits": [
                    f"{step.verb} {step.text}" if step.verb in PART_LINE_VERBS else step.text
                    for step in pass_.steps
                ],
                "cautions": list(pass_.cautions),
                "missing": pass_.missing,
            }
            for pass_ in rule.passes
        ],
        "examples": [
            {
                "arguments": dict(example.arguments),
                "before": example.before,
                "after": example.after,
                "refusal": example.refusal,
            }
            for example in rule.examples
        ],
    }
