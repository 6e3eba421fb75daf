"""How long the editor's server takes to answer, on a circuit of 60 parts: ``python
tests/bench/editor_latency.py``.

Median and worst of 40 answers over the protocol, each after one letter was typed.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from pathlib import Path

from lsprotocol import types as lsp

sys.path.insert(0, str(Path(__file__).parents[1] / "lsp"))

from test_editor_server import ROOT, Editor

PARTS = 60


def text(parts: int) -> str:
    """Return a circuit of so many parts: the hostel amplifier with further stages behind it."""
    out = (ROOT / "circuits" / "hostel" / "hostel.circuit").read_text()
    number = 0
    while out.count("\n") and sum(" : " in line for line in out.split("\n")) < parts:
        number += 1
        out += f"R{100 + number} resistor 100k 1/2 W 10% : B3 -- X{number}\n"
        out += f"R{200 + number} resistor 100k 1/2 W 10% : X{number} -- COMMON\n"
    return out


def main() -> None:
    """Print the times."""
    with tempfile.TemporaryDirectory() as folder:
        editor = Editor(Path(folder))
        base = text(PARTS)
        questions = {
            "completion of nodes": lambda: editor.complete(
                "x.circuit", base + "R1 resistor 1k : §"
            ),
            "completion of pins": lambda: editor.complete("x.circuit", base + "V9 tube 12AX7 : §"),
            "hover on a node": lambda: editor.hover("x.circuit", base, "B3 -- PL1"),
            "colours": lambda: editor.wait(
                editor.client.text_document_semantic_tokens_full_async(
                    lsp.SemanticTokensParams(editor.document("x.circuit"))
                )
            ),
            "problems": lambda: editor.marks("x.circuit"),
        }
        for name, ask in questions.items():
            times = []
            for number in range(40):
                editor.write("x.circuit", base + "#" * (number % 7) + "\n")
                start = time.perf_counter()
                ask()
                times.append(1000 * (time.perf_counter() - start))
            print(
                f"{name:<22} median {statistics.median(times):6.1f} ms,"
                f" 9 of 10 under {sorted(times)[35]:6.1f} ms"
            )
        editor.close()


if __name__ == "__main__":
    main()
