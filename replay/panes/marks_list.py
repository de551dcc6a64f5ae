"""Marks: what people marked and wrote, each under its author."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from afterclamp.annotate.marks import Mark
from PySide6.QtWidgets import QWidget

from .clock_face import ClockFace, length
from .lists import Column, ListPane, Row

COLUMNS = (
    Column("Time", "00:00:00", "When it begins"),
    Column("Class", "Class "),
    Column("What", "", "Plain name of the class, and the words that were written"),
    Column("Length", "133:00 min", right=True),
    Column("Channels", "right radial", spare=True),
    Column("Sure", "100 %", "How sure its author was, 0 to 100 %", right=True, spare=True),
    Column("By", "anaesthetist", "Under whose name it is kept"),
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
    lasting = length(span) if span > 0 else mark.kind
    return Row(
        key=mark.id,
        start=mark.start_s,
        end=mark.end_s,
        cells=(face.text(mark.start_s), mark.code or "–", words, lasting, names, sure, mark.author),
        order=(
            mark.start_s,
            mark.code,
            words,
            span,
            names,
            -1 if mark.confidence is None else mark.confidence,
            mark.author,
        ),
        tip=f"{face.text(mark.start_s)}  {mark.code} {words}\nby {mark.author}; Enter goes there, Del takes it back",
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
