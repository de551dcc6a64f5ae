"""How long after a person trusts another line everything that goes by it is there again.

    .venv/bin/python tests/bench/trust_change.py CASE_FOLDER

Works on a copy of the case. Prints, for each of several choices, when the strip showed it and when finds and figures
had come in from the process that works them out; J3.3 row 28 asks for 1 s at most.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

import psutil
from afterclamp.replay.session import Session
from PySide6.QtCore import QCoreApplication, QEventLoop, QSettings, QTimer

CHANGES = (
    {"site": "left_radial", "start_s": 17160.0, "end_s": 17310.0},
    {"site": "left_radial", "start_s": 18417.0, "end_s": 20217.0},
    {"proposal": True, "start_s": 18417.0, "end_s": 20217.0},
    {"site": "right_radial"},
    {"proposal": True},
)


def wait_for(session: Session, name: str, patience_s: float = 60.0) -> dict[str, float]:
    """Seconds until each part of a look has come in, up to the one that is waited for."""
    loop, begun = QEventLoop(), time.perf_counter()
    came: dict[str, float] = {}

    def take(part: str) -> None:
        came[part] = time.perf_counter() - begun
        if part == name:
            loop.quit()

    session.looked.connect(take)
    QTimer.singleShot(int(1000 * patience_s), loop.quit)
    loop.exec()
    session.looked.disconnect(take)
    return came


def main() -> None:
    """Measure."""
    app = QCoreApplication([])
    with tempfile.TemporaryDirectory() as folder:
        case = Path(folder) / "case"
        shutil.copytree(sys.argv[1], case)
        session = Session(QSettings(str(Path(folder) / "own.ini"), QSettings.Format.IniFormat))
        assert session.open(case)
        print("first look:", {name: round(t, 2) for name, t in wait_for(session, "figures").items()})
        rest = QEventLoop()
        QTimer.singleShot(1500, rest.quit)
        rest.exec()  # the first look has ended
        for change in CHANGES:
            process = psutil.Process(session._looks.running["case"].process_id)
            busy, begun = sum(process.cpu_times()[:2]), time.perf_counter()
            session.believe(change)
            shown = time.perf_counter() - begun
            came = wait_for(session, "figures")
            parts = ", ".join(f"{name} {t + shown:.2f} s" for name, t in came.items())
            busy = sum(process.cpu_times()[:2]) - busy
            print(f"{change}: strip {1000 * shown:.0f} ms, {parts}; {busy:.2f} s of processor time")
        session.close()
    app.quit()


if __name__ == "__main__":
    main()
