"""What can be noticed of a set without a meter, and the words for it."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum


class Symptom(StrEnum):
    """What can be noticed without a meter."""

    DARK = "dark"
    LIT = "lit"
    RED = "red"
    BLUE = "blue"
    HOT = "hot"
    BLOWN = "blown"
    SMELL = "smell"
    HUM = "hum"
    SILENT = "no sound"
    WEAK = "weak sound"
    DISTORTED = "distorted"
    MOTORBOATING = "motorboating"
    SQUEAL = "squeal"


#: What may be said of a part, with the sign it is.
OF_A_PART = {
    "dark": Symptom.DARK,
    "cold": Symptom.DARK,
    "lit": Symptom.LIT,
    "red": Symptom.RED,
    "red plate": Symptom.RED,
    "red-plate": Symptom.RED,
    "blue": Symptom.BLUE,
    "blue glow": Symptom.BLUE,
    "hot": Symptom.HOT,
    "burnt": Symptom.HOT,
    "smokes": Symptom.HOT,
    "blown": Symptom.BLOWN,
}
#: What may be said of the set.
OF_THE_SET = {
    "hum": Symptom.HUM,
    "no sound": Symptom.SILENT,
    "dead": Symptom.SILENT,
    "weak sound": Symptom.WEAK,
    "low volume": Symptom.WEAK,
    "distorted": Symptom.DISTORTED,
    "distortion": Symptom.DISTORTED,
    "motorboating": Symptom.MOTORBOATING,
    "squeal": Symptom.SQUEAL,
    "whistle": Symptom.SQUEAL,
    "howl": Symptom.SQUEAL,
    "smell": Symptom.SMELL,
    "smoke": Symptom.SMELL,
}
#: What comes and goes: every circuit is solved as it stands.
INTERMITTENT = ("crackle", "crackling", "crackles", "scratchy", "intermittent", "microphonic")
#: What may be written, for whoever wrote something else.
SIGNS = (
    "noticed V2 dark, V2 lit, V3 red, V3 blue, R3 hot, R3 burnt, fuse blown; noticed hum, hum 120"
    " Hz, no sound, weak sound, distorted, motorboating, squeal, smell"
)


def sign_of(words: Sequence[str]) -> tuple[Symptom, str] | None:
    """Return the sign that some words say and the part that they say it of, "" for the set; None
    where they say none.
    """
    whole = OF_THE_SET.get(" ".join(words))
    if whole is not None:
        return whole, ""
    of_part = OF_A_PART.get(" ".join(words[1:]))
    return (of_part, words[0]) if of_part is not None else None


def refusal(words: Sequence[str]) -> str:
    """Return why some words are no sign."""
    if any(word in INTERMITTENT for word in words):
        return "what comes and goes is not computed: every trouble is solved as a lasting one"
    return "this is no sign that can be noticed"
