"""How every figure on the papers was computed: the equation, where it is from, what may be off, and
the command that prints it.

Every column of figures names one of these by its key (``tables.Column.how``), and the papers link
the one to the other.
"""

from __future__ import annotations

from dataclasses import dataclass

from rework.papers.numbers import SAMPLES
from rework.rules.run import JobRun


@dataclass(frozen=True, slots=True)
class Method:
    """One way of computing: what it gives, the equation or procedure, its source, what may be off,
    and the command (JOB stands for the file).
    """

    key: str
    title: str
    equation: str
    source: str
    tolerance: str
    command: str


METHODS = (
    Method(
        "check",
        "Ties to the mains",
        "From each plug blade along every part that passes current, in every plug and switch"
        " position, with umbilicals mated and pulled. An isolating winding ends the path."
        " Capacitive ties are listed separately. An unknown part counts as tied.",
        "Breadth-first search over the netlist; the rules of earthing and fusing are common"
        " practice, no source.",
        "It knows the netlist, not the set: a solder bridge is not in it.",
        "rework check JOB",
    ),
    Method(
        "touch",
        "Touch current",
        "I = U / |Z + Zp|: open-circuit volts U and inside impedance Z between every two places in"
        " reach and to earth, of the linear network at the line's frequency, through the person's"
        " measuring network Zp; the worst of all plug, switch, earth and neutral states.",
        "Nodal analysis with branch currents (C.-W. Ho, A. Ruehli, P. Brennan, IEEE Trans. CAS-22,"
        " 1975). Network and limit: service manuals that print IEC 60065 Annex D, and R. Nute"
        " (rework touch prints the addresses).",
        "Line at the upper end of its tolerance; stray capacitances and leakage that no netlist"
        " states are assumed on the cautious side (rework touch lists them).",
        "rework touch JOB",
    ),
    Method(
        "states",
        "States of the test plan",
        "Each test is solved in the state that it makes: tubes out, umbilical unplugged, or a lamp"
        " in series with R = V / I, I = I0 (V / V0)^(1 / 1.9), and never under the cold filament's"
        " R0 / 15.",
        "Arecchi, Messadi, Koshel, Field Guide to Illumination, SPIE Press 2007, p. 21 (printed for"
        " 95 to 105 % of the current; below half the volts it is an extrapolation).",
        "Lamps of one mark differ by some 10 %: the volts behind the lamp by less than that.",
        "rework papers JOB",
    ),
    Method(
        "faults",
        "Single faults",
        "The same with each part open, each part short, each insulation broken down and each lead"
        " loose, one at a time.",
        "Sherman and Morrison 1950, Woodbury 1950: changes of low rank to the solved network.",
        "Two faults at once are not tried.",
        "rework faults JOB",
    ),
    Method(
        "stored",
        "What capacitors keep",
        "dv/dt = -C^-1 G v from the most volts of the chart (high line, cold tubes), to 34 V.",
        "Discharge of a linear network; the volts below which it counts as no hazard: IEC 60065"
        " (from memory).",
        "Tubes taken as cold, rectifiers as blocking; resistors and capacitors at the end of their"
        " tolerance that takes longer.",
        "rework faults JOB",
    ),
    Method(
        "ohms",
        "Ohms, unpowered",
        "R = e' G^-1 e between the two places, of the network with every semiconductor blocking;"
        " then once more with it conducting.",
        "Kirchhoff.",
        "Heaters and thermistors cold: a seventh of the hot ohms (rework touch names the page);"
        " controls in the middle; a meter charges capacitors first.",
        "rework ohms JOB",
    ),
    Method(
        "volts",
        "Volts, amps and watts at rest",
        "Kirchhoff's current law at every node and instant of one line period, rectifiers and"
        " storage included, solved by Newton until it closes on itself; means and RMS values over"
        " the period. Triode: Ip = G E^x, E = w ln(1 + exp((Vp/mu + Vg + offset)/w)); output tubes:"
        " the same drive by the screen, with the cathode current shared between plate and screen.",
        "Three-halves law (Child 1911, Langmuir 1913), smooth cut-off after Dempwolf and Zoelzer,"
        " DAFx-11 (2011); steady state after Aprille and Trick, Proc. IEEE 60 (1972). Fitted to"
        " printed rows of tube manuals: rework tubes TYPE names each with its source, rework"
        " fit-tube TYPE shows how well.",
        "Median error of the tube laws over the library: plate current 0.8 %, transconductance 1.8"
        " %. Line at its nominal volts.",
        "rework volts JOB",
    ),
    Method(
        "band",
        "The band of a reading",
        f"5th to 95th percentile of {SAMPLES} draws: every part anywhere in its tolerance, every"
        " tube scattered, the line within a tenth; each draw is solved separately.",
        "Scatter of tubes: three 12AX7 in Dempwolf and Zoelzer, DAFx-11 (2011), table 1. Tolerances"
        " as the netlist states them, 10 % resistors and 20 % capacitors and controls where it does"
        " not (common practice, no source).",
        "Expect one reading in ten outside its band. Readings of amps are held to a band of 20 %"
        " (common practice, no source).",
        "rework volts JOB --samples 1000",
    ),
    Method(
        "currents",
        "Currents",
        "From the same steady state: I = U/R through a resistor (RMS), mean and peak through a"
        " rectifier, RMS through a winding.",
        "As for volts.",
        "As for volts.",
        "rework volts JOB",
    ),
    Method(
        "ratings",
        "Stress and rating",
        "Watts, volts and amps of the steady state, beside the rating in the netlist or the tube"
        " library. Capacitors: the peak in use and, on a line 10 % high with tubes cold, the peak"
        " at switch-on, overshoot behind a choke included.",
        "As for volts. Tube ratings: rework tubes TYPE names each with its source.",
        "More than 60 % of a resistor's watts is reported (common practice, no source).",
        "rework volts JOB",
    ),
    Method(
        "signal",
        "Signal levels, gain and watts",
        "Gain: |e' (G + jwC)^-1 e| of the network linearised at rest, controls where they are"
        " loudest. Watts: the steady state driven by a sine of 1 kHz, raised until distortion comes"
        " to 10 % or gain has fallen by 1 dB; P = U^2 / R in the load.",
        "As for volts; the onset of clipping is common practice, no source.",
        "Loads are taken as resistors; a speaker is not a resistor. Stray capacitances as the"
        " command lists them.",
        "rework signal JOB",
    ),
    Method(
        "hum",
        "Hum",
        "Ripple of the steady state as it reaches the load, input shorted: RMS of all harmonics of"
        " the line.",
        "As for volts.",
        "Heaters, stray fields and wiring add to it: a lower bound.",
        "rework signal JOB",
    ),
    Method(
        "cost",
        "Price",
        "Labour in hours at its rate, and the cheapest priced item of the list that is the part"
        " wanted: same value within 1 %, ratings no lower.",
        "The job file and the price list it names.",
        "Parts that the list does not have, wire, solder and screws are not in it.",
        "rework papers JOB -o DIR",
    ),
)


@dataclass(frozen=True, slots=True)
class MethodText:
    """A method as these papers tell it, its command with the job's own file name."""

    method: Method
    command: str


def told(run: JobRun) -> tuple[MethodText, ...]:
    """Return every method with the command that prints its figures for this job."""
    name = run.job.file.replace("\\", "/").rpartition("/")[2] or "JOB"
    word = name if all(letter.isalnum() or letter in "-_." for letter in name) else "JOB"
    return tuple(MethodText(method, method.command.replace("JOB", word)) for method in METHODS)
