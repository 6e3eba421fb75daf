"""What a person notices without a meter, as a likelihood of each trouble."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rework.circuit.kinds import Law
from rework.faultfinding.case import Case, overloads, tired_fuses
from rework.faultfinding.trouble import TroubleKind
from rework.language.bench import Noticed
from rework.language.symptoms import Symptom
from rework.solve.arrays import Floats
from rework.solve.network import CannotSolve
from rework.solve.places import path_of
from rework.solve.stability import AUDIBLE, MOTORBOATING, Mode, growing, modes

#: How often a sign is noticed where the circuit says so, and where it says otherwise: one sign in
#: thirty is a mistake, and there are ten to be mistaken in (our guess).
SEEN, MISTAKEN = 0.9, 0.003
#: The same of a sound set: where nothing is wrong there is nothing to notice (our guess).
IMAGINED = 0.001
#: A part that burns so many times its rating is noticed as hot or burnt, a plate as red (our
#: guess).
HOT, RED = 1.5, 1.5
#: Hum is noticed where it is so many times that of the sound set; no sound is under the first share
#: of its gain, a weak one under the second (our guess).
LOUDER, SILENT, WEAK = 3.0, 0.03, 0.5
#: A tube with so many times its plate current, or so small a part of it, distorts, and one with so
#: small a part of its bias; plate amps and volts of bias that are none (our guess).
SHIFTED, UNBIASED, LEAST_AMPS, LEAST_BIAS = 2.0, 3.0, 1e-6, 1.0
#: Volts RMS of hum that nobody hears, and the share of the larger of two tones that is still heard
#: as the tone (our guess).
LEAST_HUM, TONE = 1e-4, 0.5
#: A lamp under this share of its volts is dark: at 0.3 it gives some 2 % of its light, which goes
#: by its volts to the power of 3.4 (common practice).
DIM = 0.3
#: The word for a fuse that is not named.
FUSE = "fuse"


def likelihood(cases: Sequence[Case], noticed: Sequence[Noticed]) -> Floats:
    """Return how likely everything noticed is under each case (cases), the sound set first."""
    result = np.ones(len(cases))
    for sign in noticed:
        fits = np.array([shows(case, cases[0], sign) for case in cases])
        result *= np.where(fits, SEEN, MISTAKEN)
        result[0] *= 1.0 if fits[0] else IMAGINED / MISTAKEN
    return result


def shows(case: Case, sound: Case, noticed: Noticed) -> bool:
    """Return whether a case shows what was noticed."""
    return _part_shows(case, noticed) if noticed.part else _set_shows(case, sound, noticed)


def _part_shows(case: Case, noticed: Noticed) -> bool:
    part = noticed.part
    match noticed.sign:
        case Symptom.DARK:
            return _is_dark(case, part)
        case Symptom.LIT:
            return not _is_dark(case, part)
        case Symptom.RED:
            return _load(case, f"{part} plate") > RED
        case Symptom.BLUE:
            return case.trouble.kind is TroubleKind.TUBE_GASSY and case.trouble.part == part
        case Symptom.HOT:
            return max(_load(case, part), _load(case, f"{part} plate")) > HOT
        case _:
            gone = {*case.blown, *tired_fuses(case), *_taken_out(case)}
            return bool(gone) if part == FUSE else part in gone


def _set_shows(case: Case, sound: Case, noticed: Noticed) -> bool:
    match noticed.sign:
        case Symptom.HUM:
            return _hums(case, sound, noticed.hertz)
        case Symptom.SILENT:
            return gain(case) < SILENT * gain(sound)
        case Symptom.WEAK:
            return SILENT * gain(sound) <= gain(case) < WEAK * gain(sound)
        case Symptom.DISTORTED:
            return gain(case) >= SILENT * gain(sound) and _is_shifted(case, sound)
        case Symptom.SMELL:
            return _burns(case, sound)
        case Symptom.MOTORBOATING:
            return any(mode.hertz < MOTORBOATING for mode in _growing(case))
        case _:
            return any(MOTORBOATING <= mode.hertz < AUDIBLE for mode in _growing(case))


def _is_shifted(case: Case, sound: Case) -> bool:
    """Return whether an amplifying tube works far from where it does in the sound set: with several
    times the plate current or a small part of it, or with little of its bias left, so that it has
    no room for one half of a wave.
    """
    known = _worked_at(sound)
    for key, (amps, bias) in _worked_at(case).items():
        amps_before, bias_before = known.get(key, (0.0, 0.0))
        if amps_before > LEAST_AMPS and not 1 / SHIFTED < amps / amps_before < SHIFTED:
            return True
        if bias_before < -LEAST_BIAS and bias > bias_before / UNBIASED:
            return True
    return False


def _worked_at(case: Case) -> dict[tuple[str, str], tuple[float, float]]:
    """Return the plate amps of every amplifying unit and the volts from its cathode to its grid."""
    network, steady = case.bias.network, case.bias.steady
    volts = network.across(steady.x).mean(0)
    return {
        device.key: (
            float(steady.currents[:, start].mean()),
            float(volts[start + device.law.controls - 1]),
        )
        for device, start in zip(network.ordered, network.starts, strict=True)
        if device.law.controls > 1
    }


def _burns(case: Case, sound: Case) -> bool:
    """Return whether something burns well over its rating that the sound set leaves in peace."""
    before = overloads(sound)
    now = overloads(case)
    return any(load > HOT * max(before.get(name, 1.0), 1.0) for name, load in now.items())


def _growing(case: Case) -> tuple[Mode, ...]:
    """Return the motions that grow in a case, with the generator's ohms at its input."""
    if case.linear is None:
        return ()
    try:
        return growing(modes(case.linear))
    except np.linalg.LinAlgError:
        return ()


def _is_dark(case: Case, name: str) -> bool:
    """Return whether a tube has too few heater volts, or a lamp too few to be seen."""
    part, network = case.circuit.part(name), case.bias.network
    if part is None or part.traits.law is not Law.LAMP:
        return name in case.cold or part is None
    rated, ends = part.value("voltage"), part.ends
    if not rated or len(ends) != 2 or any(node not in network.node_of for node in ends):
        return False
    wave = network.between(case.bias.steady.x, *ends)
    return float((wave**2).mean() ** 0.5) < DIM * rated


def _taken_out(case: Case) -> tuple[str, ...]:
    return (case.trouble.part,) if case.trouble.kind is TroubleKind.FUSE_BLOWN else ()


def _load(case: Case, name: str) -> float:
    return overloads(case).get(name, 0.0)


def _hums(case: Case, sound: Case, hertz: float) -> bool:
    """Return whether a case hums more than the sound set; where ``hertz`` is stated, at that tone,
    and not mostly at the other one of the line and its double.
    """
    now, before = _hum(case), _hum(sound)
    if not hertz:
        return float(np.hypot(*now)) > LOUDER * max(float(np.hypot(*before)), LEAST_HUM)
    line = case.bias.network.hertz
    order = 1 if line and round(hertz / line) == 1 else 2
    louder = now[order - 1] > LOUDER * max(float(before[order - 1]), LEAST_HUM)
    return louder and float(now[order - 1]) > TONE * float(now.max())


def _hum(case: Case) -> Floats:
    """Return the RMS volts of hum across the speaker at the line's frequency and at double (2)."""
    network, steady = case.bias.network, case.bias.steady
    try:
        ends = path_of(case.circuit).ends
    except CannotSolve:
        return np.zeros(2)
    if any(end not in network.node_of for end in ends) or not network.hertz:
        return np.zeros(2)
    wave = network.between(steady.x, *ends)
    return np.abs(np.fft.rfft(wave))[1:3] / len(wave) * 2**0.5


def gain(case: Case) -> float:
    """Return the gain from the input to the speaker at 1 kHz."""
    if case.linear is None or case.into is None:
        return 0.0
    try:
        path = path_of(case.circuit)
    except CannotSolve:
        return 0.0
    out = case.linear.column(*path.ends)
    return float(abs(case.linear.transfer(case.into, out, (1000.0,))[0]))
