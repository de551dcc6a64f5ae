"""Long work in a process of its own: bringing in, building the demo, looking for phases, finds and clocks, printing.

The desk starts ``python -m afterclamp.replay.bringing``, writes one JSON line (the request) to its
standard input and reads JSON lines from its standard output. A process rather than a thread, because
HDF5 calls share one lock, because scipy and pandas then never enter the desk's process, and because a
piece of work that will not stop can be ended without harming the desk.

Request: ``{"task": "...", ...}``; a later line ``cancel`` asks it to stop. Answers, one per line:
``{"progress": [what, share]}``, then exactly one of ``{"result": ...}``, ``{"questions": [...]}``,
``{"sentence": "..."}`` (a `CaseError`, whole) and ``{"cancelled": true}``. A bring-in that one file stops adds
``"leave_out": [path, ...]``: asked again with these, it would bring in the others; and ``"table": path``
where its columns can be matched by hand. A request with ``"stay": true`` leaves the process waiting for the next
request, a line again, until its standard input ends.
"""

from __future__ import annotations

import base64
import json
import pickle
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, TextIO

from afterclamp.io import bring_in, open_case
from afterclamp.io.errors import Cancelled, CaseError, FileUnreadable, QuestionsOpen
from afterclamp.io.readers import Claim
from afterclamp.io.readers.registry import reader_of

TABLE = "delimited text"
"""The reader whose files have columns that a person can match."""

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
    into = Path(request["into"])
    given = [Path(path) for path in request["paths"]]
    left_out = [Path(path) for path in request.get("left_out", ())]
    try:
        bring_in(
            given,
            into,
            columns=[Path(path) for path in request.get("columns", ())],
            answers=request.get("answers") or None,
            accept_proposals=bool(request.get("accept_proposals", False)),
            keep_identity=bool(request.get("keep_identity", False)),
            learned_in=request.get("learned_in") or None,
            leave_out=left_out,
            progress=_progress(report, stop),
            cancelled=stop,
        ).close()
    except FileUnreadable as refused:
        also, others = without(given, left_out, refused.path)
        table = refused.path if refused.path in also and _is_table(refused.path) else None
        if also and (others or table):
            raise _Refused(refused, also if others else [], table) from refused
        raise
    return str(into)


def _look_at_exports(request: Request, report: Report, stop: Callable[[], bool]) -> str:
    """What a bring-in would find of somebody's identity, packed; nothing is written."""
    from .kept_out import rows

    given = [Path(path) for path in request["paths"]]
    learned_in = request.get("learned_in")
    found = rows(
        given,
        sorted(set(files_of(given))),
        Path(request["into"]),
        keep_identity=bool(request.get("keep_identity", False)),
        columns=[Path(path) for path in request.get("columns", ())],
        learned_in=Path(learned_in) if learned_in else None,
        progress=_progress(report, stop),
        cancelled=stop,
    )
    return pack(found)


class _Refused(CaseError):
    """A file that stops a bring-in which could go on without it, or with its columns matched by hand."""

    def __init__(self, refused: FileUnreadable, leave_out: Sequence[Path], table: Path | None) -> None:
        super().__init__(refused.what, path=refused.path, place=refused.place, todo=refused.todo)
        self.leave_out = leave_out
        self.table = table


def _is_table(path: Path | None) -> bool:
    try:
        reader = reader_of(path)[0] if path is not None else None
    except FileUnreadable:
        return False
    return reader is not None and reader.name == TABLE


def without(
    given: Sequence[Path], left_out: Sequence[Path], refused: Path | None
) -> tuple[list[Path], list[Path]]:
    """What to leave out so that a refused file is not read, and the others that could then be brought in.

    Parameters
    ----------
    given : sequence of Path
        Files, and folders whose files are taken.
    left_out : sequence of Path
        Files that are left out already.
    refused : Path or None
        A part of a record, or a file that is not there, takes the record's header with it.
    """
    if refused is None:
        return [], []
    gone = {path.resolve() for path in left_out}
    files = [path for path in sorted(set(files_of(given))) if path.resolve() not in gone]
    claims = {path: _claim(path, files) for path in files}
    also = [path for path in claims if path.resolve() == refused.resolve()]
    if not also or claims[also[0]] is Claim.PART:
        also = [
            path
            for path, claim in claims.items()
            if claim is Claim.MINE and path.parent == refused.parent and path.stem == refused.stem
        ]
    return also, [path for path, claim in claims.items() if claim is Claim.MINE and path not in also]


def _claim(path: Path, given: Sequence[Path]) -> Claim:
    try:
        return reader_of(path, given)[1]
    except FileUnreadable:  # empty, or not to be opened: it will be said when its turn comes
        return Claim.NOT_MINE


def files_of(given: Sequence[Path]) -> Iterator[Path]:
    """Files, and those in folders, without hidden ones."""
    for path in given:
        for one in path.rglob("*") if path.is_dir() else [path]:
            if one.is_file() and (one is path or not one.name.startswith(".")):
                yield one


def _look(request: Request, report: Report, stop: Callable[[], bool]) -> None:
    """Originals, masks, phases, trust strip, finds, figures: each reported as soon as it is there, the quickest first.

    ``only`` names those that are wanted; ``raw`` gives figures with artefacts left in.
    """
    from afterclamp.annotate.figures import figures
    from afterclamp.annotate.kept_finds import kept_finds
    from afterclamp.annotate.mask_reasons import told_spans
    from afterclamp.annotate.phases import proposals
    from afterclamp.annotate.rule_numbers import numbers_in_force
    from afterclamp.annotate.trust import trust_strip

    from .answered import answered

    with open_case(Path(request["case"])) as case:
        raw, only = bool(request.get("raw", False)), request.get("only")
        every: tuple[tuple[str, Callable[[], Any]], ...] = (
            ("originals", lambda: case.source_state(thorough=False)),
            ("masks", lambda: {channel.id: told_spans(channel) for channel in case.channels}),
            ("phases", lambda: proposals(case)),
            ("trust strip", lambda: trust_strip(case)),
            ("finds", lambda: kept_finds(case).finds(numbers_in_force(case))),
            (
                "answers",
                lambda: answered(case, kept_finds(case).finds(numbers_in_force(case)), kept_finds(case).view),
            ),
            ("unexplained", lambda: kept_finds(case).unexplained(numbers_in_force(case))),
            ("raw figures" if raw else "figures", lambda: figures(case, masked=not raw)),
        )
        steps = [step for step in every if only is None or step[0] in only]
        for number, (name, step) in enumerate(steps):
            if stop():
                raise Cancelled("the look for phases and finds was stopped")
            words = f"looking for {name}" if name in ("phases", "finds") else name
            report({"progress": [words, number / len(steps)]})
            report({"part": [name, pack(step())]})


def _clocks(request: Request, report: Report, stop: Callable[[], bool]) -> str:
    """What the evidence says of each source's clock, packed; nothing is written."""
    from afterclamp.annotate.align import estimate

    with open_case(Path(request["case"])) as case:
        found = estimate(
            case, sources=request.get("sources"), progress=_progress(report, stop), cancelled=stop
        )
    return pack(found)


def _limits(request: Request, report: Report, stop: Callable[[], bool]) -> str:
    """What edits of the limits would change, packed; nothing is written."""
    from afterclamp.annotate.limit_changes import changes
    from afterclamp.annotate.limits import chosen_in

    with open_case(Path(request["case"])) as case:
        after = chosen_in(case, request["edits"], request.get("author", ""))
        return pack(changes(case, chosen_in(case), after, progress=_progress(report, stop)))


def _rule_trial(request: Request, report: Report, stop: Callable[[], bool]) -> str:  # noqa: ARG001
    """What other numbers of one rule would change, packed; nothing is written. Without a rule the case is only read."""
    from afterclamp.annotate.kept_finds import kept_finds
    from afterclamp.annotate.rule_numbers import checked, numbers_in_force

    with open_case(Path(request["case"])) as case:
        kept, before = kept_finds(case), numbers_in_force(case)
        if not request.get("rule"):
            return pack(None)
        for key, value in request["numbers"].items():
            code, _, name = key.partition(".")
            checked(code, name, value)
        return pack(kept.trial(request["rule"], before, {**before, **request["numbers"]}))


def _demo(request: Request, report: Report, stop: Callable[[], bool]) -> str:
    from .demo import make_demo

    return str(make_demo(Path(request["into"]), progress=_progress(report, stop), cancel=stop))


def _paper(request: Request, report: Report, stop: Callable[[], bool]) -> str:
    from .paper import write_paper

    with open_case(Path(request["case"])) as case:
        write_paper(case, Path(request["out"]), progress=_progress(report, stop))
    return str(request["out"])


def _hand_over(request: Request, report: Report, stop: Callable[[], bool]) -> str:
    from afterclamp.io.case import Span

    from .hand_over import hand_over

    window = request.get("window")
    with open_case(Path(request["case"])) as case:
        hand_over(
            case,
            Path(request["out"]),
            request["form"],
            span=Span(*window) if window else None,
            progress=_progress(report, stop),
            cancelled=stop,
        )
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
    "look_at_exports": _look_at_exports,
    "look": _look,
    "clocks": _clocks,
    "limits": _limits,
    "rule_trial": _rule_trial,
    "demo": _demo,
    "paper": _paper,
    "hand_over": _hand_over,
}


def work(request: Request, report: Report, stop: Callable[[], bool]) -> None:
    """Do one request and report how it ended; only what is no `CaseError` leaves as an exception."""
    try:
        report({"result": TASKS[request["task"]](request, report, stop)})
    except QuestionsOpen as asked:
        report({"questions": [asdict(question) for question in asked.questions]})
    except Cancelled:
        report({"cancelled": True})
    except _Refused as said:
        report(
            {
                "sentence": said.sentence,
                "leave_out": [str(path) for path in said.leave_out],
                "table": str(said.table or ""),
            }
        )
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
    if not request.get("stay"):
        work(request, report, Stopper(sys.stdin))
        return 0
    # What was computed is kept in memory: a second look takes a tenth of the first.
    while True:
        work(request, report, lambda: False)  # it only reads: whoever wants it stopped ends the process
        line = sys.stdin.readline()
        if not line:
            return 0
        request = json.loads(line)


if __name__ == "__main__":
    sys.exit(main())
