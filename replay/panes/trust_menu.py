"""What can be done with a stretch of the trust strip."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from afterclamp.annotate.trust import TrustStrip
from afterclamp.io.case import Span
from PySide6.QtWidgets import QMenu, QWidget

from .trust_edits import Payload, back, trusted


def trust_menu(
    strip: TrustStrip,
    line: str,
    stretch: Span | None,
    times: Callable[[Span], str],
    give: Callable[[Payload], None],
    ask: Callable[[], None],
    parent: QWidget,
) -> QMenu:
    """A menu for one line and one stretch.

    Parameters
    ----------
    strip : TrustStrip
    line : str
        Name of the line.
    stretch : Span, optional
        What is selected, or the span under the pointer.
    times : callable
        Writes a stretch.
    give : callable
        Takes the payload of the ``believe`` edit that was chosen.
    ask : callable
        Asks for line and times.
    parent : QWidget
    """
    words = strip.words(line)
    menu = QMenu(words, parent)
    if stretch is not None:
        menu.addAction(
            f"&Trust {words} from {times(stretch)}",
            partial(give, trusted(strip, line, stretch.start, stretch.end)),
        )
    menu.addAction("Trust a line from … to …", ask)
    found = strip.line(line)
    if found is not None:
        menu.addAction(f"Trust {words} for the &whole case", partial(give, {"site": found.token}))
    menu.addSeparator()
    if stretch is not None:
        action = menu.addAction(
            f"&Back to the proposal from {times(stretch)}",
            partial(give, back(strip, stretch.start, stretch.end)),
        )
        action.setEnabled(
            any(one.start_s < stretch.end and one.end_s > stretch.start for one in strip.chosen)
        )
    whole = menu.addAction("Back to the proposal for the whole &case", partial(give, {"proposal": True}))
    whole.setEnabled(any(one.by for one in strip.spans))
    return menu
