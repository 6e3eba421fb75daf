"""Sentences about stresses, for terminal, page and paper alike; only the edges ask for them."""

from __future__ import annotations

from collections.abc import Iterable

from rework.solve.stress import WATTS_SHARE, Stress, Verdict

#: What is said of a stress: its words before the amount.
_SAYS = {
    "plate_watts": "the plate dissipates",
    "screen_watts": "the screen dissipates",
    "plate_volts": "plate",
    "screen_volts": "screen",
    "heater_cathode_volts": "peak volts between heater and cathode",
    "inverse_volts": "peak inverse volts",
    "input_volts": "RMS input volts",
    "dc_amps": "supplies",
    "peak_amps": "peak current",
    "amps": "carries",
    "volt_amperes": "draws",
    "watts": "dissipates",
    "volts": "in use",
    "cold_volts": "at switch-on, tubes cold, line 10 % high",
}
#: What a rating is called on its own.
_CALLED = {
    "cold_volts": "volts, tubes cold and line 10 % high",
    "high_line_volts": "volts, line 10 % high",
}
_SCALE = {"A": (1e3, "mA"), "F": (1e6, "uF")}


def amount_words(amount: float, unit: str) -> str:
    """Return an amount in the unit that ratings are written in."""
    scale, shown = _SCALE.get(unit, (1.0, unit))
    return f"{amount * scale:.4g} {shown}"


def stress_name(stress: Stress) -> str:
    """Return the part as a person names it: ``V1 (12AX7 triode1)``, ``T1 hv.1``."""
    if stress.type:
        return f"{stress.part} ({f'{stress.type} {stress.of}'.strip()})"
    if stress.kind == "pot" and stress.of:
        return f"{stress.part} (wiper to {stress.of})"
    return f"{stress.part} {stress.of}".strip()


def rating_words(stress: Stress) -> str:
    """Return which rating a stress is about: ``plate watts``."""
    return _CALLED.get(stress.key, stress.key.replace("_", " "))


def unrated_words(stress: Stress) -> str:
    """Return what of a part has no rating: ``V1 (12AX7 triode1): plate watts``."""
    what = "volts" if stress.key == "cold_volts" else rating_words(stress)
    return f"{stress_name(stress)}: {what}"


def without_rating_words(unrated: Iterable[Stress]) -> str:
    """Return what has no rating, by the rating that is missing: ``watts of R1, R2; amps of T1
    hv``.
    """
    names: dict[str, list[str]] = {}
    for stress in unrated:
        of_tube = stress.kind == "tube"
        names.setdefault(rating_words(stress), []).append(
            stress_name(stress) if of_tube or stress.key == "amps" else stress.part
        )
    return "; ".join(
        f"{what} of {', '.join(dict.fromkeys(parts))}" for what, parts in names.items()
    )


def stress_words(stress: Stress) -> str:
    """Return a sentence on a stress that is over its rating or close to it, the part first."""
    name, amount = stress_name(stress), amount_words(stress.amount, stress.unit)
    limit = amount_words(stress.rating or 0.0, stress.unit)
    says = _SAYS.get(stress.key, stress.key.replace("_", " "))
    match stress.verdict:
        case Verdict.BAND:
            edge = amount_words(stress.high or 0.0, stress.unit)
            worst = (
                f", {amount_words(stress.corner, stress.unit)} in the worst corner"
                if stress.corner is not None
                else ""
            )
            return f"{name}: within its {limit} as drawn, but {edge} at the edge of the band{worst}"
        case Verdict.CORNER:
            worst = amount_words(stress.corner or 0.0, stress.unit)
            return f"{name}: within its {limit} over the band, but {worst} in the worst corner"
        case _:
            return f"{name}: {_plain(stress, says, amount, limit)}"


def _plain(stress: Stress, says: str, amount: str, limit: str) -> str:
    match stress.key:
        case "heater_volts":
            off = stress.amount / (stress.rating or 1.0) - 1
            side = "over" if off > 0 else "under"
            return f"heater {amount}, {abs(off):.0%} {side} its {limit}".replace("%", " %")
        case "first_capacitor_farads":
            return f"{amount} on its cathode (max. {limit})"
        case "watts" if stress.kind == "choke":
            return f"takes {amount} (made for {limit})"
        case "watts":
            near = stress.verdict is Verdict.NEAR
            share = f"more than {WATTS_SHARE:.0%} of".replace("%", " %") if near else "over"
            fit = f"; fit one rated {float(f'{2 * stress.amount:.2g}'):g} W or more"
            return f"dissipates {amount}, {share} its {limit}{'' if stress.of else fit}"
        case "dc_amps" if stress.kind == "choke":
            return f"carries {amount} DC (max. {limit})"
        case "amps" if stress.kind == "pot":
            return f"{amount} through the track (max. {limit})"
        case "amps" if stress.of:
            return f"carries {amount} RMS (max. {limit})"
        case "plate_watts" | "screen_watts" | "dc_amps" | "amps" | "volt_amperes":
            return f"{says} {amount} (max. {limit})"
        case "volts" | "cold_volts":
            return f"{amount} {says} (rating {limit})"
        case _:
            return f"{says} {amount} (rating {limit})"
