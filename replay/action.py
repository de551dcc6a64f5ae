"""What a command of the desk is: its words, its key, what it does; and the menus that commands stand in."""

from __future__ import annotations

from dataclasses import dataclass

MENUS: tuple[tuple[str, str], ...] = (
    ("file", "&File"),
    ("case", "&Case"),
    ("move", "&Move"),
    ("mark", "Ma&rk"),
    ("finds", "Fi&nds"),
    ("view", "&View"),
    ("help", "&Help"),
)


@dataclass(frozen=True, slots=True)
class Action:
    """One command.

    Attributes
    ----------
    id : str
        Stable name, also the object name of its QAction.
    menu : str
        Which of `MENUS` it stands in.
    text : str
        Menu text, with its access letter.
    keys : tuple of str
        In Qt's portable spelling; the first is the one shown.
    tip : str
        What it does, in one sentence without a full stop.
    method : str
        Method of `DeskActions`, called without arguments.
    short : str
        Text on the toolbar; empty: not on the toolbar.
    needs_case : bool
        Greyed while no case is open.
    group : int
        A line is drawn between groups of a menu, and of the toolbar.
    """

    id: str
    menu: str
    text: str
    keys: tuple[str, ...]
    tip: str
    method: str
    short: str = ""
    needs_case: bool = True
    group: int = 0

    @property
    def words(self) -> str:
        """The text without access letter and dots, for lists and spoken names."""
        return self.text.replace("&", "").removesuffix("…")

    @property
    def tooltip(self) -> str:
        """What it does, with the key."""
        key = f" ({' or '.join(self.keys)})" if self.keys else ""
        return f"{self.tip}{key}"
