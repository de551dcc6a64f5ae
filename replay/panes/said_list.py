"""Said and written: handwritten log lines, captions and annotations, each with its own ±."""

from __future__ import annotations

from collections.abc import Iterable

from afterclamp.io.case import TimedNote
from PySide6.QtWidgets import QWidget

from ..wording import half_width
from .clock_face import ClockFace, plus_minus
from .lists import Column, ListPane, Row

COLUMNS = (
    Column("Time", "00:00:00", "When it was said or written, as far as its clock tells"),
    Column(
        "±", "± 9 s", "Half-width of a 95 % interval: of the clock, and of times in whole minutes", right=True
    ),
    Column("Words", "", "As it stands in its source"),
    Column("Source", "log", "Which file or device it is from"),
)


class SaidList(ListPane):
    """The list of lines of text."""

    def __init__(self, face: ClockFace, parent: QWidget | None = None) -> None:
        super().__init__("Said and written", COLUMNS, "No log lines or captions were brought in.", parent)
        self._face = face

    def show_notes(self, notes: Iterable[TimedNote]) -> None:
        """Show lines of text in order of time."""
        self.model.set_heading(0, self._face.unit)
        rows = []
        for number, note in enumerate(notes):
            unc = half_width(note.sd_s)
            cells = (self._face.text(note.t), plus_minus(unc), note.text, note.source)
            tip = f"{self._face.text(note.t)} {plus_minus(unc)}\n{note.text}\nfrom {note.source}"
            rows.append(
                Row(
                    f"{number}",
                    note.t,
                    note.t_end,
                    cells,
                    (note.t, unc, note.text, note.source),
                    tip,
                    item=note,
                )
            )
        self.set_rows(rows)
