"""How long the demo case takes: to bring in, and from opening it to the first full picture of the desk.

    python tests/bench/demo_open.py [--repeats 3]

Aims: bring in at most 10 s, open to first full picture at most 1 s. Each opening is a fresh process after its
imports; the picture is grabbed whole, with all three views, before any find is there.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

OPEN = """
import sys, time
from pathlib import Path
from PySide6.QtCore import QSettings
from afterclamp.replay.app import application
from afterclamp.replay.desk import Desk
app = application()
desk = Desk(QSettings(sys.argv[2], QSettings.Format.IniFormat))
desk.resize(1600, 1000)
desk.show()
app.processEvents()
start = time.perf_counter()
desk.does.open_case(Path(sys.argv[1]))
desk.grab()
print(time.perf_counter() - start)
desk.close()
"""


def main() -> None:
    """Build, bring in, open; print seconds."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--repeats", type=int, default=3)
    repeats = parser.parse_args().repeats
    from afterclamp.io import bring_in
    from afterclamp.sample_traces.build import build_demo

    with tempfile.TemporaryDirectory() as folder:
        exports = Path(folder) / "exports"
        build_demo(exports)
        for number in range(repeats):
            start = time.perf_counter()
            bring_in(exports, Path(folder) / f"case-{number}", answers=exports / "answers.toml").close()
            print(f"bring in: {time.perf_counter() - start:.2f} s (at most 10)")
        for number in range(repeats):
            case, settings = Path(folder) / f"case-{number}", Path(folder) / f"desk-{number}.ini"
            made = subprocess.run(
                [sys.executable, "-c", OPEN, str(case), str(settings)],
                env=os.environ | {"QT_QPA_PLATFORM": "offscreen"},
                capture_output=True,
                text=True,
                check=True,
            )
            print(f"open to first full picture: {float(made.stdout.split()[-1]):.2f} s (at most 1)")


if __name__ == "__main__":
    main()
