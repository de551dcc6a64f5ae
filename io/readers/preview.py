"""What the reader of tables would make of a file with the choices made so far, from its first and last lines.

Quick enough to be asked at every choice: it reads some dozens of kilobytes, never the whole file. What stands in
the way comes as sentences, and beside them everything that could be found all the same.

Example
-------
::

    seen = preview(Path("pump.csv"))
    seen.errors          # () or what a person has to say, such as the order of day and month
    seen.columns[1]      # header, label, unit as written, what it means, what the column is, first values
    seen.proposal        # every choice that was told or found, as a column map
    Path("columns.toml").write_text(to_toml(seen.proposal))
"""

from __future__ import annotations

from pathlib import Path

from ..errors import FileUnreadable
from .column_map import ColumnMap, to_toml
from .layout import Finder
from .plain_text import read_head
from .previewed import Cell, Preview, PreviewColumn, PreviewTimes
from .table_look import Look

__all__ = ["Cell", "Preview", "PreviewColumn", "PreviewTimes", "preview", "to_toml"]


def preview(path: Path, column_map: ColumnMap | None = None, rows: int = 20) -> Preview:
    """Look at a table without bringing it in.

    Parameters
    ----------
    path : Path
        The file.
    column_map : ColumnMap, optional
        The choices made so far.
    rows : int
        How many of the first rows to show.

    Returns
    -------
    Preview
        Also where the file cannot be read: `Preview.errors` says why.
    """
    told = column_map if column_map is not None and column_map.serves(path) else ColumnMap()
    try:
        head, whole = read_head(path)
        finder = Finder(path, head, whole, told)
    except FileUnreadable as cause:
        return Preview(path, "", "", "", (), 0, (), None, 0, (cause.sentence,), (), told)
    look = Look(path, told, finder, head, whole)
    if column_map is not None and told is not column_map:
        look.warnings.append(
            f"the column map is for files called {column_map.match.name!r}; this one is read without it"
        )
    return look.preview(rows)
