"""The roles a part can have in a set."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Role(StrEnum):
    """What a part does in a set."""

    # the line
    PLUG = "plug"
    LINE_FUSE = "line fuse"
    LINE_SWITCH = "line switch"
    INRUSH = "inrush limiter"
    LINE_CAPACITOR = "line capacitor"
    CHASSIS_BYPASS = "common to chassis"
    MAINS_TRANSFORMER = "mains transformer"
    MOTOR = "motor"
    # heaters
    DROPPER = "heater dropper"
    HEATER_LAMP = "lamp in the heater circuit"
    HEATER_BALANCE = "heater balance"
    # supply
    RECTIFIER = "rectifier"
    SURGE = "surge resistor"
    RESERVOIR = "reservoir capacitor"
    FILTER_CAPACITOR = "filter capacitor"
    FILTER_RESISTOR = "filter resistor"
    FILTER_CHOKE = "filter choke"
    SUPPLY_FUSE = "B+ fuse"
    BLEEDER = "bleeder"
    RAIL_BYPASS = "B+ bypass"
    DOUBLER_CAPACITOR = "doubler capacitor"
    BACK_BIAS = "back bias"
    # signal
    TUBE = "tube"
    INPUT = "input"
    LOAD = "load"
    OUTPUT_TRANSFORMER = "output transformer"
    INTERSTAGE = "interstage transformer"
    INPUT_LOAD = "input load"
    COUPLING = "coupling capacitor"
    SERIES = "series resistor"
    GRID_STOPPER = "grid stopper"
    GRID_LEAK = "grid leak"
    BIAS = "bias"
    VOLUME = "volume"
    SIGNAL_SWITCH = "signal switch"
    PLATE_LOAD = "plate load"
    PLATE_STOPPER = "plate stopper"
    PLATE_SHUNT = "plate shunt"
    CATHODE_RESISTOR = "cathode resistor"
    CATHODE_BYPASS = "cathode bypass"
    SCREEN_DROPPER = "screen dropper"
    SCREEN_BYPASS = "screen bypass"
    SCREEN_BLEEDER = "screen bleeder"
    FEEDBACK = "feedback"
    TONE = "tone"
    SHUNT = "shunt"
    # metal and copper
    CHASSIS = "chassis"
    EARTH = "earth"
    CONNECTOR = "connector"
    CONDUCTOR = "conductor"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class PartRole:
    """The role of one part.

    ``stage`` is the label of the unit it belongs to, ``rail`` the point of B+ it filters or feeds;
    "" where there is none.
    """

    part: str
    role: Role
    stage: str = ""
    rail: str = ""
