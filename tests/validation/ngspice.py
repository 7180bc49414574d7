"""ngspice as a judge: runs a netlist of one AC analysis and reads what it found."""

import shutil
import subprocess
from pathlib import Path

import pytest

needs_ngspice = pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")
READ = ".control\nset filetype=ascii\nrun\nwrite result.raw all\nquit\n.endc\n"


def run(text: str, folder: Path) -> dict[str, complex]:
    """Return all node voltages (``v(n3)``) and source currents (``i(vi3)``)."""
    (folder / "network.cir").write_text(text.replace(".end\n", READ + ".end\n"))
    done = subprocess.run(
        ["ngspice", "-b", "network.cir"], cwd=folder, capture_output=True, text=True, timeout=120, check=False
    )
    raw = folder / "result.raw"
    assert raw.exists(), done.stdout + done.stderr
    head, values = raw.read_text().split("Values:\n")
    names = [line.split()[1] for line in head.split("Variables:\n")[1].splitlines() if line.split()]
    # each value stands on a line as "real,imaginary"; the first line also counts the point
    numbers = [complex(*map(float, line.split()[-1].split(","))) for line in values.splitlines() if line.strip()]
    return dict(zip(names, numbers, strict=True))
