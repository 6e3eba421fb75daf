"""``rework signal``: gain, response, watts, distortion, hum and stability of a circuit, or of a job
before and after.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import asdict

from rework.commands.arguments import takes_force, takes_json, takes_netlist, takes_plot
from rework.commands.numbers import shown
from rework.commands.pictures import keep, wanted_picture
from rework.commands.subject import Solved, last_of, print_each, solved, subject
from rework.report.problems import problems_json
from rework.report.terminal import printable, progress, styled, table

ORDINALS = ("2nd", "3rd", "4th", "5th")

EXAMPLE = "rework signal pager.job"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments to its parser."""
    takes_netlist(parser)
    takes_plot(parser)
    takes_json(parser)
    takes_force(parser)


def run(asked: argparse.Namespace) -> int:
    """Print what the amplifier does with a signal; with --plot, draw response, load line,
    distortion and hum.
    """
    from rework.solve.signal import FREQUENCIES, STEPS, signal

    about = subject(asked.file)
    wanted_picture(asked.plot, force=asked.force, sources=about.sources)
    with progress("signal", len(about.circuits) * STEPS) as bar:
        signals = solved(about, lambda circuit: signal(circuit, step=bar.update))
    if asked.json:
        hertz = [float(f"{f:.5g}") for f in FREQUENCIES]
        answer = {
            key: (
                asdict(one.result) | {"hertz": hertz}
                if isinstance(one, Solved)
                else {"problems": problems_json(one.problems)}
            )
            for key, one in signals.items()
        }
        print(json.dumps(answer, indent=2, ensure_ascii=False))
    else:
        print_each(signals, _text)
    if asked.plot:
        from rework.commands.signal_plot import drawn

        keep(drawn(last_of(signals)), asked.plot, force=asked.force)
    return 0


def _text(one: Solved) -> str:
    s = one.result
    out = [
        styled(": ".join(filter(None, (one.heading, printable(s.title)))) or "The circuit", "bold"),
        (
            f"Input {s.input}, load {s.speaker} {s.load_ohms:g} ohm, controls where they are"
            " loudest, 1 kHz."
        ),
        f"gain {s.gain:.4g}; output impedance {shown(s.output_ohms, 'ohm')} at the load",
        (
            f"onset of clipping (10 % distortion or 1 dB): {shown(s.full.watts, 'W')},"
            f" {shown(s.full.load_volts, 'V')} RMS across the load, for"
            f" {shown(s.full.input_volts, 'V')} RMS at the input, its sensitivity"
        ),
        f"  distortion {_bent(s.full)}",
        (
            f"half of that: {shown(s.half.watts, 'W')}, {shown(s.half.load_volts, 'V')} RMS, for"
            f" {shown(s.half.input_volts, 'V')} RMS at the input"
        ),
        f"  distortion {_bent(s.half)}",
        *_hum(s.hum),
        "",
        *_responses(s.responses),
        "",
        *_stability(s),
        "",
        "Taken for granted:",
    ]
    return "\n".join(
        [
            *out,
            *(f"  {note}" for note in s.notes),
            "  noise is left out: the library has no figure for it",
        ]
    )


def _bent(power) -> str:
    parts = ", ".join(
        f"{name} {share:.1%}" for name, share in zip(ORDINALS, power.harmonics, strict=False)
    )
    return f"{power.distortion:.1%}: {parts}".replace("%", " %")


def _hum(hum) -> list[str]:
    if not hum.volts:
        return ["hum at the load: none, the supply is direct current"]
    out = [
        f"hum at the load from the supply, input shorted: {shown(hum.volts, 'V')} RMS"
        f" ({_part(hum.line_volts, hum.volts)} at the line's frequency,"
        f" {_part(hum.double_volts, hum.volts)} at twice it)"
        + (f", {hum.below_full_db:.0f} dB below clipping" if hum.below_full_db is not None else "")
    ]
    if hum.leak_part:
        out.append(
            "  not counted, as no sheet prints it: leakage from heater to cathode. Each microamp"
            f" of it at {hum.leak_part}, which minds it most, would add"
            f" {shown(hum.leak_ohms * 1e-6, 'V')}"
        )
    return out


def _part(volts: float, total: float) -> str:
    return "none" if volts < 1e-6 * total else shown(volts, "V")


def _responses(responses) -> list[str]:
    """Return the table, a control that changes nothing told in one line instead of three."""
    rows = [("control", "position", "gain at 1 kHz", "-3 dB low", "-3 dB high")]
    idle = []
    for name in dict.fromkeys(response.control for response in responses):
        own = [response for response in responses if response.control == name]
        if len(own) > 1 and all(
            abs(a / b - 1) < 1e-3
            for one in own[1:]
            for a, b in zip(one.gain, own[0].gain, strict=True)
        ):
            idle.append(f"{name} does not change the response.")
            continue
        rows += [
            (
                r.control,
                r.position,
                f"{r.at_tone:.3g}",
                shown(r.low, "Hz") if r.low else "below 10 Hz",
                shown(r.high, "Hz") if r.high else "above 100 kHz",
            )
            for r in own
        ]
    return [table(rows), *idle]


def _stability(s) -> list[str]:
    from rework.solve.stability import MOTORBOATING

    if not s.grows:
        least = s.least_damped
        at_stops = [
            styled(
                (
                    f"With {one.control} at {one.position} it oscillates, strongest at"
                    f" {one.grows.node}; it begins near {shown(one.grows.hertz, 'Hz')}."
                    if one.grows.hertz
                    else f"With {one.control} at {one.position} it runs away at {one.grows.node}."
                ),
                "red",
            )
            for one in s.responses
            if one.grows
        ]
        if at_stops:
            return [*at_stops, "With the controls where they are loudest every motion dies away."]
        return [
            "Stable: every motion dies away, each control at its stops and middle."
            + (
                f" The least damped swings at {shown(least.hertz, 'Hz')} (damping"
                f" {least.damping:.2f}), strongest at {least.node}."
                if least
                else ""
            )
        ]
    what = lambda hertz: "motorboating" if hertz < MOTORBOATING else "a squeal"
    worst = s.grows[0]
    if s.swing:
        out = [
            f"It oscillates: {what(s.swing.hertz)} at {shown(s.swing.hertz, 'Hz')}, strongest at"
            f" {worst.node}, {shown(s.swing.volts, 'V')} from peak to peak there."
        ]
    elif worst.hertz:
        out = [
            f"It oscillates: {what(worst.hertz)}, strongest at {worst.node}; it begins near"
            f" {shown(worst.hertz, 'Hz')} and was not followed to what it comes to."
        ]
    else:
        out = [f"It runs away at {worst.node} and settles elsewhere."]
    out = [styled(out[0], "red")]
    out += [
        f"  would tame it, solved afresh: {remedy_words(one)} (least damping then"
        f" {one.damping:.2f})"
        for one in s.remedies
    ]
    if not s.remedies:
        out.append(
            "  nothing tried tames it: no larger filter capacitor, no further decoupling section,"
            " no exchange of output transformer leads, no change in the feedback"
        )
    return (
        [
            *out,
            (
                "  Gain, watts, distortion, hum and response above are those with the first of"
                " these in."
            ),
        ]
        if s.remedies
        else out
    )


def remedy_words(one) -> str:
    """Return what to do, as one would tell it at the bench."""
    match one.kind:
        case "decouple":
            return (
                f"{shown(one.ohms, 'ohm')} between {one.node} and {one.part}, and"
                f" {shown(one.farads, 'F')} from their joint to common"
            )
        case "capacitor":
            return f"{one.part} at {one.node} made {shown(one.farads, 'F')}"
        case "across":
            return f"{shown(one.farads, 'F')} across {one.part}"
        case "resistor":
            return f"{one.part} made {shown(one.ohms, 'ohm')}"
        case _:
            return (
                f"the two secondary leads of {one.part} exchanged, for the feedback has the wrong"
                " sign"
            )
