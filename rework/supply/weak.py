"""Old capacitors whose volts are too few for the supply that the amplifier is to have."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.circuit.preferred import VOLTS, rating
from rework.solve.charged import charged_volts
from rework.solve.network import CannotSolve
from rework.supply.amplifier import Amplifier
from rework.supply.needs import aimed
from rework.supply.stiff import StiffAmplifier

#: How far over its B+ a supply goes with cold tubes on a high line, of which a tenth is the line: a
#: guess before any supply is chosen (common practice, no source; 1.25 to 1.56 with the supplies of
#: one set). What a supply that is designed does to each capacitor is solved with it.
COLD_RISE = 1.25


def weak_capacitors(amp: Amplifier) -> tuple[tuple[str, float], ...]:
    """Return the capacitors that would be over their rating while the tubes are cold, each with the
    volts that one in its place is to be made for; none where the amplifier has no numbers.
    """
    try:
        stage = StiffAmplifier(amp)
        cold = COLD_RISE * aimed(stage)[0]
    except CannotSolve:
        return ()
    return tuple(
        (part.name, volts)
        for part, share in stage.cold_shares()
        if (part.value("voltage") or 0.0) < share * cold
        and (volts := rating(share * cold, VOLTS)) is not None
    )


def too_few_volts(circuit: Circuit) -> tuple[tuple[str, float], ...]:
    """Return the capacitors of a whole set that are over their rating in use or while the tubes are
    cold on a high line, each with the volts that one in its place is to be made for; none where the
    set has no numbers.
    """
    try:
        most = charged_volts(circuit)
    except CannotSolve:
        return ()
    return tuple(
        (name, volts)
        for name, peak in most.items()
        if (rated := circuit.by_name[name].value("voltage")) is not None
        and rated < peak
        and (volts := rating(peak, VOLTS)) is not None
    )
