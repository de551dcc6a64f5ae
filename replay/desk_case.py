"""Commands on what a case is made of: its sources, what each line is, and their clocks.

The dialogs are imported when one is wanted: charts take longer to load than the desk itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt

from .longwork import LongWork, unpack

if TYPE_CHECKING:
    from afterclamp.annotate.align import ClockEstimate

    from .desk import Desk
    from .panes.clock_bench import ClockBench
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

    def trust_site(self) -> None:
        """Ask which arterial line is believed, and from when to when; filled in from what is selected."""
        from .panes.trust_box import TrustBox

        desk = self._desk
        strip, pane = desk.session.trust, desk.views.trust
        if strip is None or not strip.lines:
            desk.say(pane.words()[:1].upper() + pane.words()[1:] + ".")
            return
        stretch = pane.chosen_stretch
        box = TrustBox(strip, desk.face, pane.line, stretch.start, stretch.end, desk)
        box.taken.connect(desk.session.believe)
        desk.open_box(box)

    def show_site_changes(self) -> None:
        """Show the figures that another arterial line would change: these alone, the first of them chosen."""
        from .panes.figures_list import ANOTHER_LINE

        desk = self._desk
        desk.does.to_figures()
        if desk.views.trust.changes:
            desk.figures.filter.setText(ANOTHER_LINE)
            desk.figures.select(desk.figures.shown()[0].key)

    def to_trust(self) -> None:
        """Keyboard to the trust strip."""
        self._desk.views.trust.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def show_limits(self) -> None:
        """Show the limits in force; what is chosen there is kept once what it changes has been listed."""
        from .limit_files import default_folder
        from .panes.limits_box import LimitsBox

        session = self._desk.session
        if session.case is None:
            return
        box = LimitsBox(session.case, session.author, default_folder(), self._desk)
        box.taken.connect(session.set_limits)
        box.refused.connect(session.refused)
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
        """From the list of clocks to one source's traces, with what the evidence said there."""
        from .panes.clock_box import ClockBox

        box = self._desk.box
        found = box.found if isinstance(box, ClockBox) else {}
        if box is not None:
            box.reject()
        self._open_bench(source, found)

    def clock_bench(self) -> None:
        """Lay one source's trace on another and drag it right."""
        self._open_bench("", {})

    def _open_bench(self, source: str, found: Mapping[str, ClockEstimate]) -> None:
        from .panes.clock_bench import ClockBench

        session = self._desk.session
        if session.case is None:
            return
        bench = ClockBench(session.case, found, write=self._desk.face.text, parent=self._desk)
        if source:
            bench.source.setCurrentText(source)
        bench.taken.connect(lambda payload: session.set_clocks([payload]))
        bench.undo_asked.connect(self._desk.does.undo)
        bench.look_asked.connect(lambda name: self._look_for_clock(bench, name))
        session.edited.connect(bench.refresh)
        bench.finished.connect(bench.deleteLater)
        self._desk.open_box(bench)

    def _look_for_clock(self, bench: ClockBench, source: str) -> None:
        """Look for one source's clock in a process of its own; asked again while it looks, stop."""
        case = self._desk.session.case
        running = bench.findChild(LongWork)
        if running is not None:
            running.drop()  # it only reads
            running.setParent(None)
            running.deleteLater()
            bench.show_search("Stopped; nothing of it was kept.", running=False)
            return
        if case is None:
            return
        work = LongWork({"task": "clocks", "case": str(case.folder), "sources": [source]}, bench)

        def ended(words: str) -> None:
            work.setParent(None)
            work.deleteLater()
            bench.show_search(words, running=False)

        def looked(packed: str) -> None:
            ended("")
            bench.set_estimates({one.source: one for one in unpack(packed)})

        work.progressed.connect(
            lambda what, share: bench.show_search(f"{what} ({100 * share:.0f} %)", running=True)
        )
        work.done.connect(looked)
        work.sentence.connect(ended)
        bench.finished.connect(work.drop)
        bench.show_search("Looking for the clock", running=True)
        work.start()
