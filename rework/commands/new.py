"""``rework new``: a commented skeleton of each kind of file."""

from __future__ import annotations

import argparse
from pathlib import Path

from rework.circuit.place import Problem
from rework.commands.arguments import takes_force
from rework.language.files import Refusal, write_whole

CIRCUIT = """\
# One line a part:   NAME  KIND  values and words in any order  :  where each terminal goes   "a
# remark" Trace it in this order: line cord, switch, rectifier, first filter capacitor, heater
# string end to end, common and what joins it to the chassis, output tube, then back to the input.
# Unplugged and discharged.

circuit "Name of the set, as found"
mains 117 V 60 Hz
touchable CHASSIS                    # nodes a hand can reach; jacks, shafts, chassis and frames count by themselves

P1   plug two-blade                  : line=LINE, neutral=NEUTRAL
S1   switch on R1                    : LINE -- SWITCHED            "on the back of the volume control"
D1   diode type 1N4007 1 A 1000 V    : SWITCHED -- B1              # anode -- cathode
C1   electrolytic 47 uF 200 V        : B1 -- COMMON                # plus -- minus
RD   resistor dropper 500 ohm 20 W   : SWITCHED -- H1
K1   trace                           : V1.4 -- COMMON              "copper, can be cut"
V1   tube 50C5                       : cathode=CATH, grid=G1, 3=H1, plate=PLATE, screen=B1
R1   pot 500k audio plastic-shaft    : ccw=COMMON, wiper=G1, cw=IN
R2   resistor 150 ohm 1 W            : CATH -- COMMON
C2   capacitor .047u 400 V           : COMMON -- CHASSIS           "line to chassis"
T1   output transformer 3 W          : primary load 2.5k = PLATE -- B1, secondary load 4 ohm = SP1 -- SP2
LS1  speaker 4 ohm 3 W               : SP1 -- SP2
J1   jack input                      : tip=IN, sleeve=COMMON
CH1  chassis                         : CHASSIS
join COMMON NEUTRAL                  # two names, one node
"""
JOB = """\
# What is done to which amplifier, in order. "rework rules" lists the rules, "rework rules NAME"
# prints the manual of one.

job "Name of the set: new isolated supply"
circuit "mine.circuit"
# off the line; these ask where the line is, so the cord itself comes off last
apply open-line-to-chassis
apply take-out-dropper
apply remove-rectifier
apply remove-filter
apply release-line-cord

# the tubes and their heaters
# apply exchange-tube : tube=V1, type=6CU5
# apply cut-heater-string

# the new supply, on its own chassis behind an umbilical attach "supply.circuit" as SUPPLY :
# bplus=B1, common=COMMON, heater1=HEAT1, heater2=HEAT2, earth=CHASSIS apply reuse-power-switch :
# switch=S1 apply bond-common reading V1.plate 241 V             "what the meter showed" labour 6 h
# at 45 USD worth 60 USD
"""
RULE = """\
# A rule of your own, kept beside the job. The pattern is circuit language with ? for what may vary.

rule take-out-noise-capacitor
  says "Take out the capacitor from a plate to the chassis"
  why "It is there against a fault this set no longer has."
  sure "changes voltages"
  for each
    ?V tube : plate=?p
    ?C capacitor : ?p -- ?x
  where ?x is chassis
  then
    remove ?C
  caution "Unplug and discharge first."
"""
TUBE = """\
# A tube of your own, from its printed sheet. "rework fit-tube THIS.toml" fits a model to its rows
# and shows how well it meets them. Figures are in volts, amps, siemens, ohms, farads. grade: seen,
# republished, derived, common practice or memory.

type = "MYTUBE"
kind = "triode"                      # or pentode, beam tetrode, twin triode, rectifier

[base]
socket = "miniature 7-pin"           # octal, noval 9-pin, rimlock 8-pin, loctal, 4-pin
source = "data sheet, maker, date, page"
grade = "memory"

[pins]                               # a line a pin, seen from below, clockwise
1 = "plate"
2 = "internal"
3 = "heater1"
4 = "heater2"
5 = "plate"
6 = "grid"
7 = "cathode"

[heater]
volts = 6.3
amps = 0.15
source = "data sheet, maker, date, page"
grade = "memory"

[[heater.way]]
between = [["3"], ["4"]]
volts = 6.3
amps = 0.15

[ratings]
plate_volts = 300.0
plate_watts = 3.5
heater_cathode_volts = 90.0
source = "data sheet, maker, date, page"
grade = "memory"

[[typical]]                          # one for every row the sheet prints; a pentode also has screen_volts and screen_amps,
plate_volts = 250.0                  # an output tube load_ohms, watts and distortion
grid_volts = -8.5
plate_amps = 0.0105
gm_siemens = 0.0022
rp_ohms = 7700.0
source = "data sheet, maker, date, page"
grade = "memory"

[[capacitance]]
grid_plate_farads = 1.6e-12
input_farads = 1.8e-12
output_farads = 1.3e-12
source = "data sheet, maker, date, page"
grade = "memory"
"""
SHELF = """\
# What is on the shelf or in the shop, for rework supply and rework options. A spreadsheet can write
# it: a comma, semicolon or tab between cells. A number alone takes the unit of its column; "47 uF"
# or "450 V" says its own. Price is a plain number. Leave empty what a part has not. Windings: volts
# RMS with nothing connected, amps RMS (of a tapped winding, in each half), ohms by meter, all over
# the whole winding, "tap" for a middle tap. One primary a line: where a transformer has taps, a
# line for each line voltage. Without ohms nothing can be computed.
kind,name,value,volts,amps,ohms,watts,va,windings,screen,class,size,ripple,surge,i2t,no-load,price,note
transformer,MINE-1,,,,,,50,primary 117 V 9 ohm + hv 240-0-240 V 60 mA 420 ohm + heater 6.3 V 2.5 A 0.08 ohm tap,no,A,80 x 66 x 70 mm,,,,3.2,46.00,no-load: watts it takes unloaded
choke,CH-10-75,10 H,,75 mA,250 ohm,,,,,,,,,,,19.00,
electrolytic,,47 uF,450 V,,,,,,,,,300 mA,,,,3.90,ripple: RMS amps it stands
tube,EZ80,,,,,,,,,,,,,,,9.00,
diode,1N4007,,1000 V,1 A,,,,,,,,,30 A,,,0.15,surge: one half-cycle
bridge,1 A 600 V,,600 V,1 A,,,,,,,,,30 A,,,0.70,
fuse,,,250 V,500 mA,,,,,,slow,,,,1.2,,0.60,i2t: A2s it melts at
resistor,,220k,500 V,,,2 W,,,,,,,,,,0.50,volts for a bleeder
pot,,100 ohm,,,,2 W,,,,,,,,,,2.50,
thermistor,,10 ohm,,2 A,0.5 ohm,,,,,,,,,,,1.30,value cold and ohms hot
connector,,,450 V,5 A,,,,,,,,,,,,9.50,plug and socket
switch,,,250 V,3 A,,,,,,,,,,,,3.20,
"""
SKELETONS = {".circuit": CIRCUIT, ".job": JOB, ".rule": RULE, ".toml": TUBE, ".csv": SHELF}

EXAMPLE = "rework new mine.circuit"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    parser.add_argument(
        "file", help="the .circuit, .job, .rule, .toml (tube) or .csv (stock list) file to write"
    )
    takes_force(parser)


def run(asked: argparse.Namespace) -> int:
    """Write the skeleton that fits the file's name."""
    path = Path(asked.file)
    text = SKELETONS.get(path.suffix)
    if text is None:
        raise Refusal(
            Problem(
                f"{path.name} does not say what to begin",
                expected=(
                    "a name that ends in .circuit, .job, .rule, .toml (a tube) or .csv (a stock"
                    " list)"
                ),
            )
        )
    text = (
        text.replace("mine.circuit", f"{path.stem}.circuit")
        .replace("take-out-noise-capacitor", path.stem)
        .replace("MYTUBE", path.stem.upper())
    )
    write_whole(path, text.encode(), force=asked.force)
    after = (
        f"rework supply JOB --shelf {path}"
        if path.suffix == ".csv"
        else (
            f"rework fit-tube {path}"
            if path.suffix == ".toml"
            else (
                f"rework rules {path.stem} --folder {path.parent}"
                if path.suffix == ".rule"
                else f"rework check {path}"
            )
        )
    )
    print(f"{path} is written; edit it, then run: {after}")
    return 0
