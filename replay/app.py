"""Starting the desk: the application, its names, and what happens when something unforeseen does."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType

from PySide6.QtCore import QCoreApplication
from PySide6.QtWidgets import QApplication

from .desk import Desk

ORGANISATION = "afterclamp"
APPLICATION = "afterclamp"


def application() -> QApplication:
    """The one application of this process, named so that settings find their place."""
    QCoreApplication.setOrganizationName(ORGANISATION)
    QCoreApplication.setApplicationName(APPLICATION)
    existing = QApplication.instance()
    app = existing if isinstance(existing, QApplication) else QApplication(sys.argv[:1])
    app.setStyle("Fusion")
    return app


class Surprises:
    """Shows an exception that nobody foresaw in a box and keeps the window up."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._shown = 0

    def __call__(self, kind: type[BaseException], value: BaseException, trace: TracebackType | None) -> None:
        """As `sys.excepthook`."""
        traceback.print_exception(kind, value, trace)
        if issubclass(kind, KeyboardInterrupt):
            self._desk.close()
        elif self._desk.box is None:  # one box at a time, however often it comes
            self._desk.show_sentence(
                f"Something was not foreseen: {kind.__name__}: {value}. What was marked is in the log already."
                " Go on, or close the case and open it again; keep this text if it comes twice."
            )


def run(arguments: Sequence[str] = ()) -> int:
    """Open the desk, with a case if its folder is given, and stay until it is closed.

    Parameters
    ----------
    arguments : sequence of str
        At most one: the case folder.

    Returns
    -------
    int
        Exit code.
    """
    app = application()
    desk = Desk()
    sys.excepthook = Surprises(desk)
    desk.show()
    if arguments:
        desk.open_first(Path(arguments[0]))
    try:
        return app.exec()
    finally:
        sys.excepthook = sys.__excepthook__
