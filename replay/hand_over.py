"""A case, or a window of it, handed over in open formats: every sample, with what was marked and found beside it.

A new folder, whole or not at all, with the note that every export carries. No date is in it, and nothing that the
scrub kept out of the case.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from afterclamp.io.whole import written_whole

from .export import NOTE, export_tables
from .footing import export_footing, numbers_note, states_of
from .mask_words import OF_EXPORTS
from .wording import phase_name

if TYPE_CHECKING:
    from afterclamp.annotate.finds import Finds
    from afterclamp.annotate.marks import Verdict
    from afterclamp.annotate.phase_model import Phase
    from afterclamp.io.case import Case, Span
    from afterclamp.io.writers import Remark

Form = Literal["tables", "samples", "edf", "annotations"]

FORMS: dict[Form, str] = {
    "tables": "one value a second, quality, finds, phases, marks and figures as CSV tables",
    "samples": "every sample as CSV tables",
    "edf": "every sample as EDF+, with marks, finds and phases as annotations",
    "annotations": "marks, finds and phases as WFDB annotation files",
}

IN_THE_FILE = "Retrospective reconstruction; not a medical device, not for use in care: see NOTE.txt"

Progress = Callable[[float, str], None]


def hand_over(
    case: Case,
    out: Path,
    form: Form = "tables",
    *,
    span: Span | None = None,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
    day: date | None = None,
) -> list[Path]:
    """Write a case into a new folder.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time.
    out : Path
        The folder; it must not hold anything yet.
    form : str
        One of `FORMS`.
    span : Span, optional
        Window in reference seconds; the whole case when None. Tables are always of the whole case.
    progress : callable, optional
        ``progress(share, text)``.
    cancelled : callable, optional
        Asked as it goes.
    day : date, optional
        Put into the note; today when None.

    Returns
    -------
    list of Path
        What was written.

    Raises
    ------
    CannotWrite
        When the folder holds something, the window is empty, or it cannot be written; nothing is left then.
    Cancelled
        When asked to stop; nothing is left then.
    """
    if form == "tables":
        return export_tables(case, out, progress=progress, day=day)
    from afterclamp.io.writers import window_of
    from afterclamp.io.writers.edf import write_edf
    from afterclamp.io.writers.tables import write_tables
    from afterclamp.io.writers.wfdb_annotations import write_annotations

    window = window_of(case, span, out)
    said = _Said(case)
    note = said.note(day)
    with written_whole(out, parents=True) as folder:
        folder.mkdir()
        if form == "samples":
            write_tables(case, folder, span=window, progress=progress, cancelled=cancelled)
        elif form == "edf":
            remarks = [*said.marks(), *said.finds(), *said.phases()]
            written = write_edf(
                case,
                folder / "case.edf",
                span=window,
                remarks=remarks,
                note=IN_THE_FILE,
                progress=progress,
                cancelled=cancelled,
            )
            note += "".join(f"\n{remark}." for remark in written.remarks) + "\n" * bool(written.remarks)
        else:
            for name, remarks in (
                ("marks", said.marks()),
                ("finds", said.finds()),
                ("phases", said.phases()),
            ):
                inside = [one for one in remarks if one.end_s >= window.start and one.start_s < window.end]
                write_annotations(
                    inside, folder / f"case.{name}", start_s=min(window.start, _first(inside, window))
                )
        (folder / NOTE).write_text(note, "utf-8")
    if progress is not None:
        progress(1.0, "done")
    return sorted(out.iterdir())


def _first(remarks: Sequence[Remark], window: Span) -> float:
    """Where tick 0 lies: at the window's start, or earlier where something reaches into it."""
    return min((one.start_s for one in remarks), default=window.start)


class _Said:
    """What was marked, found and decided on, as remarks in plain words."""

    def __init__(self, case: Case) -> None:
        from afterclamp.annotate.finds import find
        from afterclamp.annotate.marks import verdicts
        from afterclamp.annotate.phases import phases

        self._case = case
        self._phases: Sequence[Phase] = phases(case)
        self._finds: Finds = find(case)
        self._verdicts: dict[str, list[Verdict]] = verdicts(case, self._finds)

    def marks(self) -> list[Remark]:
        """Marks of every author, with the author."""
        from afterclamp.annotate.marks import marks
        from afterclamp.io.writers import Remark

        return [
            Remark(
                one.start_s,
                one.end_s,
                f"{' '.join(filter(None, (one.code, one.text)))} (mark by {one.author})",
            )
            for one in marks(self._case)
        ]

    def finds(self) -> list[Remark]:
        """Finds but those that everybody set aside; each says whether a person accepted it."""
        from afterclamp.io.writers import Remark

        told = []
        for one in self._finds:
            decisions = {verdict.words for verdict in self._verdicts.get(one.key, ())}
            if decisions == {"set aside"}:
                continue
            state = next(iter(decisions), "proposed by rule") if len(decisions) < 2 else "in dispute"
            told.append(Remark(one.start_s, one.end_s, f"{one.code} {one.name} ({state})"))
        return told

    def phases(self) -> list[Remark]:
        """Phases in force, by their plain names."""
        from afterclamp.io.writers import Remark

        return [Remark(one.start_s, one.end_s, f"phase: {phase_name(one.name)}") for one in self._phases]

    def note(self, day: date | None) -> str:
        """The footer that every export carries, and what the files hold."""
        footing = export_footing(self._case, states_of(self._case), self._verdicts, len(self._finds))
        return (
            f"{footing.text(day or date.today())}\n\n"
            "This note belongs to every file of this folder.\n\n"
            "Times are those of the reference clock, from its first sample; no date is written. Samples are as\n"
            "recorded, in the unit in force; what was not recorded is a gap or an empty cell. Finds are proposals\n"
            "until a person accepts them.\n"
            f"{numbers_note(self._case)}"
            f"{OF_EXPORTS}"
        )
