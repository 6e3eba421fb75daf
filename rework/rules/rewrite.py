"""What a rule does to a circuit: planned whole on the circuit as it was, or not at all.

Every pass is matched, and every condition asked, on the circuit as it was when the rule began; the
edits are done in order at the end. The circuit handed in is never changed.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from rework.anatomy.units import element_at
from rework.circuit.circuit import Circuit
from rework.circuit.edits import Action, CutConductor, Edit, LiftPin, RemovePart, subject
from rework.circuit.kinds import KINDS
from rework.rules.actions import Bench, CannotDo, fill, number
from rework.rules.computed import computed_names, implied
from rework.rules.known import Known, Operand
from rework.rules.match import Match, Matcher, TooManySteps, distinct, node_at
from rework.rules.rule import All, AnyOf, Condition, Not, Pass, Phrase, Rule, RuleStep, Term
from rework.rules.verbs import PART_LINE_VERBS
from rework.rules.vocabulary import VOCABULARY, why_not


@dataclass(frozen=True, slots=True)
class Applied:
    """The edits in order, what to take care of, and the circuit after them.

    ``about`` has for each caution the place in ``edits`` of the edit that it is about: the one on
    the part that it names, else the last of the pass that it is written in.
    """

    edits: tuple[Edit, ...]
    cautions: tuple[str, ...]
    after: Circuit
    about: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class NothingToDo:
    """The rule found nothing that it is for."""

    reason: str


@dataclass(frozen=True, slots=True)
class Refused:
    """The rule may not be applied: which need failed on which part, and what to do first."""

    reasons: tuple[str, ...]


Outcome = Applied | NothingToDo | Refused


def plan(
    rule: Rule,
    circuit: Circuit,
    arguments: Mapping[str, str] | None = None,
    *,
    used: frozenset[str] = frozenset(),
) -> Outcome:
    """Return the result of applying a rule to a circuit; the circuit stays as it was.

    ``arguments`` are the values the job gives to the rule's parameters, as text; ``used`` are names
    that parts had earlier in the job, so that no new part gets the name of one that came out.
    """
    arguments = arguments or {}
    if problems := argument_problems(rule, arguments):
        return Refused(problems)
    given = {
        parameter.name: parameter.default
        for parameter in rule.parameters
        if parameter.default is not None
    }
    return _Plan(rule, circuit, implied(circuit) | given | dict(arguments), used).outcome()


def argument_problems(rule: Rule, arguments: Mapping[str, str]) -> tuple[str, ...]:
    """Return what is wrong with the arguments given to a rule: names it does not know, and those it
    need.
    """
    known = {parameter.name: parameter.default for parameter in rule.parameters}
    parts = {name for search in rule.passes for name in _part_variables(search)}
    problems = []
    for name in sorted(arguments.keys() - known.keys() - parts):
        near = difflib.get_close_matches(name, known, 1, 0.5)
        problems.append(
            f"{rule.name} takes no {name}; "
            + (
                f"did you mean {near[0]}?"
                if near
                else f"it takes {', '.join(sorted(known))}."
                if known
                else "it takes nothing."
            )
        )
    problems += [
        f"{rule.name} needs {name}: write apply {rule.name} : {name}=..."
        for name, default in known.items()
        if default is None and not arguments.get(name)
    ]
    return tuple(problems)


def _part_variables(search: Pass) -> tuple[str, ...]:
    """Return the variables of a pass that stand for parts: a job may say which part each is."""
    return tuple(
        pattern.name.text for pattern in search.patterns if pattern.name.form == "variable"
    )


@dataclass(frozen=True, slots=True)
class _Site:
    """One match of one pass, with the words its names stand for."""

    search: Pass
    match: Match
    names: Mapping[str, str]


class _Plan:
    """One rule on one circuit."""

    def __init__(
        self, rule: Rule, circuit: Circuit, given: Mapping[str, str], used: frozenset[str]
    ) -> None:
        self.rule, self.circuit, self.given, self.used = rule, circuit, given, used
        self.known = Known(circuit)
        self.matcher = Matcher(circuit, given)
        self.group = self.known.facts.group

    def outcome(self) -> Outcome:
        """Return the outcome of the rule."""
        sites: list[_Site] = []
        refusals: list[str] = []
        for search in self.rule.passes:
            try:
                matches = self._matches(search)
            except TooManySteps:
                return Refused(
                    (
                        f"The pattern of {self.rule.name} fits this circuit in too many ways to try"
                        f" ({search.place}). Name a part in it more closely.",
                    )
                )
            if not matches and search.missing:
                refusals.append(fill(search.missing, self.given))
            if search.quantifier == "find one" and len(matches) > 1:
                refusals.append(self._several(search, matches))
            for match in matches:
                refusals += self._failed_needs(match)
            sites += matches
        if refusals:
            return Refused(tuple(dict.fromkeys(refusals)))
        if not sites:
            return NothingToDo(f"{self.rule.name} found no place to work on: {self._looked_for()}.")
        return self._apply(sites)

    def _looked_for(self) -> str:
        says = self.rule.says.rstrip(".")
        return f"there is nothing here to “{says[0].lower()}{says[1:]}”"

    def _several(self, search: Pass, sites: list[_Site]) -> str:
        """Return the refusal where more than one place fits, with how to name the one."""
        name = self.rule.name
        telling = next(
            (
                (variable, sorted({site.match.parts[variable] for site in sites}))
                for variable in _part_variables(search)
                if len({site.match.parts[variable] for site in sites}) > 1
            ),
            None,
        )
        if telling is None:
            nodes = sorted({node for site in sites for node in site.match.nodes.values()})
            return (
                f"{name} looks for one place and found {len(sites)}, with the same parts and other"
                f" nodes: {', '.join(nodes)}. Write the rule out (rework rules {name} --source) and"
                " name the nodes in it."
            )
        variable, parts = telling
        return (
            f"{name} looks for one place and found {len(parts)}: {', '.join(parts)}. Name the one"
            f" that is meant: apply {name} : {variable}={parts[0]}"
        )

    def _matches(self, search: Pass) -> list[_Site]:
        if search.quantifier == "once":
            every = [Match({}, {})]
        else:
            chosen = {
                name: self.given[name] for name in _part_variables(search) if name in self.given
            }
            within = Match(chosen, {}) if chosen else None
            shared = tuple(_sharing(search.where))
            every = list(self.matcher.find(search.patterns, within=within, shared=shared))
        kept = []
        for match in every:
            site = _Site(search, match, self._names(match))
            holds = all(self._holds(condition, site) for condition in search.where)
            if holds and not self._excluded(search, match):
                kept.append(site)
        first = list(distinct((site.match for site in kept), self.group))
        return [site for site in kept if any(site.match is match for match in first)]

    def _excluded(self, search: Pass, match: Match) -> bool:
        return any(
            next(self.matcher.find(patterns, within=match, names=search.patterns), None) is not None
            for patterns in search.unless
        )

    def _names(self, match: Match) -> dict[str, str]:
        nodes = {name: node for name, node in match.nodes.items() if "." not in name}
        names = dict(self.given) | nodes | dict(match.parts)
        return names | computed_names(names, self.circuit)

    def _failed_needs(self, site: _Site) -> list[str]:
        refusals = []
        for need in site.search.needs:
            if not self._holds(need.condition, site):
                reasons = dict.fromkeys(
                    reason
                    for phrase in _phrases(need.condition)
                    if (reason := why_not(phrase.predicate, self._operands(phrase, site)))
                )
                refusals.append(" ".join([fill(need.otherwise, site.names), *reasons]))
        return refusals

    # conditions

    def _holds(self, condition: Condition, site: _Site) -> bool:
        match condition:
            case All(members):
                return all(self._holds(member, site) for member in members)
            case AnyOf(members):
                return any(self._holds(member, site) for member in members)
            case Not(member):
                return not self._holds(member, site)
            case Phrase(predicate=predicate, denied=denied):
                return VOCABULARY[predicate](self.known, *self._operands(condition, site)) != denied
        raise AssertionError(condition)

    def _operands(self, phrase: Phrase, site: _Site) -> tuple[Operand, ...]:
        return tuple(self._operand(term, site.match) for term in phrase.operands)

    def _operand(self, term: Term, match: Match) -> Operand:
        if term.form == "variable":
            if term.text in match.parts:
                part = self.circuit.by_name[match.parts[term.text]]
                return self._pin(part.name, term.pin) if term.pin else Operand(part.name, part=part)
            node = match.nodes[term.text]
            return Operand(node, point=self.group.get(node, node))
        text = self.given.get(term.text, "") if term.form == "parameter" else term.text
        if term.pin:
            return self._pin(text, term.pin)
        named = self.circuit.part(text)
        if named is not None:
            return Operand(text, part=named)
        node = node_at(self.circuit, text)
        return Operand(text, point=self.group[node]) if node in self.group else Operand(text)

    def _pin(self, part: str, pin: str) -> Operand:
        node = node_at(self.circuit, f"{part}.{pin}")
        return Operand(f"{part}.{pin}", point=self.group.get(node))

    # edits

    def _apply(self, sites: list[_Site]) -> Outcome:
        edits: list[Edit] = []
        raised: dict[str, int] = {}
        warned: list[str] = []
        bench = Bench(self.circuit, warned.append, self._off_limits, self.used)
        spans: list[tuple[_Site, range]] = []
        try:
            for site in sites:
                first = len(edits)
                numbers: dict[str, str] = {}
                for step in site.search.steps:
                    for action in self._step(bench, step, site, numbers):
                        edit = Edit(action, self.rule.name, self._reason(site), step.place)
                        edits.append(edit)
                spans.append((site, range(first, len(edits))))
                raised |= _new(warned, raised, edits, spans[-1][1])
            first = len(edits)
            for action in self._loose_ends(bench, warned.append):
                why = f"{self.rule.says.rstrip('.')}: nothing else is left on it"
                edits.append(Edit(action, self.rule.name, why, self.rule.passes[-1].place))
            raised |= _new(warned, raised, edits, range(first, len(edits)))
        except CannotDo as reason:
            return Refused((f"{self.rule.name}: {reason}.",))
        if not edits or set(bench.circuit.parts) == set(self.circuit.parts):
            return NothingToDo(f"{self.rule.name} changes nothing here: it has been done already.")
        about: dict[str, int] = {}
        for site, span in spans:
            for text in site.search.cautions:
                caution = fill(text, site.names)
                about.setdefault(caution, _about(caution, edits, span))
        about |= {caution: place for caution, place in raised.items() if caution not in about}
        return Applied(tuple(edits), tuple(about), bench.circuit, tuple(about.values()))

    def _step(
        self, bench: Bench, step: RuleStep, site: _Site, numbers: dict[str, str]
    ) -> Iterator[Action]:
        line = number(
            fill(step.text, site.names),
            numbers,
            bench.circuits,
            used=self.used,
            names_part=step.verb in PART_LINE_VERBS,
        )
        words = tuple(
            number(self._word(term, site), numbers, bench.circuits, used=self.used)
            for term in step.terms
        )
        return bench.perform(step.verb, words, line)

    def _word(self, term: Term, site: _Site) -> str:
        text = term.text if term.form == "word" else site.names.get(term.text, "")
        return f"{text}.{term.pin}" if term.pin else text

    def _reason(self, site: _Site) -> str:
        parts = ", ".join(dict.fromkeys(site.match.parts.values()))
        nodes = ", ".join(
            dict.fromkeys(node for name, node in site.match.nodes.items() if "." not in name)
        )
        where = " at ".join(filter(None, [parts, nodes]))
        return f"{self.rule.says.rstrip('.')}" + (f": {where}" if where else "")

    def _off_limits(self, node: str) -> bool:
        point = self.known.facts.point(node)
        return point in self.known.facts.line or point in self.known.facts.string_points

    def _loose_ends(self, bench: Bench, warn: Callable[[str], None]) -> Iterator[Action]:
        """Take out what this rule left alone on its node: dead line wires, and terminals that stand
        for nothing any more.

        The last node of a point of B+ or common, one that stands open or is a port, metal in reach
        of a hand and the blades of a plug keep what is on them.
        """
        facts = self.known.facts
        again = True
        while again:
            again = False
            kept = {*bench.circuit.open_nodes, *(node for _, node in bench.circuit.ports)}
            for node, on in sorted(bench.circuit.at.items()):
                part, terminal = on[0]
                if (
                    len(on) != 1
                    or node in kept
                    or len(self.circuit.at.get(node, ())) < 2
                    or part.name not in self.circuit.by_name
                ):
                    continue
                if part.kind in ("trace", "wire"):
                    if facts.point(node) not in facts.line | facts.string_points:
                        continue
                    action: Action = CutConductor(part.name)
                elif self._stays(bench, node, part.name, terminal):
                    continue
                else:
                    action = LiftPin(part.name, terminal)
                    if not KINDS[part.kind].primary_side and element_at(part, terminal) not in (
                        "heater",
                        "lamp-tap",
                        "plate",
                    ):
                        warn(
                            f"{part.name} is open at {terminal} now. Find out whether it is still"
                            " needed, and where its other end goes."
                        )
                yield bench.do(action)
                again = True
                break

    def _stays(self, bench: Bench, node: str, name: str, terminal: str) -> bool:
        part = self.circuit.by_name[name]
        kind = KINDS[part.kind]
        facts = self.known.facts
        point = facts.point(node)
        supply = point in facts.rail or point in facts.common
        return (
            kind.form == "one"
            or part.kind == "plug"
            or terminal in kind.touched
            or (
                supply
                and not any(
                    facts.point(other) == point for other in bench.circuit.at if other != node
                )
            )
        )


def _phrases(condition: Condition) -> Iterator[Phrase]:
    match condition:
        case Phrase():
            yield condition
        case All(members) | AnyOf(members):
            for member in members:
                yield from _phrases(member)
        case Not(member):
            yield from _phrases(member)


def _sharing(conditions: tuple[Condition, ...]) -> Iterator[tuple[str, str]]:
    """Yield the pairs of variables that a pass lets stand for one part."""
    for condition in conditions:
        for phrase in _phrases(condition):
            if phrase.predicate == "_ may be _":
                yield phrase.operands[0].text, phrase.operands[1].text


def _new(
    warned: list[str], raised: dict[str, int], edits: list[Edit], span: range
) -> dict[str, int]:
    """Return the cautions that the edits of a pass have raised, with the edit each is about, and
    leave none waiting.
    """
    new = {caution: _about(caution, edits, span) for caution in warned if caution not in raised}
    warned.clear()
    return new


def _about(caution: str, edits: list[Edit], span: range) -> int:
    """Return the place of the edit that a caution of a pass is about."""
    named = [
        place
        for place in span
        if re.search(rf"(?<![\w/]){re.escape(subject(edits[place].action))}(?![\w/])", caution)
    ]
    removal = [place for place in named if isinstance(edits[place].action, RemovePart)]
    return (removal or named or [*span] or [0])[-1]
