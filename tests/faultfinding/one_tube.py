"""A one-tube set on its own supply, small enough to solve under everything that can be wrong."""

from __future__ import annotations

from rework.circuit.circuit import Circuit
from rework.language.job import Job, read_job
from rework.language.resolve import read_circuit
from rework.rules.run import JobRun

SET = """
circuit "One tube on the bench"
mains 117 V 60 Hz
P1 plug three-pin : line=L1, neutral=N1, earth=CHASSIS
F1 fuse 0.2 A 250 V slow : L1 -- L2
T1 transformer 30 VA : primary 117 V dcr 20 ohm = L2 -- N1, secondary 180 V 30 mA dcr 300 ohm = HV -- COMMON, heater 6.3 V 1 A dcr 0.2 ohm = H1 -- COMMON, core=CHASSIS
D1 diode 1 A 1000 V : HV -- B1
C1 electrolytic 47 uF 350 V : B1 -- COMMON
R1 resistor 4.7k 2 W 10% : B1 -- B2
C2 electrolytic 22 uF 350 V : B2 -- COMMON
R2 resistor 47k 2 W 10% bleeder : B2 -- COMMON
CH1 chassis : CHASSIS
W1 wire : COMMON -- CHASSIS
J1 jack input : tip=IN, sleeve=COMMON
C3 capacitor .022 uF 400 V film 10% : IN -- G1
R3 resistor 1M 1/2 W 10% : G1 -- COMMON
V1 tube 6AQ5 : grid=G1, cathode=K1, 3=H1, 4=COMMON, screen=B2, plate=PL1
R4 resistor 1k 1 W 10% : K1 -- COMMON
C4 electrolytic 25 uF 50 V : K1 -- COMMON
T2 output transformer 4 W : primary load 10k dcr 400 ohm = B1 -- PL1, secondary load 4 ohm dcr 0.4 ohm = SP -- COMMON
SP1 speaker 4 ohm 5 W : SP -- COMMON
"""


def circuit(text: str = SET) -> Circuit:
    made, problems = read_circuit(text, file="bench.circuit")
    assert made is not None, [problem.message for problem in problems]
    return made


def bench_job(*lines: str) -> Job:
    job, problems = read_job(
        "\n".join(['circuit "bench.circuit"', *lines, ""]).encode(), file="bench.job"
    )
    assert job is not None, [problem.message for problem in problems]
    return job


def bench_run(*lines: str, text: str = SET) -> JobRun:
    """Return a job that does nothing but say what the bench read."""
    made = circuit(text)
    return JobRun(bench_job(*lines), made, made, (), ())
