"""What the figures of a supply that are held to a limit are called, in words once."""

from __future__ import annotations

from rework.supply.marks import CABINET, Mark

#: What a mark is called by its key, and in which state or sense it is meant.
_MARKS = {
    "bplus": ("B+", " at idle, nominal line"),
    "hum": ("hum at the speaker", ""),
    "heater_volts": ("heater volts", ""),
    "discharge_seconds": ("time to 60 V", ", umbilical pulled"),
    "umbilical_volts": ("volts on the umbilical", ", tubes cold, high line"),
    "umbilical_amps": ("heater current of the umbilical", ""),
    "choke_amps": ("choke current", ""),
    "choke_henries": ("least inductance of the choke", ""),
    "winding_amps": ("current of the {of} winding of {part}", ""),
    "transformer_va": ("load of {part}", ""),
    "transformer_degrees": (f"{{part}} in a cabinet at {CABINET:.0f} degrees", ", class {of}"),
    "fuse_amps": ("line current through {part}", ""),
    "thermistor_amps": ("line current through {part}", ""),
    "fuse_i2t": ("I2t through {part} at the switch", ""),
    "bleeder_watts": ("watts of the bleeder {part}", ""),
    "series_watts": ("watts of the series resistor {part}", ""),
    "surge_watts": ("watts of the surge resistor {part}", ""),
    "bleeder_volts": ("volts on the bleeder", ", tubes cold, high line"),
    "switch_volts": ("line volts of the switch {part}", ""),
    "switch_amps": ("line current of the switch {part}", ""),
    "rectifier_dc_amps": ("DC of {of}", ""),
    "rectifier_peak_amps": ("peak current of {of}", ""),
    "rectifier_inverse_volts": ("inverse volts", ", high line, of {of}"),
    "rectifier_heater_cathode_volts": ("heater to cathode of {of}", ", tubes cold, high line"),
    "rectifier_plate_volts": ("volts RMS to each plate of {of}", ""),
    "rectifier_first_capacitor": ("first capacitor of {of}", ""),
    "rectifier_plate_ohms": ("ohms before each plate of {of}", ""),
    "silicon_inverse_volts": ("inverse volts of {of}", ", high line"),
    "silicon_mean_amps": ("mean current of {of}", ""),
    "silicon_surge_amps": ("first charge through {of}", ", no more than"),
    "capacitor_volts": ("volts on {part}", ", worst state"),
    "supply_capacitor_volts": ("volts on {part} of the supply", ", worst state"),
    "supply_capacitor_amps": ("ripple current of {part} of the supply", ""),
}


def mark_name(mark: Mark) -> str:
    """Return what a mark is about, for a table."""
    return _MARKS[mark.key][0].format(part=mark.part, of=mark.of)


def mark_words(mark: Mark) -> str:
    """Return what a mark is about, with the state in which it is meant."""
    return "".join(_MARKS[mark.key]).format(part=mark.part, of=mark.of)
