"""What is remembered from one sitting to the next: the cases opened lately, and who marks."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PySide6.QtCore import QSettings

DEFAULT_AUTHOR = "reviewer"
RECENT_CASES = 8


class Remembered:
    """Recent cases and the author, kept in settings of the person's own."""

    _settings: QSettings

    @property
    def recent(self) -> list[Path]:
        """Case folders opened lately, the last first."""
        stored = self._settings.value("recent")
        names = stored if isinstance(stored, list) else [stored]  # a list of one comes back as a word
        return [Path(str(name)) for name in names if name]

    def _remember(self, folder: Path) -> None:
        folder = folder.resolve()
        others = [path for path in self.recent if path != folder]
        self._settings.setValue("recent", [str(path) for path in [folder, *others][:RECENT_CASES]])

    @property
    def author(self) -> str:
        """The id that edits are kept under."""
        return str(self._settings.value("author", DEFAULT_AUTHOR))

    def _remember_author(self, author: str) -> None:
        self._settings.setValue("author", author)
