"""Finds: what the rules propose, with what a person said about each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from afterclamp.annotate.finds import Find, Finds
from PySide6.QtWidgets import QWidget

from .clock_face import ClockFace, length, within
from .lists import Column, ListPane, Row

COLUMNS = (
    Column("Time", "00:00:00", "When it begins"),
    Column(
        "±",
        "± 9 s",
        "What its times leave open, 95 %: the clocks of its channels, and the second that a rule goes by",
        right=True,
    ),
    Column("Code", "E00", "Class of the pattern; the catalogue has its rule"),
    Column("What", "", "Plain name of the pattern"),
    Column("Length", "12:00 min", "From its begin to its end", right=True),
    Column("State", "proposed", "Proposed, accepted, or set aside by a person; A accepts, S sets aside"),
    Column("Plain", "plain", "How plainly the rule's numbers are met; no probability", spare=True),
    Column("Channels", "femoral", "What it was found on", spare=True),
)

PROPOSED = "proposed"
NAMED = 2  # channels that are named before the rest is counted

NOT_LOOKED = "This case has not been looked through yet."
NOTHING_FOUND = "The rules found nothing. What they could not look for stands under Loose ends."


def plainness(find: Find) -> str:
    """How plainly the rule's numbers are met, in a word."""
    return "plain" if find.confidence >= 0.8 else "fair" if find.confidence >= 0.5 else "weak"


def find_row(find: Find, face: ClockFace, state: str, channel_names: Mapping[str, str]) -> Row:
    """One find as a row."""
    each = [channel_names.get(name, name.replace("_", " ")) for name in find.channels]
    every = ", ".join(each)
    names = every if len(each) <= NAMED + 1 else f"{', '.join(each[:NAMED])} and {len(each) - NAMED} more"
    span = find.end_s - find.start_s
    what = f"{find.name}, {names}" if find.code.startswith("A") else find.name
    doubt = within(find.unc_s)
    cells = (face.text(find.start_s), doubt, find.code, what, length(span), state, plainness(find), names)
    return Row(
        key=find.key,
        start=find.start_s,
        end=find.end_s,
        cells=cells,
        order=(find.start_s, find.unc_s, find.code, find.name, span, state, find.confidence, names),
        tip=f"{find.code} {find.name}\n"
        f"{face.text(find.start_s)} to {face.text(find.end_s)} {doubt}, {length(span)}\n"
        f"{every}, {plainness(find)}\n{state}; Enter goes there, A accepts, S sets aside"
        f"{' and lets its seconds count' if find.code.startswith('A') else ''}, Ctrl+Z takes that back",
        dim=state == "set aside",
        item=find,
    )


class FindsList(ListPane):
    """The list of finds.

    Attributes
    ----------
    not_reviewed : int
        Finds that nobody has accepted or set aside.
    """

    def __init__(self, face: ClockFace, parent: QWidget | None = None) -> None:
        super().__init__("Finds", COLUMNS, NOT_LOOKED, parent)
        self._face = face
        self.not_reviewed = 0

    @property
    def title(self) -> str:
        """For the tab: how many nobody has judged yet, of how many."""
        many = len(self.model.rows)
        if not many:
            return "Finds"
        return f"Finds {self.not_reviewed} of {many}" if self.not_reviewed else f"Finds {many}"

    @property
    def title_tip(self) -> str:
        """What the numbers of `title` count."""
        many = len(self.model.rows)
        return (
            f"{self.not_reviewed} of {many} finds nobody has accepted (A) or set aside (S) yet"
            if many
            else ""
        )

    def show_finds(
        self, finds: Iterable[Find], states: Mapping[str, str], channel_names: Mapping[str, str]
    ) -> None:
        """Show finds with their states, by key of the find."""
        self.say_why_empty(NOTHING_FOUND if isinstance(finds, Finds) else NOT_LOOKED)
        self.model.set_heading(0, self._face.unit)
        rows = [find_row(find, self._face, states.get(find.key, PROPOSED), channel_names) for find in finds]
        self.not_reviewed = sum(1 for row in rows if row.item.key not in states)
        self.set_rows(rows)
