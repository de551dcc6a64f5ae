"""The case paper: one content, written as HTML or as PDF."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from afterclamp.io.whole import written_whole

if TYPE_CHECKING:
    from afterclamp.annotate.limits import LimitSet
    from afterclamp.io.case import Case

SUFFIXES = (".html", ".htm", ".pdf")


def write_paper(
    case: Case,
    out: Path,
    *,
    believe: str | None = None,
    limits: LimitSet | None = None,
    day: date | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> None:
    """Write the case paper to a file; one that was there is replaced when the new one is whole.

    Parameters
    ----------
    case : Case
        The case, or a view of it up to some time.
    out : Path
        Ends in ``.html`` or ``.pdf``.
    believe : str, optional
        Arterial site to go by.
    limits : LimitSet, optional
        Limits in force.
    day : date, optional
        For the footer; today when None. The same day, case and program give the same HTML bytes.
    progress : callable, optional
        ``progress(share, text)``, share from 0 to 1.

    Raises
    ------
    ValueError
        When the file name ends in neither.
    CannotWrite
        When the file cannot be written; what was there is left.
    """
    suffix = out.suffix.lower()
    if suffix not in SUFFIXES:
        raise ValueError(f"{out.name} must end in .html or .pdf")
    from .gather import gather
    from .pictures import Painter, application, png_of_all

    tell = progress or _silent
    tell(0.0, "looking for phases, finds and figures")
    gathered = gather(case, believe=believe, limits=limits, day=day or date.today())
    application()
    painter = Painter(
        case, phases=gathered.phases, finds=gathered.finds, marks=gathered.marks, masked=gathered.masked
    )

    def drawn(share: float) -> None:
        tell(0.5 + share / 2, "drawing")

    if suffix == ".pdf":
        from .pdf import to_pdf

        data = to_pdf(gathered.content, painter.paint, tell=drawn)
    else:
        from .html import to_html

        data = to_html(
            gathered.content, png_of_all(painter, list(gathered.content.pictures()), drawn)
        ).encode()
    _put(out, data)
    tell(1.0, "done")


def _put(out: Path, data: bytes) -> None:
    with written_whole(
        out,
        replacing=True,
        what="the case paper could not be written",
        todo="Make room or get permission to write there, or choose another place",
    ) as partial:
        partial.write_bytes(data)


def _silent(share: float, text: str) -> None:
    """Nobody wants to know how far it is."""
