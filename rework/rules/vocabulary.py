"""The words that conditions of a rule can use: each phrase with the function that answers it.

A new word is a function in ``predicates/``, its line in ``VOCABULARY``, and a test.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Sequence

from rework.rules.known import Operand, tube_of
from rework.rules.predicates import parts, places, supply, tubes
from rework.tubes import library
from rework.tubes.relatives import standing

Test = Callable[..., bool]

#: Every phrase with its function; ``_`` is a gap. Longer phrases stand before shorter ones that
#: they begin with.
VOCABULARY: dict[str, Test] = {
    "_ is mains-tied": places.is_mains_tied,
    "_ is capacitively-tied": places.is_capacitively_tied,
    "_ is live": places.is_live,
    "_ is line": places.is_line,
    "_ is touchable": places.is_touchable,
    "_ is metal": places.is_metal,
    "_ is chassis": places.is_chassis,
    "_ is common": supply.is_common,
    "_ is earthed": places.is_earthed,
    "_ stays earthed": places.stays_earthed,
    "_ is referenced to _": places.is_referenced_to,
    "_ unplugs": places.unplugs,
    "_ is on board": parts.is_on_board,
    "_ is in series with _": places.is_in_series_with,
    "_ is under _": parts.is_under,
    "_ is over _": parts.is_over,
    "_ may be _": parts.may_be,
    "_ is on _": places.is_on,
    "_ is between _ _": places.is_between,
    "_ is a part": parts.is_a_part,
    "_ is a node": places.is_a_node,
    "_ joins two only": places.joins_two_only,
    "_ is rail": supply.is_rail,
    "_ is filter": supply.is_filter,
    "_ is line fuse": parts.is_line_fuse,
    "_ is line switch": parts.is_line_switch,
    "_ in heater string": tubes.in_heater_string,
    "_ heater is across _ _": tubes.heater_is_across,
    "_ heater has a winding": tubes.heater_has_a_winding,
    "_ heater is _": tubes.heater_is,
    "_ is marked _": parts.is_marked,
    "_ is same line as _": places.is_same_line_as,
    "_ has tapped heater": tubes.has_tapped_heater,
    "_ is output stage": tubes.is_output_stage,
    "_ is known tube": tubes.is_known_tube,
    "_ is doubler": supply.is_doubler,
    "_ feeds heaters only": supply.feeds_heaters_only,
    "_ is for direct current": supply.is_for_direct_current,
    "_ is for the line": supply.is_for_the_line,
    "_ is rectifier": supply.is_rectifier,
    "_ has rectifier unit": supply.has_rectifier_unit,
    "_ is fed by a winding": supply.is_fed_by_a_winding,
    "_ is same curves as _": tubes.is_same_curves_as,
    "_ is back-bias": supply.is_back_bias,
    "_ is back-biased": supply.is_back_biased,
    "_ is negative return": supply.is_negative_return,
    "_ carries _": parts.carries,
    "_ has a loose shaft": parts.has_a_loose_shaft,
    "_ has free pins": parts.has_free_pins,
    "_ is bypassed": parts.is_bypassed,
    "_ is named _": parts.is_named,
    "_ is _": parts.is_named,
}


def words() -> tuple[tuple[str, str], ...]:
    """Return every phrase with the sentence that says what it means."""
    return tuple(
        (phrase, " ".join((test.__doc__ or "").split())) for phrase, test in VOCABULARY.items()
    )


def recognise(tokens: Sequence[tuple[str, str]]) -> tuple[str, tuple[int, ...]] | None:
    """Return the phrase that some words are, and the places of its gaps among them; None where they
    are none.

    ``tokens`` are pairs of the word and the name of its token.
    """
    for phrase in VOCABULARY:
        wanted = phrase.split()
        if len(wanted) == len(tokens) and all(
            want in ("_", word) for want, (word, _) in zip(wanted, tokens, strict=True)
        ):
            if phrase == "_ is _" and not _may_compare(tokens[0], tokens[2]):
                return None
            return phrase, tuple(index for index, want in enumerate(wanted) if want == "_")
    return None


def _may_compare(left: tuple[str, str], right: tuple[str, str]) -> bool:
    """Return whether ``_ is _`` may be between two words: a mistyped word of the vocabulary must
    not pass for a name.
    """
    if right[1] in ("PARAMETER", "VARIABLE"):
        return True
    known = [
        phrase.split()[2]
        for phrase in VOCABULARY
        if phrase.startswith("_ is ") and len(phrase.split()) == 3 and phrase != "_ is _"
    ]
    return left[1] == "PARAMETER" and not difflib.get_close_matches(right[0], known, 1, 0.75)


def nearest_phrase(text: str) -> str:
    """Return a hint with the phrase that looks most like some words, or ""."""
    rest = " ".join(text.split()[1:])
    known = {phrase.removeprefix("_ "): phrase for phrase in VOCABULARY if phrase != "_ is _"}
    near = difflib.get_close_matches(rest, known, 1, 0.5)
    return f"did you mean {known[near[0]].replace('_', '...')}?" if near else ""


def why_not(phrase: str, operands: Sequence[Operand]) -> str:
    """Return a sentence on why a condition does not hold, for those where the library knows one."""
    if phrase == "_ is same curves as _":
        old, new = tube_of(operands[0]), library.find(operands[1].text)
        if old is not None and new is not None:
            return standing(old, new).why
    if phrase == "_ is known tube" and not library.is_known(operands[0].text):
        if library.without_basing(operands[0].text) is not None:
            return "Only its heater is known, not its pins."
        near = library.nearest(operands[0].text)
        return f"Did you mean {near[0]}?" if near else ""
    return ""
