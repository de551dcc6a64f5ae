"""Marks: what people marked and wrote, each under its author."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from afterclamp.annotate.marks import Mark
from PySide6.QtWidgets import QWidget

from .clock_face import ClockFace, length, plus_minus
from .lists import Column, ListPane, Row

COLUMNS = (
    Column("Time", "00:00:00", "When it begins"),
    Column(
        "±",
        "± 9 s",
        "What the clock of the trace that it was made on leaves its time, 95 %; nothing on the reference clock",
        right=True,
    ),
    Column("Class", "E00", "Class that it was given; Shift+K gives another"),
    Column("What", "", "Plain name of the class, and the words that were written"),
    Column("Length", "12:00 min", "From its begin to its end; a point or a note has none", right=True),
    Column("By", "reviewer", "Under whose name it is kept"),
    Column("Channels", "femoral", "Traces that it was made on", spare=True),
    Column("Sure", "100 %", "How sure its author was, 0 to 100 %", right=True, spare=True),
)


def mark_row(
    mark: Mark, face: ClockFace, class_names: Mapping[str, str], channel_names: Mapping[str, str]
) -> Row:
    """One mark as a row."""
    span = mark.end_s - mark.start_s
    words = ": ".join(part for part in (class_names.get(mark.code, ""), mark.text) if part)
    words = words or ("note" if mark.kind == "note" else "not classed")
    names = ", ".join(channel_names.get(name, name.replace("_", " ")) for name in mark.channels)
    sure = "" if mark.confidence is None else f"{round(mark.confidence)} %"
    within = plus_minus(mark.unc_s)
    lasting = length(span) if span > 0 else mark.kind
    return Row(
        key=mark.id,
        start=mark.start_s,
        end=mark.end_s,
        cells=(face.text(mark.start_s), within, mark.code or "–", words, lasting, mark.author, names, sure),
        order=(
            mark.start_s,
            mark.unc_s,
            mark.code,
            words,
            span,
            mark.author,
            names,
            -1 if mark.confidence is None else mark.confidence,
        ),
        tip=f"{' '.join(part for part in (face.text(mark.start_s), within, mark.code, words) if part)}\n"
        f"{', '.join(part for part in (lasting, names, sure and f'{sure} sure') if part)}\n"
        f"by {mark.author}; Enter goes there, Del takes it back",
        item=mark,
    )


class MarksList(ListPane):
    """The list of marks."""

    def __init__(self, face: ClockFace, parent: QWidget | None = None) -> None:
        empty = "No marks yet: M marks a point, [ and ] a span, N writes a note at the playhead."
        super().__init__("Marks", COLUMNS, empty, parent)
        self._face = face

    def show_marks(
        self, marks: Iterable[Mark], class_names: Mapping[str, str], channel_names: Mapping[str, str]
    ) -> None:
        """Show marks."""
        self.model.set_heading(0, self._face.unit)
        self.set_rows([mark_row(mark, self._face, class_names, channel_names) for mark in marks])
