"""Loose ends: what was not looked for, what the log had to put right, what could not be read."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from PySide6.QtCore import QUrl, Signal
from PySide6.QtWidgets import QTextBrowser, QWidget

CLOCKS = "Clocks that nobody has set"
ASKED = "Cannot all be as it stands: phases, lines and traces"
UNEXPLAINED = "Unexplained: several lines moved, and no rule covers it (U marks one)"
FAR_AWAY = "Far from everything else: kept, but not shown"
_SET_CLOCKS = "set-clocks"
_GO = "go:"

Section = tuple[str, list[str]]


def sections(
    *,
    not_looked_for: Iterable[str] = (),
    held_back: Iterable[str] = (),
    conflicts: Iterable[str] = (),
    repairs: Iterable[str] = (),
    set_aside: Iterable[str] = (),
    far_away: Iterable[str] = (),
    clocks: Iterable[str] = (),
    asked: Iterable[str] = (),
    unexplained: Iterable[str] = (),
) -> list[Section]:
    """Headed lists, empty ones left out."""
    named = (
        ("In dispute: two edits replace the same one, the later stands meanwhile", list(conflicts)),
        (CLOCKS, list(clocks)),
        (ASKED, list(asked)),
        (UNEXPLAINED, list(unexplained)),
        (FAR_AWAY, list(far_away)),
        ("Not looked for", list(not_looked_for)),
        ("Seen and not put forward", list(held_back)),
        ("Log: put right on reading", list(repairs)),
        ("Set aside while bringing in", list(set_aside)),
    )
    return [(heading, lines) for heading, lines in named if lines]


class LooseEnds(QTextBrowser):
    """A page of headed lists.

    Signals
    -------
    clocks_wanted()
        The person wants to set the clocks that nobody has set.
    unexplained_wanted(number)
        The person wants to see one of the unexplained changes, by its place in the list.
    """

    clocks_wanted = Signal()
    unexplained_wanted = Signal(int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Loose ends")
        self.count = 0
        self.setOpenLinks(False)
        self.anchorClicked.connect(self._clicked)
        self.show_sections([])

    def show_sections(self, found: list[Section]) -> None:
        """Show these lists."""
        self.count = sum(len(lines) for _, lines in found)
        if not found:
            self.setHtml("<p>Nothing is left open.</p>")
            return
        html = []
        for heading, lines in found:
            items = "".join(f"<li>{_item(heading, at, line)}</li>" for at, line in enumerate(lines))
            link = f" <a href='{_SET_CLOCKS}'>Set clocks…</a>" if heading in (CLOCKS, FAR_AWAY) else ""
            html.append(f"<p><b>{escape(heading)}</b> ({len(lines)}){link}</p><ul>{items}</ul>")
        self.setHtml("".join(html))

    def _clicked(self, link: QUrl) -> None:
        if link.toString() == _SET_CLOCKS:
            self.clocks_wanted.emit()
        elif link.toString().startswith(_GO):
            self.unexplained_wanted.emit(int(link.toString().removeprefix(_GO)))


def _item(heading: str, at: int, line: str) -> str:
    """A line; of an unexplained change its time is a link to it."""
    if heading != UNEXPLAINED:
        return escape(line)
    time, _, rest = line.partition(": ")
    return f"<a href='{_GO}{at}'>{escape(time)}</a>: {escape(rest)}"
