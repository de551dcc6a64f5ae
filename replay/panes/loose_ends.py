"""Loose ends: what was not looked for, what the log had to put right, what could not be read."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from PySide6.QtWidgets import QTextBrowser, QWidget

Section = tuple[str, list[str]]


def sections(
    *,
    not_looked_for: Iterable[str] = (),
    held_back: Iterable[str] = (),
    conflicts: Iterable[str] = (),
    repairs: Iterable[str] = (),
    set_aside: Iterable[str] = (),
    clocks: Iterable[str] = (),
) -> list[Section]:
    """Headed lists, empty ones left out."""
    named = (
        ("In dispute: two edits replace the same one, the later stands meanwhile", list(conflicts)),
        ("Clocks that nobody has set", list(clocks)),
        ("Not looked for", list(not_looked_for)),
        ("Seen and not put forward", list(held_back)),
        ("Log: put right on reading", list(repairs)),
        ("Set aside while bringing in", list(set_aside)),
    )
    return [(heading, lines) for heading, lines in named if lines]


class LooseEnds(QTextBrowser):
    """A page of headed lists."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Loose ends")
        self.count = 0
        self.show_sections([])

    def show_sections(self, found: list[Section]) -> None:
        """Show these lists."""
        self.count = sum(len(lines) for _, lines in found)
        if not found:
            self.setHtml("<p>Nothing is left open.</p>")
            return
        html = []
        for heading, lines in found:
            items = "".join(f"<li>{escape(line)}</li>" for line in lines)
            html.append(f"<p><b>{escape(heading)}</b> ({len(lines)})</p><ul>{items}</ul>")
        self.setHtml("".join(html))
