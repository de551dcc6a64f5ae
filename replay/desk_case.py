"""Commands on what a case is made of: its sources, what each line is, and their clocks.

The dialogs are imported when one is wanted: charts take longer to load than the desk itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import Qt

if TYPE_CHECKING:
    from .desk import Desk
    from .panes.clock_box import ClockBox


class CaseActions:
    """The menu Case."""

    _desk: Desk

    def show_sources(self) -> None:
        """Show the sources, what became of their files, and take one out or put it back."""
        from .panes.sources_box import SourcesBox

        session, case = self._desk.session, self._desk.session.case
        if case is None:
            return
        box = SourcesBox(lambda: case, self._desk)
        box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        box.wanted.connect(session.take_in_or_out)
        self._desk.open_box(box)

    def name_lines(self) -> None:
        """Show what each channel is taken for, and settle it."""
        from .panes.name_lines import NameLinesBox

        case = self._desk.session.case
        if case is None:
            return
        box = NameLinesBox(case, self._desk)
        box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        box.settled.connect(self._desk.session.name_lines)
        self._desk.open_box(box)

    def set_clocks(self) -> None:
        """Show every source's clock and set those that need it."""
        self._clock_box()

    def align_clocks(self) -> None:
        """Show every source's clock, and look at once for what the evidence says of those that nobody set."""
        box = self._clock_box()
        if box is not None:
            box.look()

    def _clock_box(self) -> ClockBox | None:
        from .panes.clock_box import ClockBox

        case = self._desk.session.case
        if case is None:
            return None
        box = ClockBox(case, self._desk)
        box.taken.connect(self._desk.session.set_clocks)
        box.bench_wanted.connect(self._to_bench)
        self._desk.open_box(box)
        return box

    def _to_bench(self, source: str) -> None:
        """From the list of clocks to one source's traces."""
        if self._desk.box is not None:
            self._desk.box.reject()
        self.clock_bench(source)

    def clock_bench(self, source: str = "") -> None:
        """Lay one source's trace on another and drag it right."""
        from .panes.clock_bench import ClockBench

        session = self._desk.session
        if session.case is None:
            return
        bench = ClockBench(session.case, write=self._desk.face.text, parent=self._desk)
        if source:
            bench.source.setCurrentText(source)
        bench.taken.connect(lambda payload: session.set_clocks([payload]))
        bench.undo_asked.connect(self._desk.does.undo)
        session.edited.connect(bench.refresh)
        bench.finished.connect(bench.deleteLater)
        self._desk.open_box(bench)
