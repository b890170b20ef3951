# SPDX-License-Identifier: MIT
"""Circuits simulated by ngspice: one steady period of what a netlist makes of a tone."""
import pathlib
import subprocess
import tempfile

import numpy as np

FRAME = """{title}
{body}
.tran {step} {stop} {start} {step}
.control
run
linearize v(out)
wrdata out.txt v(out)
quit
.endc
.end
"""


def one_period(title, body, hz, points, settle):
    """Volts of the node `out` at so many points of one period, after so many periods in which the circuit settles.

    The netlist is without its title, its analysis and its end.
    """
    period = 1.0 / hz
    text = FRAME.format(title=title, body=body, step=period / points, start=settle * period, stop=(settle + 1) * period)
    with tempfile.TemporaryDirectory() as folder:
        pathlib.Path(folder, "circuit.cir").write_text(text, encoding="ascii")
        done = subprocess.run(["ngspice", "-b", "circuit.cir"], cwd=folder, capture_output=True, text=True, check=False)
        out = pathlib.Path(folder, "out.txt")
        assert out.exists(), done.stdout[-500:] + done.stderr[-500:]
        return np.loadtxt(out)[:points, 1]
