"""The tables of the manual, each from the table that the program itself works from."""

from __future__ import annotations

from collections.abc import Callable

from rework.circuit.kinds import KINDS, Form
from rework.commands.answers.shape import SHAPES, schema
from rework.commands.parser import EXIT_STATUSES, GROUPS, module_of
from rework.compare.sentences import called
from rework.language.job import JOB_KEYWORDS
from rework.language.leading_words import ROLES, SETTINGS
from rework.language.reader import CIRCUIT_KEYWORDS
from rework.language.spellings import KIND_NAMES, LAMPS, OFTEN_MEANT, WORDS
from rework.language.units import BARE, EXAMPLES, PREFIXES, UNITS
from rework.manual.blocks import Rows
from rework.manual.messages import messages
from rework.rules.catalogue import builtin_names, load
from rework.rules.syntax import STARTS
from rework.rules.verbs import MEANS, PART_LINE_VERBS
from rework.rules.verbs import SHAPES as VERB_SHAPES
from rework.rules.vocabulary import words
from rework.tubes import library

#: What each form of connection looks like.
_FORMS = {
    Form.TWO: "A -- B",
    Form.PINS: "terminal=node, ...",
    Form.POLES: "A -- B for each pole, poles with a comma between",
    Form.WINDINGS: "name values = A -- B for each winding",
    Form.CORES: "name = A -- B for each core",
    Form.ONE: "A",
}
#: How many fields of an answer are named before the rest are counted.
_FIELDS = 12


def kinds() -> Rows:
    """Return every kind of part with its terminals and an example."""
    return Rows(
        ("kind", "is", "terminals", "example"),
        tuple(
            (
                kind.name,
                kind.says,
                " ".join((*kind.terminals, *(f"({name})" for name in kind.optional)))
                or _FORMS[kind.form],
                kind.example,
            )
            for kind in KINDS.values()
        ),
    )


def kind_values() -> Rows:
    """Return for every kind the values, words and settings that a part of it may have."""
    return Rows(
        ("kind", "values", "words", "settings"),
        tuple(
            (
                kind.name,
                ", ".join(map(called, kind.dimensions)),
                " ".join(sorted(kind.words)),
                " ".join(sorted(kind.settings)),
            )
            for kind in KINDS.values()
        ),
    )


def forms() -> Rows:
    """Return the ways to write connections, each with the kinds that are written so."""
    return Rows(
        ("connections", "kinds"),
        tuple(
            (shape, ", ".join(kind.name for kind in KINDS.values() if kind.form is form))
            for form, shape in _FORMS.items()
        ),
    )


def spellings() -> Rows:
    """Return what other people write for kinds and words, and what it is read as."""
    names = [(name, " ".join((kind, *said))) for name, (kind, said) in KIND_NAMES.items()]
    return Rows(("written", "read as"), (*names, *WORDS.items()))


def doubtful() -> Rows:
    """Return words with several meanings, and what the program asks."""
    return Rows(("written", "the program asks whether you mean"), tuple(OFTEN_MEANT.items()))


def lamps() -> Rows:
    """Return the lamps known by the number on their base."""
    return Rows(
        ("lamp", "volts", "current"),
        tuple((f"#{number}", volts, amperes) for number, (volts, amperes) in LAMPS.items()),
    )


def units() -> Rows:
    """Return every quantity with its units and an example."""
    by_dimension: dict[str, list[str]] = {}
    for unit, (dimension, _, _) in UNITS.items():
        by_dimension.setdefault(dimension, []).append(unit)
    return Rows(
        ("quantity", "units", "write"),
        tuple(
            (called(dimension), " ".join(names), EXAMPLES.get(dimension, ""))
            for dimension, names in by_dimension.items()
        ),
    )


def prefixes() -> Rows:
    """Return the multipliers, and the quantity that each means when no unit follows."""
    return Rows(
        ("multiplier", "power of ten", "without a unit it means"),
        tuple(
            (
                prefix,
                str(power),
                ", ".join(dimension for dimension, bare in BARE.items() if prefix in bare)
                or "nothing: write the unit",
            )
            for prefix, power in PREFIXES.items()
        ),
    )


def roles() -> Rows:
    """Return the words that say which of a part's values a value is."""
    return Rows(
        ("word before a value", "the value is a"),
        tuple((word, called(dimension)) for word, dimension in ROLES.items()),
    )


def settings() -> Rows:
    """Return the words that take one more word, with the kinds that have them."""
    return Rows(
        ("word", "for"),
        tuple(
            (word, ", ".join(kind.name for kind in KINDS.values() if word in kind.settings))
            for word in SETTINGS
            if any(word in kind.settings for kind in KINDS.values())
        ),
    )


def statements() -> Rows:
    """Return the statements of a circuit file other than parts."""
    return Rows(
        ("statement", "means"), tuple((word, STATEMENTS[word]) for word in CIRCUIT_KEYWORDS)
    )


#: What each statement of a circuit file means; a test holds the keys to those of the reader.
STATEMENTS = {
    "circuit": 'the title: `circuit "Name of the set, as found"`',
    "mains": "the line the set is for: `mains 117 V 60 Hz`, `mains 220 V DC`",
    "touchable": "nodes that a person can reach: `touchable CHASSIS, J1.sleeve`",
    "open": "nodes that end in the air on purpose: `open SPARE`",
    "blank": "pins that are not traced yet; the check lists them: `blank B1, PL3`",
    "port": "nodes by which this circuit is attached to another: `port bplus = B1`",
    "join": "several names for one node: `join COMMON N1`",
    "attach": 'another circuit beside this one: `attach "supply.circuit" as SUPPLY : bplus=B1`',
}


def rules() -> Rows:
    """Return the built-in rules with what each does."""
    loaded = [load(name)[0] for name in builtin_names()]
    return Rows(("rule", "does"), tuple((rule.name, rule.says) for rule in loaded if rule))


def verbs() -> Rows:
    """Return the edits that a rule can make, and how each is written."""
    rows = [(shape, MEANS[verb]) for verb, shapes in VERB_SHAPES.items() for shape in shapes]
    rows += [(f"{verb} PART LINE", MEANS[verb]) for verb in PART_LINE_VERBS]
    return Rows(("edit", "does"), tuple(rows))


def conditions() -> Rows:
    """Return the words that conditions of a rule can use."""
    return Rows(("condition", "true where"), words())


def tubes() -> Rows:
    """Return every tube of the library with its heater and base."""
    known = filter(None, map(library.find, library.types()))
    return Rows(
        ("type", "kind", "heater", "base"),
        tuple(
            (
                tube.type,
                tube.kind,
                f"{tube.heater.volts.value:g} V {tube.heater.amps.value:g} A",
                tube.base,
            )
            for tube in known
        ),
    )


def job_statements() -> Rows:
    """Return the statements of a job file."""
    return Rows(("statement", "means"), tuple((word, OF_A_JOB[word]) for word in JOB_KEYWORDS))


def rule_statements() -> Rows:
    """Return the statements of a rule file."""
    return Rows(("statement", "means"), tuple((word, OF_A_RULE[word]) for word in STARTS))


#: What each statement of a job file means; a test holds the keys to those of the reader.
OF_A_JOB = {
    "job": "the title of the job",
    "circuit": "the file of the set as found; first in the job",
    "mains": "the line that the finished set is for, where it is another: `mains 120 V 60 Hz`",
    "attach": "another circuit with its ports on nodes of this one, as a chassis of its own",
    "apply": "run a rule; a rule applies whole, or not at all and says why",
    "reading": "what the meter showed: `reading V2.plate 118 V`",
    "meter": "the voltmeter of the readings below: `meter 10 Mohm`, `meter 20 kohm/V 12 V 60 V`",
    "line": "the volts at the outlet: `line 121 V`; `line 117 V isolated` behind a transformer",
    "bench": "the set of the readings below: `bench before without V3 lamp 60 W`",
    "noticed": "what is seen or heard: `noticed V2 dark`, `noticed motorboating`",
    "proved": "what was found good: `proved R11 good`",
    "repaired": "what was repaired; readings above it no longer count: `repaired C7`",
    "labour": "hours, and the rate: `labour 6 h at 45 USD`",
    "worth": "what the set is worth once it works: `worth 60 USD`",
    "prices": 'the stock list: `prices "shelf.csv"`',
    "customer": "one sentence for the customer's page",
}
#: What each statement of a rule file means; a test holds the keys to those of the reader.
OF_A_RULE = {
    "rule": "the name of the rule, as a job writes it after apply",
    "says": "what the rule does, in the imperative",
    "why": "why, for the work order",
    "sure": "how sure the rule is that nothing else changes",
    "limits": "where the rule is known not to help",
    "with": "parameters: `with common=COMMON, gauge`; without a value the job must give one",
    "for": "`for each`: the pattern below, everywhere it fits",
    "find": "`find one`: the pattern below, which must fit once; `else` says why not",
    "once": "the edits below once, wherever",
    "unless": "a pattern that must not be there",
    "where": "conditions on what the pattern found: it is passed over where they do not hold",
    "need": "a condition without which the rule refuses, with the reason behind `else`",
    "then": "the edits, one a line",
    "caution": "printed in the work order beside the step",
}


def exit_statuses() -> Rows:
    """Return the exit statuses."""
    return Rows(
        ("status", "means"), tuple((str(number), says) for number, says in EXIT_STATUSES.items())
    )


def commands() -> Rows:
    """Return the commands in the order of a job, each with an example."""
    return Rows(
        ("command", "does", "example"),
        tuple(
            (f"rework {command.name}", command.does, module_of(command.name).EXAMPLE)
            for group in GROUPS
            for command in group.commands
        ),
    )


def answers() -> Rows:
    """Return the commands that print JSON, each with the fields of its answer."""
    rows = []
    for command in SHAPES:
        parts = schema(command)["$defs"]
        for name in (_named(answer) for answer in schema(command)["anyOf"]):
            fields = list(parts.get(name, {}).get("properties", {}))
            more = f" and {len(fields) - _FIELDS} more" if len(fields) > _FIELDS else ""
            if fields and name != "Refused":
                rows.append((f"rework {command} --json", name, ", ".join(fields[:_FIELDS]) + more))
    return Rows(("command", "answer", "fields"), tuple(rows))


def _named(reference: dict[str, str]) -> str:
    return reference.get("$ref", "").rpartition("/")[2]


def message_rows() -> Rows:
    """Return every message with what is expected, and the remedy."""
    return Rows(
        ("about", "message", "expected", "what to do"),
        tuple(
            (message.about, message.text, message.expected, message.remedy)
            for message in messages()
        ),
    )


#: Every table by the name that the pages insert it by.
TABLES: dict[str, Callable[[], Rows]] = {
    "kinds": kinds,
    "kind-values": kind_values,
    "forms": forms,
    "spellings": spellings,
    "doubtful": doubtful,
    "lamps": lamps,
    "units": units,
    "prefixes": prefixes,
    "roles": roles,
    "settings": settings,
    "statements": statements,
    "exit-statuses": exit_statuses,
    "job-statements": job_statements,
    "rule-statements": rule_statements,
    "rules": rules,
    "verbs": verbs,
    "conditions": conditions,
    "tubes": tubes,
    "commands": commands,
    "answers": answers,
    "messages": message_rows,
}
