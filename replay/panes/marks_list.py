"""Marks: what people marked and wrote, each under its author."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from afterclamp.annotate.finds import Find
from afterclamp.annotate.judged import no_longer_found
from afterclamp.annotate.marks import Mark
from PySide6.QtWidgets import QWidget

from ..find_words import class_words, origin_words
from .clock_face import ClockFace, length, plus_minus
from .lists import Column, ListPane, Row

COLUMNS = (
    Column("Time", "00:00:00", "When it begins"),
    Column(
        "±",
        "± 9 s",
        "What its time leaves open, 95 %: the clock of the trace that it was made on, or the find that it came from",
        right=True,
    ),
    Column("Class", "E00", "Class that it was given; Shift+K gives another", whole=True),
    Column("What", "", "Plain name of the class, and the words that were written"),
    Column("Length", "12:00 min", "From its begin to its end; a point or a note has none", right=True),
    Column("By", "reviewer", "Under whose name it is kept; “from a rule” where it came of a find"),
    Column("Channels", "femoral", "Traces that it was made on", spare=True),
    Column("Sure", "100 %", "How sure its author was, 0 to 100 %", right=True, spare=True),
)


def mark_row(
    mark: Mark,
    face: ClockFace,
    class_names: Mapping[str, str],
    channel_names: Mapping[str, str],
    gone: Sequence[str] = (),
) -> Row:
    """One mark as a row; `gone` are the keys of its finds that the rules no longer find."""
    many = len(gone)
    lost = f"; the rules no longer find {many} of {len(mark.found)}, the mark stays" if many else ""
    span = mark.end_s - mark.start_s
    # A class that another version of the program knew, or a log of other hands brought, is told as that.
    unknown = f"{mark.code} is no class of this program" if mark.code and class_names else ""
    words = ": ".join(part for part in (class_names.get(mark.code, unknown), mark.text) if part)
    words = words or ("note" if mark.kind == "note" else "not classed")
    names = ", ".join(channel_names.get(name, name.replace("_", " ")) for name in mark.channels)
    sure = "" if mark.confidence is None else f"{round(mark.confidence)} %"
    within = plus_minus(mark.unc_s)
    code = class_words(mark.code, mark.subtype)
    by = (
        f"{mark.author}, {'rule no longer finds it' if gone else 'from a rule'}"
        if mark.origin
        else mark.author
    )
    lasting = length(span) if span > 0 else mark.kind
    return Row(
        key=mark.id,
        start=mark.start_s,
        end=mark.end_s,
        cells=(face.text(mark.start_s), within, code or "–", words, lasting, by, names, sure),
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
        f"{f'{origin_words(mark)}{lost}' if mark.origin else 'made by hand'}\n"
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
        self,
        marks: Iterable[Mark],
        class_names: Mapping[str, str],
        channel_names: Mapping[str, str],
        finds: Sequence[Find] | None = None,
    ) -> None:
        """Show marks; with the finds of today each says whether the rules still find what it came from."""
        self.model.set_heading(0, self._face.unit)
        self.set_rows(
            [
                mark_row(
                    mark,
                    self._face,
                    class_names,
                    channel_names,
                    no_longer_found(mark, finds) if finds is not None else (),
                )
                for mark in marks
            ]
        )
