"""Finds: what the rules propose, with what a person said about each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from afterclamp.annotate.finds import Find, Finds
from PySide6.QtWidgets import QWidget

from .clock_face import ClockFace, length
from .lists import Column, ListPane, Row

COLUMNS = (
    Column("Time", "00:00:00", "When it begins"),
    Column("Code", "Code "),
    Column("What", "", "Plain name of the pattern"),
    Column("Length", "133:00 min", right=True),
    Column("Channels", "right radial, femoral", spare=True),
    Column("Plain", "plain ", "How plainly the rule's numbers are met; no probability"),
    Column("State", "in dispute", "Proposed, accepted, or set aside by a person"),
)

NOT_LOOKED = "This case has not been looked through yet."
NOTHING_FOUND = "The rules found nothing. What they could not look for stands under Loose ends."


def plainness(find: Find) -> str:
    """How plainly the rule's numbers are met, in a word."""
    return "plain" if find.confidence >= 0.8 else "fair" if find.confidence >= 0.5 else "weak"


def find_row(find: Find, face: ClockFace, state: str, channel_names: Mapping[str, str]) -> Row:
    """One find as a row."""
    names = ", ".join(channel_names.get(name, name.replace("_", " ")) for name in find.channels)
    span = find.end_s - find.start_s
    what = f"{find.name}, {names}" if find.code.startswith("A") else find.name
    cells = (face.text(find.start_s), find.code, what, length(span), names, plainness(find), state)
    return Row(
        key=find.key,
        start=find.start_s,
        end=find.end_s,
        cells=cells,
        order=(find.start_s, find.code, find.name, span, names, find.confidence, state),
        tip=f"{find.code} {find.name}\n{face.text(find.start_s)} to {face.text(find.end_s)}, {length(span)}\n"
        f"{names}\n{state}; Enter goes there, A accepts, S sets aside",
        dim=state == "set aside",
        item=find,
    )


class FindsList(ListPane):
    """The list of finds."""

    def __init__(self, face: ClockFace, parent: QWidget | None = None) -> None:
        super().__init__("Finds", COLUMNS, NOT_LOOKED, parent)
        self._face = face

    def show_finds(
        self, finds: Iterable[Find], states: Mapping[str, str], channel_names: Mapping[str, str]
    ) -> None:
        """Show finds with their states, by key of the find."""
        self.empty.setText(NOTHING_FOUND if isinstance(finds, Finds) else NOT_LOOKED)
        self.model.set_heading(0, self._face.unit)
        self.set_rows(
            [find_row(find, self._face, states.get(find.key, "proposed"), channel_names) for find in finds]
        )
