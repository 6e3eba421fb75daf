"""The solver's speed as ratios within one run: against plain loops over the same equations, and against the size of the circuit."""

import time
from math import pi, sqrt
from pathlib import Path

import numpy as np

from rework.commands.jobs import run_job_file
from rework.language.resolve import read_circuit
from rework.solve.assemble import assemble
from rework.solve.bias import bias, spread
from rework.solve.fit import fitted
from rework.solve.newton import operating_point
from rework.solve.periodic import mains_steady

CIRCUITS = Path(__file__).parents[2] / "circuits"


def best_of(count: int, work) -> float:
    times = []
    for _ in range(count):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def test_a_thousand_samples_at_least_thirty_times_faster_than_a_loop_of_roots():
    """scipy.optimize.root (hybr) on the same equations one sample at a time, from the same start, timed on 10 of the samples."""
    from scipy.optimize import root

    found = bias(assemble(run_job_file(str(CIRCUITS / "pager" / "pager.job")).before))
    network = found.network
    drawn = spread(found, 1000)
    stack = best_of(3, lambda: spread(found, 1000))

    def one(sample: int):
        g = network.conductances(drawn.factors[sample : sample + 1])[0]
        scales = drawn.scales[sample : sample + 1]

        def wrong(x):
            out, _ = network.device_currents(x[None], scales=scales, laws=found.laws)
            return g @ x + (out @ network.reads)[0] - found.source * drawn.line[sample]

        return root(wrong, found.point, tol=1e-9).x

    nodes = network.n - len(network.rows)
    start = time.perf_counter()
    solved = [one(sample) for sample in range(10)]
    loop = (time.perf_counter() - start) * 100
    for sample, x in enumerate(solved):
        assert np.abs(x[:nodes] - drawn.x[sample, :nodes]).max() < 0.05
    print(f"1000 samples: {stack:.3f} s; loop of roots {loop:.1f} s; {loop / stack:.0f} times")
    assert loop > 30 * stack


def test_steady_state_at_least_twenty_times_faster_than_waiting_with_radau():
    """The 50 uF, 30 uF half-wave supply: scipy Radau from empty capacitors until a period repeats within 0.1 %, tolerances for the same 0.1 %."""
    from scipy.integrate import solve_ivp

    text = """mains 117 V 60 Hz
P1 plug : line=L, neutral=COMMON
R1 resistor 33 ohm : L -- A
V1 tube 35W4 : plate=A, cathode=B1, 3=COMMON, 4=COMMON, unused 1 2 6
C1 electrolytic 50 uF : B1 -- COMMON
R2 resistor 1k : B1 -- B2
C2 electrolytic 30 uF : B2 -- COMMON
R3 resistor 22k : B2 -- B3
C3 electrolytic 10 uF : B3 -- COMMON
R4 resistor 100k : B3 -- COMMON
R5 resistor 2.5k : B2 -- COMMON
"""
    network = assemble(read_circuit(text)[0])
    quick = best_of(3, lambda: mains_steady(network, instants=192))
    law = fitted("35W4").law

    def rate(t, x):
        drive = 117 * sqrt(2) * np.sin(2 * pi * 60 * t) - x[0]
        across = 0.0
        for _ in range(30):
            i, slope = law.currents(np.array([across]))
            step = (drive - 33 * i[0] - across) / (1 + 33 * slope[0, 0])
            across += step
            if abs(step) < 1e-9:
                break
        amps = float(law.currents(np.array([across]))[0][0])
        return [(amps - (x[0] - x[1]) / 1e3) / 50e-6, ((x[0] - x[1]) / 1e3 - x[1] / 2500 - (x[1] - x[2]) / 22e3) / 30e-6, ((x[1] - x[2]) / 22e3 - x[2] / 1e5) / 10e-6]

    state, periods, start = np.zeros(3), 0, time.perf_counter()
    while periods < 200:
        after = solve_ivp(rate, (0, 1 / 60), state, method="Radau", rtol=1e-4, atol=1e-4).y[:, -1]
        periods += 1
        # a step of the slow state that is under a thousandth of what is still missing: tau is about 11 periods
        if np.abs(after - state).max() < 1e-3 * np.abs(after).max() / 12:
            break
        state = after
    slow = time.perf_counter() - start
    steady = mains_steady(network, instants=192)
    for row, node in enumerate(("B1", "B2")):
        assert abs(network.volts(steady.x, node)[0] - after[row]) < 3e-3 * after[row]
    print(f"steady state {quick:.3f} s; Radau {periods} periods {slow:.2f} s; {slow / quick:.0f} times")
    assert slow > 20 * quick


def ladder(parts: int) -> str:
    rows = "".join(f"R{n} resistor 1k : N{n} -- N{n + 1}\nS{n} resistor 1M : N{n + 1} -- COMMON\n" for n in range(parts // 2))
    return f"mains 100 V 0 Hz\nP1 plug : line=N0, neutral=COMMON\n{rows}"


def test_cost_against_size_from_ten_to_a_thousand_parts():
    """Shown for 10, 100 and 1,000 parts; at 1,000 (500 nodes) an operating point costs a few dozen plain dense solves of that size, no more."""
    cost = {}
    for parts in (10, 100, 1000):
        circuit = read_circuit(ladder(parts))[0]
        network = assemble(circuit)
        source = np.eye(network.n)[network.sources[0]] * 100
        cost[parts] = best_of(3, lambda network=network, source=source: operating_point(network, source))
    plain = best_of(3, lambda: np.linalg.solve(network.g, source))
    print({parts: f"{seconds * 1e3:.2f} ms" for parts, seconds in cost.items()}, f"one plain solve {plain * 1e3:.2f} ms")
    assert cost[1000] < 60 * plain
