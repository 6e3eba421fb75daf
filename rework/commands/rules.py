"""``rework rules``: the list of rules, the manual of one, and the words that conditions can use."""

from __future__ import annotations

import argparse
from pathlib import Path

from rework.circuit.place import Problem
from rework.commands.arguments import takes_json
from rework.language.files import Refusal
from rework.report.terminal import columns_wide, fitted, table
from rework.rules import catalogue
from rework.rules.manual import manual
from rework.rules.rule import Rule

EXAMPLE = "rework rules open-line-to-chassis"
#: The ending of the file of a rule.
RULE = ".rule"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "name", nargs="?", help="a rule, or the file of one; without it all are listed"
    )
    parser.add_argument(
        "--words", action="store_true", help="print the words a rule's conditions can use"
    )
    parser.add_argument(
        "--source",
        action="store_true",
        help="print the text of the rule: the beginning of a rule of your own",
    )
    parser.add_argument(
        "--folder",
        metavar="DIR",
        default=".",
        help="where rules of your own are kept (default: here)",
    )
    takes_json(parser)


def _named_by_file(asked: argparse.Namespace) -> str:
    """Return the folder that rules are in; a rule named by its file is named as it is there."""
    path = Path(asked.name or "")
    if path.suffix != RULE or not path.is_file():
        return str(asked.folder)
    asked.name = path.stem
    return str(path.parent)


def run(asked: argparse.Namespace) -> int:
    """Print what was asked for; every text comes from the rule files themselves."""
    if asked.words:
        from rework.rules.vocabulary import words

        if asked.json:
            from rework.commands.answers.change import PhraseAnswer
            from rework.commands.answers.shape import json_text

            print(json_text([PhraseAnswer(phrase, means) for phrase, means in words()]))
        else:
            print(table(list(words()), width=columns_wide()))
        return 0
    folder = _named_by_file(asked)
    names = [asked.name] if asked.name else list(catalogue.available(folder))
    loaded: list[Rule] = []
    problems: list[Problem] = []
    for name in names:
        rule, mistakes = catalogue.load(name, folder)
        loaded += [rule] if rule is not None else []
        problems += mistakes if rule is None else ()
    if problems and (asked.name or not loaded):
        raise Refusal(*problems)
    if asked.source:
        if not asked.name:
            raise Refusal(Problem("--source prints one rule", expected="rules NAME --source"))
        print(loaded[0].source, end="")
        return 0
    if asked.json:
        from rework.commands.answers.change import rule_answer
        from rework.commands.answers.shape import json_text

        answers = [rule_answer(rule) for rule in loaded]
        print(json_text(answers[0] if asked.name else answers))
    elif asked.name:
        print(fitted(manual(loaded[0])))
    else:
        own_names = set(catalogue.own_names(folder))
        print(
            table(
                [
                    (rule.name + (" (yours)" if rule.name in own_names else ""), rule.says)
                    for rule in loaded
                ],
                width=columns_wide(),
            )
        )
    if problems:
        raise Refusal(*problems)
    return 0
