"""The case paper as PDF: A4, text and traces as vectors, the footer on every page.

Laid out by hand on a page of millimetres: rich text would turn the pictures into bitmaps, and its tables
neither repeat their headings nor keep a row together.
"""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QRectF
from PySide6.QtGui import QFontMetricsF, QPainter

from .clock_section import PLAIN_ROWS
from .content import CaseContent, Moment, Picture, Row, Section, Table
from .sheet import BOTTOM, FLUSH_LEFT, FLUSH_RIGHT, INK, LEFT, SOFT, TOP, WIDTH, Sheet, roomy

MOST = 0.7 * (BOTTOM - TOP)  # of a page that is kept free for the begin of a section
PICTURE_H, MORE_H = 58.0, 18.0  # with two strips, and for each one more
CLOCK_LEAST_H, CLOCK_H = 50.0, 68.0  # the traces of a clock, and with peak and residuals below: two a page
SMALL_W, SMALL_H = 58.0, 19.0  # a picture in a row of a table
OVERVIEW_LEAST_H, OVERVIEW_H = 92.0, 150.0
SHORT_FACT, LONG_LINE = 70, 130  # characters
PAD = 0.9  # on both sides of a cell
CELL, HEADING = 7.0, 6.2  # points; headings are bold and stand over narrow columns
FONTS = ((CELL, False), (HEADING, True))
LONG_WORD = 24  # letters; a longer one is broken wherever its line ends

Draw = Callable[[QPainter, QRectF, Picture], None]


def to_pdf(content: CaseContent, draw: Draw, *, tell: Callable[[float], None] | None = None) -> bytes:
    """Lay the content out on A4 pages.

    Parameters
    ----------
    content : CaseContent
        What it says.
    draw : callable
        ``draw(painter, rect, picture)`` paints a picture into a rectangle in device units.
    tell : callable, optional
        Told how far it is, from 0 to 1.

    Returns
    -------
    bytes
        A PDF file.
    """
    # "Page x of y" needs y: the same pages are laid out once without their pictures.
    total = _Paper(content, None, 0).run()[1]
    return _Paper(content, draw, total, tell).run()[0]


class _Paper(Sheet):
    """Lays content down the pages; without `draw` it only counts them."""

    def __init__(
        self,
        content: CaseContent,
        draw: Draw | None,
        total: int,
        tell: Callable[[float], None] | None = None,
    ) -> None:
        super().__init__(content.title, content.footer, total)
        self._content = content
        self._draw = draw
        self._tell = tell
        self._drawn = 0
        self._pictures = max(sum(1 for _ in content.pictures()), 1)

    def run(self) -> tuple[bytes, int]:
        """The file and how many pages it has."""
        self._p = QPainter(self._writer)
        try:
            self._new_page()
            self._head()
            for section in self._content.sections:
                self._section(section)
            self._cautions()
        finally:
            self._p.end()
        return self._data(), self._page

    # -- parts --------------------------------------------------------------------------------------

    def _head(self) -> None:
        self._text(self._content.title, 18, self._y, bold=True)
        self._y += 2
        for name, value in self._content.facts:
            self._fact(name, value, 9)
        self._y += 2

    def _section(self, section: Section) -> None:
        self._y += 5
        self._room(
            min(14 + sum(self._height(text, 9) + 1.2 for text in section.lead) + self._first(section), MOST)
        )
        self._text(section.title, 13, self._y, bold=True)
        self._rule(self._y + 0.5, INK)
        self._y += 2.5
        for paragraph in section.lead:
            self._paragraph(paragraph)
        if section.picture is not None:
            left = BOTTOM - self._y - self._height(section.picture.caption, 7.5) - 4
            self._picture(section.picture, min(max(left, OVERVIEW_LEAST_H), OVERVIEW_H))
        for table in section.tables:
            self._table(table)
        for moment in section.moments:
            self._moment(moment)
        for line in section.closing:
            self._paragraph(line, 8)

    def _first(self, section: Section) -> float:
        """Height of what must stand beneath a section's title, so that no title ends a page."""
        if section.picture is not None:
            return OVERVIEW_LEAST_H + self._height(section.picture.caption, 7.5)
        if section.tables:
            return 22.0
        return self._moment_height(section.moments[0]) if section.moments else 0.0

    def _cautions(self) -> None:
        if not self._content.cautions:
            return
        self._y += 5
        self._room(14 + self._height(self._content.cautions[0], 8, bold=True))
        self._text("Cautions", 13, self._y, bold=True)
        self._rule(self._y + 0.5, INK)
        self._y += 2.5
        for number, paragraph in enumerate(self._content.cautions):
            self._paragraph(paragraph, 8, bold=number == 0)

    def _moment(self, moment: Moment) -> None:
        self._y += 4
        facts = _lines(moment)
        self._room(min(self._moment_height(moment), BOTTOM - TOP))
        self._text(moment.heading, 10, self._y, bold=True)
        self._text(moment.when, 8.5, self._y)
        self._text(moment.state, 8, self._y, colour=SOFT)
        for fact in facts:
            self._paragraph(fact, 8, gap=0.4)
        if moment.picture is not None:
            self._picture(moment.picture, _tall(moment.picture))

    def _moment_height(self, moment: Moment) -> float:
        texts = [
            (moment.heading, 10.0),
            (moment.when, 8.5),
            *((text, 8.0) for text in (moment.state, *_lines(moment))),
        ]
        height = sum(self._height(text, size) for text, size in texts) + len(texts)
        if moment.picture is not None:
            height += _tall(moment.picture) + self._height(moment.picture.caption, 7.5) + 4
        return height

    def _picture(self, picture: Picture, height: float) -> None:
        caption = self._height(picture.caption, 7.5)
        self._room(height + caption + 3)
        self._draw_at(picture, LEFT, self._y + 1, WIDTH, height)
        self._y += height + 2
        self._text(picture.caption, 7.5, self._y, colour=SOFT)
        self._y += 1

    def _draw_at(self, picture: Picture, left: float, top: float, width: float, height: float) -> None:
        if self._draw is None:
            return
        rect = QRectF(left * self._mm, top * self._mm, width * self._mm, height * self._mm)
        self._p.save()
        self._p.setClipRect(rect)
        self._draw(self._p, rect, picture)
        self._p.restore()
        self._drawn += 1
        if self._tell is not None:
            self._tell(self._drawn / self._pictures)

    # -- tables -------------------------------------------------------------------------------------

    def _table(self, table: Table) -> None:
        if not table.rows:
            if table.empty:
                self._paragraph(table.empty)
            return
        shares = table.widths or (1.0,) * len(table.headings)
        room = WIDTH - (SMALL_W + 2 * PAD if table.pictured else 0.0)
        widths = roomy([room * share / sum(shares) for share in shares], self._longest_words(table))
        head = self._row_height(table.headings, widths, bold=True)
        first = self._height_of(table.rows[0], widths)
        self._y += 2
        self._room(self._height(table.caption, 8) + head + first + 4)
        self._text(table.caption, 8, self._y, colour=SOFT)
        self._y += 0.8
        self._heading(table, widths, head)
        for row in table.rows:
            if self._y + self._height_of(row, widths) > BOTTOM:
                self._new_page()
                self._text(f"{table.caption} (continued)", 8, self._y, colour=SOFT)
                self._y += 0.8
                self._heading(table, widths, head)
            self._row(row, widths, table.right)
        self._y += 2

    def _longest_words(self, table: Table) -> list[float]:
        """The width that each column needs so that no word of it is broken; a checksum may be."""
        cell, heading = (QFontMetricsF(self._font(size, bold), self._writer) for size, bold in FONTS)
        least = []
        for number, title in enumerate(table.headings):
            words = {word for row in table.rows for word in row.cells[number].split()}
            widths = [cell.horizontalAdvance(word) for word in words if len(word) <= LONG_WORD]
            widths += [heading.horizontalAdvance(word) for word in title.split()]
            least.append(max(widths, default=0.0) / self._mm + 2 * PAD + 0.1)
        return least

    def _height_of(self, row: Row, widths: list[float]) -> float:
        height = self._row_height(row.cells, widths)
        if row.picture is not None:
            height = max(height, SMALL_H + 1.4)
        return height + (self._height(row.note, 7, WIDTH - 4) + 1 if row.note else 0.0)

    def _row(self, row: Row, widths: list[float], right: str) -> None:
        height = self._row_height(row.cells, widths)
        self._cells(row.cells, widths, right)
        if row.picture is not None:
            height = max(height, SMALL_H + 1.4)
            self._draw_at(row.picture, LEFT + sum(widths) + PAD, self._y + 0.7, SMALL_W, SMALL_H)
        self._y += height
        if row.note:
            self._text(row.note, 7, self._y, colour=SOFT, left=LEFT + 2, width=WIDTH - 4)
            self._y += 1
        self._rule(self._y)

    def _heading(self, table: Table, widths: list[float], height: float) -> None:
        self._cells(table.headings, widths, table.right, bold=True)
        if table.pictured:
            self._text(
                table.pictured,
                HEADING,
                self._y + 0.7,
                bold=True,
                left=LEFT + sum(widths) + PAD,
                width=SMALL_W,
                advance=False,
            )
        self._y += height
        self._rule(self._y, INK)

    def _cells(self, cells: tuple[str, ...], widths: list[float], right: str, *, bold: bool = False) -> None:
        x = LEFT
        for number, (cell, width) in enumerate(zip(cells, widths, strict=True)):
            flags = FLUSH_RIGHT if right[number : number + 1] == ">" else FLUSH_LEFT
            self._text(
                cell,
                HEADING if bold else CELL,
                self._y + 0.7,
                bold=bold,
                flags=flags,
                left=x + PAD,
                width=width - 2 * PAD,
                advance=False,
            )
            x += width

    def _row_height(self, cells: tuple[str, ...], widths: list[float], *, bold: bool = False) -> float:
        heights = (
            self._height(cell, HEADING if bold else CELL, width - 2 * PAD, bold=bold)
            for cell, width in zip(cells, widths, strict=True)
        )
        return max(heights) + 1.4

    # -- words --------------------------------------------------------------------------------------

    def _fact(self, name: str, value: str, size: float) -> None:
        height = max(self._height(value, size, WIDTH - 42), self._height(name, size, 40))
        self._room(height)
        self._text(name, size, self._y, colour=SOFT, width=40, advance=False)
        self._text(value, size, self._y, left=LEFT + 42, width=WIDTH - 42, advance=False)
        self._y += height + 0.6

    def _paragraph(self, text: str, size: float = 9, *, bold: bool = False, gap: float = 1.2) -> None:
        self._room(min(self._height(text, size, bold=bold), BOTTOM - TOP))
        self._text(text, size, self._y, bold=bold)
        self._y += gap


def _tall(picture: Picture) -> float:
    """Height of a moment's picture, so that the legend of every strip has room."""
    if picture.look == "clock":
        return CLOCK_H if picture.rows > PLAIN_ROWS else CLOCK_LEAST_H
    return PICTURE_H + MORE_H * min(max(picture.rows - 2, 0), 4)


def _lines(moment: Moment) -> list[str]:
    """What stands between a moment's heading and its picture."""
    lines = _joined([f"{name}: {value}" for name, value in moment.facts])
    if moment.links:
        lines.append("See also: " + ", ".join(words for words, _ in moment.links))
    return lines


def _joined(facts: list[str]) -> list[str]:
    """Short facts side by side, so that a page holds two moments; long ones keep a line of their own."""
    lines: list[str] = []
    for fact in facts:
        if (
            lines
            and len(fact) <= SHORT_FACT
            and len(lines[-1]) + len(fact) <= LONG_LINE
            and lines[-1][-1] != "."
        ):
            lines[-1] += f" · {fact}"
        else:
            lines.append(fact)
    return lines
