"""Long work in a process of its own: bringing in, building the demo, looking for phases and finds, printing.

The desk starts ``python -m afterclamp.replay.bringing``, writes one JSON line (the request) to its
standard input and reads JSON lines from its standard output. A process rather than a thread, because
HDF5 calls share one lock, because scipy and pandas then never enter the desk's process, and because a
piece of work that will not stop can be ended without harming the desk.

Request: ``{"task": "...", ...}``; a later line ``cancel`` asks it to stop. Answers, one per line:
``{"progress": [what, share]}``, then exactly one of ``{"result": ...}``, ``{"questions": [...]}``,
``{"sentence": "..."}`` (a `CaseError`, whole) and ``{"cancelled": true}``.
"""

from __future__ import annotations

import base64
import json
import pickle
import sys
import threading
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any, TextIO

from afterclamp.io import bring_in, open_case
from afterclamp.io.errors import Cancelled, CaseError, QuestionsOpen

Report = Callable[[dict[str, Any]], None]
Request = dict[str, Any]


class Stopper:
    """Whether the person asked to stop, told by a line on standard input or by its end."""

    def __init__(self, stream: TextIO) -> None:
        self._asked = threading.Event()
        threading.Thread(target=self._listen, args=(stream,), daemon=True).start()

    def __call__(self) -> bool:
        """Whether to stop."""
        return self._asked.is_set()

    def _listen(self, stream: TextIO) -> None:
        stream.readline()  # "cancel", or nothing because the desk is gone: both mean stop
        self._asked.set()


def pack(value: Any) -> str:
    """A result of this project's own process, for the desk that started it (`longwork.unpack`)."""
    return base64.b64encode(pickle.dumps(value)).decode("ascii")


def _bring_in(request: Request, report: Report, stop: Callable[[], bool]) -> str:
    case = bring_in(
        [Path(path) for path in request["paths"]],
        Path(request["into"]),
        answers=request.get("answers") or None,
        accept_proposals=bool(request.get("accept_proposals", False)),
        progress=_progress(report, stop),
        cancelled=stop,
    )
    case.close()
    return str(request["into"])


def _look(request: Request, report: Report, stop: Callable[[], bool]) -> None:
    """Phases, finds, figures: each reported as soon as it is there, the quickest first."""
    from afterclamp.annotate.figures import figures
    from afterclamp.annotate.finds import find
    from afterclamp.annotate.phases import phases

    with open_case(Path(request["case"])) as case:
        steps: tuple[tuple[str, Callable[[], Any]], ...] = (
            ("phases", lambda: phases(case)),
            ("finds", lambda: find(case)),
            ("figures", lambda: figures(case)),
        )
        for number, (name, step) in enumerate(steps):
            if stop():
                raise Cancelled("the look for phases and finds was stopped")
            report({"progress": [f"looking for {name}" if name != "figures" else name, number / len(steps)]})
            report({"part": [name, pack(step())]})


def _demo(request: Request, report: Report, stop: Callable[[], bool]) -> str:
    from .demo import make_demo

    return str(make_demo(Path(request["into"]), progress=_progress(report, stop), cancel=stop))


def _paper(request: Request, report: Report, stop: Callable[[], bool]) -> str:
    from .paper import write_paper

    with open_case(Path(request["case"])) as case:
        write_paper(case, Path(request["out"]), progress=_progress(report, stop))
    return str(request["out"])


def _progress(report: Report, stop: Callable[[], bool]) -> Callable[[float, str], None]:
    """What long work is given to say how far it is; once asked to stop it goes no further."""

    def tell(share: float, what: str) -> None:
        if stop():
            raise Cancelled("stopped as asked; nothing of it is kept")
        report({"progress": [what, share]})

    return tell


TASKS: dict[str, Callable[[Request, Report, Callable[[], bool]], Any]] = {
    "bring_in": _bring_in,
    "look": _look,
    "demo": _demo,
    "paper": _paper,
}


def work(request: Request, report: Report, stop: Callable[[], bool]) -> None:
    """Do one request and report how it ended; only what is no `CaseError` leaves as an exception."""
    try:
        report({"result": TASKS[request["task"]](request, report, stop)})
    except QuestionsOpen as asked:
        report({"questions": [asdict(question) for question in asked.questions]})
    except Cancelled:
        report({"cancelled": True})
    except CaseError as said:
        report({"sentence": said.sentence})


def main() -> int:
    """Serve the one request on standard input."""
    answers = sys.stdout
    sys.stdout = sys.stderr  # whatever a library prints must not get between the lines

    def report(message: dict[str, Any]) -> None:
        answers.write(json.dumps(message) + "\n")
        answers.flush()

    request = json.loads(sys.stdin.readline())
    work(request, report, Stopper(sys.stdin))
    return 0


if __name__ == "__main__":
    sys.exit(main())
