"""``rework signal``: gain, response, watts, distortion, hum and stability of a circuit, or of a job before and after."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict

from rework.commands.numbers import Solved, shown, solved
from rework.report import printable, problems_text, styled, table


def run(asked: argparse.Namespace) -> int:
    """Print what the amplifier does with a signal; with --plot, draw its response."""
    from rework.solve.signal import FREQUENCIES, signal

    found = solved(asked.file, signal)
    if asked.json:
        print(json.dumps({one.heading.lower() or "circuit": asdict(one.result) | {"hertz": [float(f"{f:.5g}") for f in FREQUENCIES]}
                          for one in found if one.result is not None}, indent=2, ensure_ascii=False))
    else:
        for one in found:
            if one.result is None:
                print(problems_text(one.problems, stream=sys.stderr) + f"\n{one.heading}: no numbers.\n", file=sys.stderr)
            else:
                print(_text(one) + "\n")
    if asked.plot:
        _plot(found[-1], asked.plot)
    return 0


def _text(one: Solved) -> str:
    s = one.result
    full, half, hum = s.full, s.half, s.hum
    out = [styled((one.heading + ": " if one.heading else "") + printable(s.title), "bold"),
           f"Input {s.input}, load {s.speaker} {s.load_ohms:g} ohm, controls where they are loudest, 1 kHz.",
           f"gain {s.gain:.4g}; output impedance {shown(s.output_ohms, 'ohm')} at the load",
           (f"onset of clipping (10 % distortion or 1 dB): {shown(full.watts, 'W')}, {shown(full.load_volts, 'V')} RMS across the load, "
            f"{full.distortion:.1%} distortion, for {shown(full.input_volts, 'V')} RMS at the input"),
           f"half of that: {shown(half.watts, 'W')}, {shown(half.load_volts, 'V')} RMS, {half.distortion:.1%} distortion, for {shown(half.input_volts, 'V')}",
           f"hum at the load, input shorted: {shown(hum.volts, 'V')} RMS ({shown(hum.line_volts, 'V')} at the line's frequency, {shown(hum.double_volts, 'V')} at twice it)"
           + (f", {hum.below_full_db:.0f} dB below clipping" if hum.below_full_db is not None else "")
           + "; heaters and stray fields not counted"]
    rows = [("control", "position", "gain at 1 kHz", "-3 dB low", "-3 dB high")]
    rows += [(r.control, r.position, f"{r.at_tone:.3g}", shown(r.low, "Hz") if r.low else "below 10 Hz", shown(r.high, "Hz") if r.high else "above 40 kHz") for r in s.responses]
    out += ["", table(rows), ""]
    for mode in s.grows:
        what = "motorboating" if mode.hertz < 200 else "a squeal"
        out.append(styled(f"It oscillates: {what} at {shown(mode.hertz, 'Hz')}, strongest at {mode.node}." if mode.hertz else
                          f"It runs away at {mode.node} and settles elsewhere.", "red"))
    for one_remedy in s.remedies:
        out.append(f"  would tame it: {shown(one_remedy.ohms, 'ohm')} between {one_remedy.node} and {one_remedy.resistor}, and {shown(one_remedy.farads, 'F')} from there to common")
    if s.grows and not s.remedies:
        out.append("  no single decoupling section of the shelf tames it")
    if not s.grows:
        least = s.least_damped
        out.append("Stable: every motion dies away." + (f" The least damped swings at {shown(least.hertz, 'Hz')} (damping {least.damping:.2f}), strongest at {least.node}." if least else ""))
    out += ["", "Taken for granted:"] + [f"  {note}" for note in s.notes]
    return "\n".join(out)


def _plot(one: Solved, path: str) -> None:
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    from rework.solve.signal import FREQUENCIES

    figure, axes = plt.subplots(figsize=(8, 4.5))
    for response in one.result.responses:
        axes.loglog(FREQUENCIES, response.gain, label=f"{response.control} {response.position}")
    axes.set_xlabel("Hz")
    axes.set_ylabel("gain, input to load")
    axes.set_title(one.result.title)
    axes.set_ylim(max(response.gain[40] for response in one.result.responses) / 1e3, None)
    axes.grid(alpha=0.3, which="both")
    axes.legend(fontsize=8)
    figure.savefig(path, dpi=120)
    plt.close(figure)
