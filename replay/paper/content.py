"""What a case paper holds, as words and numbers ready to print: one content, written as HTML and as PDF.

Every text here is final. A writer lays it out and computes nothing, so that both forms say the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from afterclamp.io.case import Span

Look = Literal["strips", "overview", "small", "clock"]


@dataclass(frozen=True, slots=True)
class ClockEvidence:
    """What a picture of a source's clock shows.

    Attributes
    ----------
    source : str
    own : str
        Id of its trace; empty for a source of text, whose lines are shown.
    known : str
        Id of the trace of another source that it is laid on.
    curve : tuple of (float, float)
        Seconds ahead, and how well they fit; empty where it was not worked out again.
    curve_name : str
    points : tuple of (float, float, float, bool)
        Reference seconds, seconds later than the clock says, standard deviation (infinite where not known)
        and whether it was used.
    not_used : tuple of str
        Lines of text that fit nothing.
    """

    source: str
    own: str
    known: str
    curve: tuple[tuple[float, float], ...] = ()
    curve_name: str = ""
    points: tuple[tuple[float, float, float, bool], ...] = ()
    not_used: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table.

    Attributes
    ----------
    cells : tuple of str
        One a column.
    key : str
        Under which other places point to this row; empty when none does.
    link : str
        Key of what the first cell points to; empty when it points nowhere.
    note : str
        A sentence that belongs under the row, over its whole width.
    picture : Picture or None
        Small, in a column of its own after the cells.
    """

    cells: tuple[str, ...]
    key: str = ""
    link: str = ""
    note: str = ""
    picture: Picture | None = None


@dataclass(frozen=True, slots=True)
class Table:
    """A table with a caption.

    Attributes
    ----------
    caption : str
        What it shows.
    headings : tuple of str
        One a column, with units.
    rows : tuple of Row
    right : str
        One character a column: ``">"`` flush right, anything else left.
    widths : tuple of float
        Shares of the page's width on paper; equal when empty.
    empty : str
        A sentence that is said instead when there is no row.
    pictured : str
        Heading of the column of small pictures; empty where the table has none.
    """

    caption: str
    headings: tuple[str, ...]
    rows: tuple[Row, ...]
    right: str = ""
    widths: tuple[float, ...] = ()
    empty: str = ""
    pictured: str = ""


@dataclass(frozen=True, slots=True)
class Picture:
    """A piece of the traces.

    Attributes
    ----------
    span : Span
        What is shown.
    marked : Span or None
        What the picture is about.
    channels : tuple of str
        Ids of the channels that must be in it; all when empty.
    alt : str
        What it shows, in words, for those who can't see it.
    caption : str
        Under the picture; empty under a small one.
    rows : int
        How many strips it has, where that is known: more than two need more height.
    look : str
        ``"strips"``, ``"overview"`` (each kind of phase in a row of its own), ``"small"`` (one trace, no legend) or
        ``"clock"`` (two traces laid on each other, before and after the clock was set).
    clock : ClockEvidence or None
        Of the last look.
    """

    span: Span
    marked: Span | None
    channels: tuple[str, ...]
    alt: str
    caption: str
    rows: int = 2
    look: Look = "strips"
    clock: ClockEvidence | None = None


@dataclass(frozen=True, slots=True)
class Moment:
    """A find or a mark on its own: facts, evidence, picture.

    Attributes
    ----------
    key : str
        Under which tables and other moments point to it.
    heading : str
        Code and plain name.
    when : str
        Times with their ±, and length.
    state : str
        Proposed, accepted, set aside, or who marked it.
    facts : tuple of (str, str)
        Name and value.
    links : tuple of (str, str)
        Words and key of other moments.
    picture : Picture or None
    """

    key: str
    heading: str
    when: str
    state: str
    facts: tuple[tuple[str, str], ...] = ()
    links: tuple[tuple[str, str], ...] = ()
    picture: Picture | None = None


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the paper.

    Attributes
    ----------
    title : str
    lead : tuple of str
        Paragraphs before anything else.
    picture : Picture or None
        One picture of the whole, after the lead.
    tables : tuple of Table
    moments : tuple of Moment
    closing : tuple of str
        Lines after everything else.
    """

    title: str
    lead: tuple[str, ...] = ()
    picture: Picture | None = None
    tables: tuple[Table, ...] = ()
    moments: tuple[Moment, ...] = ()
    closing: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """Under which the contents list points here."""
        return "part-" + "".join(c if c.isalnum() else "-" for c in self.title.lower())


@dataclass(frozen=True, slots=True)
class CaseContent:
    """The whole case paper.

    Attributes
    ----------
    title : str
    facts : tuple of (str, str)
        What stands at the head: patient facts, record, believed site.
    sections : tuple of Section
    cautions : tuple of str
        Paragraphs.
    footer : str
        At the foot of every page.
    """

    title: str
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]
    footer: str

    def pictures(self) -> Iterator[Picture]:
        """Every picture, in order."""
        for section in self.sections:
            if section.picture is not None:
                yield section.picture
            for table in section.tables:
                yield from (row.picture for row in table.rows if row.picture is not None)
            for moment in section.moments:
                if moment.picture is not None:
                    yield moment.picture
