"""Loose ends: what was not looked for, what the log had to put right, what could not be read."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

from PySide6.QtCore import QUrl, Signal
from PySide6.QtWidgets import QTextBrowser, QWidget

CLOCKS = "Clocks that nobody has set"
ASKED = "Cannot all be as it stands: phases, lines and traces"
UNEXPLAINED = "Unexplained: several lines moved, and no rule covers it (U marks one)"
FAR_AWAY = "Far from everything else: kept, but not shown"
_SET_CLOCKS = "set-clocks"
_GO = "go:"

DISPUTED = "In dispute: people said different things, and nobody has settled it"


@dataclass(frozen=True, slots=True)
class Timed:
    """A line that speaks of moments.

    Attributes
    ----------
    words : str
    times : tuple of (str, float)
        Each as it is written in the words, and its reference seconds: it can be gone to.
    """

    words: str
    times: tuple[tuple[str, float], ...] = ()


Line = str | Timed
Section = tuple[str, list[Line]]


def sections(
    *,
    not_looked_for: Iterable[Line] = (),
    held_back: Iterable[Line] = (),
    conflicts: Iterable[Line] = (),
    repairs: Iterable[Line] = (),
    set_aside: Iterable[Line] = (),
    far_away: Iterable[Line] = (),
    clocks: Iterable[Line] = (),
    asked: Iterable[Line] = (),
    unexplained: Iterable[Line] = (),
) -> list[Section]:
    """Headed lists, empty ones left out."""
    named: tuple[tuple[str, list[Line]], ...] = (
        (DISPUTED, list(conflicts)),
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
    jumped(t)
        A time in a line was chosen.
    """

    clocks_wanted = Signal()
    jumped = Signal(float)
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
        elif link.scheme() == "t":
            self.jumped.emit(float(link.path()))


def _item(heading: str, at: int, line: Line) -> str:
    """A line; its times are links to them, of an unexplained change to the change."""
    if isinstance(line, Timed):
        return _linked(line)
    if heading != UNEXPLAINED:
        return escape(line)
    time, _, rest = line.partition(": ")
    return f"<a href='{_GO}{at}'>{escape(time)}</a>: {escape(rest)}"


def _linked(line: Timed) -> str:
    out, rest = [], line.words
    for text, t in line.times:
        before, found, after = rest.partition(text)
        if found:  # else the words leave it out
            out.append(f"{escape(before)}<a href='t:{t:.3f}'>{escape(text)}</a>")
            rest = after
    return "".join(out) + escape(rest)
