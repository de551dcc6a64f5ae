"""The desk: one window with the three views, the phase ladder, the reading card and the lists.

It holds no clinical logic: it asks the session, shows what it is told, and passes on what is pressed.
Every command comes from `actions.ACTIONS`; the window itself is put together in `desk_frame`.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from afterclamp.annotate.finds import Finds
from afterclamp.annotate.site_changes import what_another_site_changes
from afterclamp.io.case import Span
from PySide6.QtCore import QSettings, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QShowEvent

from .actions import ACTIONS
from .desk_actions import DeskActions
from .desk_frame import DeskFrame
from .mask_words import state_words
from .panes.clock_face import number
from .panes.lists import Row
from .panes.masks_list import masked_words
from .panes.sheets import CautionsBox, cautions_read
from .panes.why_card import Beside
from .session import Session
from .sound import Sound

_NOT_AS_THEY_WERE = {"changed": "changed since", "missing": "not where they were"}


class Desk(DeskFrame):
    """The main window.

    Parameters
    ----------
    settings : QSettings, optional
        Where window, folders, author and the like are remembered; the person's own by default.

    Attributes
    ----------
    code : str
        Class that the next mark is given; it holds for one mark only.
    """

    def __init__(self, settings: QSettings | None = None) -> None:
        super().__init__(settings if settings is not None else QSettings())
        self.session = Session(self.settings, self)
        self.code = ""
        self.sound = Sound(self.playhead, self)
        self.does = DeskActions(self)
        self._after_cautions: Callable[[], object] | None = None
        self._drawn_finds: list[str] | None = None
        self._connect()
        self.restore()
        self._case_changed()

    def _connect(self) -> None:
        session = self.session
        session.case_changed.connect(self._case_changed)
        session.edited.connect(self._edited)
        session.marks_changed.connect(self._marks_changed)
        session.masks_changed.connect(self._masks_changed)
        session.looked.connect(self._looked)
        session.progressed.connect(self.show_progress)
        session.progressed.connect(self._title_figures)
        session.said.connect(self.say)
        session.refused.connect(self.show_sentence)
        self.command.connect(lambda method: getattr(self.does, method)())
        self.playhead.moved.connect(self._moved)
        self.playhead.state_changed.connect(self._play_state)
        self.sound.said.connect(self.show_sentence)
        self.face.changed.connect(self._write_lists)
        self.views.span_selected.connect(self._span_drawn)
        self.views.picked.connect(self._picked)
        self.views.ladder.phase_set.connect(session.set_phase)
        self.views.ladder.said.connect(self.say)
        self.views.trust.believed.connect(session.believe)
        self.views.trust.said.connect(self.say)
        self.views.trust.box_wanted.connect(self.does.trust_site)
        self.views.trust.changes_wanted.connect(self.does.show_site_changes)
        for view in self.views.views:
            view.zoomed.connect(lambda _, view=view: self._zoomed(view.accessibleName(), view.span))
        for pane in (self.marks, self.finds, self.figures, self.said, self.masks):
            pane.jumped.connect(self.go_to)
        self.finds.selected.connect(self._show_why)
        self.figures.runs_chosen.connect(self.views.set_shaded)
        self.figures.selected.connect(self._show_dose)
        self.views.dose.said.connect(self.say)
        self.figures.limits_wanted.connect(self.does.show_limits)
        self.why.jumped.connect(self.views.jump)
        self.unset_clocks.wanted.connect(self.does.set_clocks)
        self.loose_ends.clocks_wanted.connect(self.does.set_clocks)
        self.loose_ends.unexplained_wanted.connect(self.does.show_unexplained)
        self.loose_ends.jumped.connect(self.views.jump)
        self.originals.wanted.connect(self.does.show_sources)
        self.shelf.bring_in.clicked.connect(self.does.choose_exports)
        self.shelf.open.clicked.connect(self.does.choose_case)
        self.shelf.demo.clicked.connect(self.does.open_demo)
        self.shelf.case_wanted.connect(lambda folder: self.does.open_case(Path(folder)))

    def closeEvent(self, event: QCloseEvent) -> None:
        """Remember the window and let go of case and work."""
        self.remember()
        self.playhead.pause()
        if self.does.errand is not None:
            self.does.errand.leave()
        self.session.close()
        super().closeEvent(event)

    # -- first start --------------------------------------------------------------------------------

    def showEvent(self, event: QShowEvent) -> None:
        """Show the cautions once before anything else can be done."""
        super().showEvent(event)
        if not cautions_read(self.settings) and self.box is None:
            QTimer.singleShot(0, self, self.ask_cautions)

    def ask_cautions(self) -> None:
        """The cautions, to be read and accepted; without that the program closes."""
        box = CautionsBox(self.settings, must_accept=True, parent=self)
        box.rejected.connect(self.close)
        box.accepted.connect(self._cautions_accepted)
        self.open_box(box)

    def open_first(self, folder: Path) -> None:
        """Open a case as soon as the cautions have been read: no trace is shown before."""
        if cautions_read(self.settings):
            self.does.open_case(folder)
        else:
            self._after_cautions = lambda: self.does.open_case(folder)

    def _cautions_accepted(self) -> None:
        then, self._after_cautions = self._after_cautions, None
        if then is not None:
            QTimer.singleShot(0, self, then)

    # -- what is shown ------------------------------------------------------------------------------

    def _case_changed(self) -> None:
        case = self.session.case
        self.playhead.pause()
        self.does.span_from = None
        self.code = ""
        self._drawn_finds = None
        self.pages.setCurrentWidget(self.open_page if case is not None else self.shelf)
        self.setWindowTitle(f"{case.name} – afterclamp" if case is not None else "afterclamp")
        self.face.forget_moment()
        self.face.set_start(case.start_clock if case is not None else None)
        self.sound.set_case(case)
        if case is not None:
            self.playhead.set_bounds(case.span.start, case.span.end)
            self.playhead.seek(case.span.start)
        self.views.set_case(case)
        self.card.set_case(case)
        self.views.set_notes(case.notes if case is not None else ())
        for action in ACTIONS:
            self.actions_by_id[action.id].setEnabled(case is not None or not action.needs_case)
        for widget in (self.masking, self.speed, self.class_name):
            widget.setVisible(case is not None)
        self.shelf.show_recent(self.session.recent)
        for bar in (self.unset_clocks, self.originals):
            bar.forget()
        self._show_clocks()
        self._marks_changed()
        self._masks_changed()
        self._looked("")
        self._moved(self.playhead.time)
        self._play_state()
        if case is not None:
            self.tabs.setCurrentWidget(self.marks if self.session.marks else self.finds_page)
            self.views.long.setFocus(Qt.FocusReason.OtherFocusReason)

    def _edited(self) -> None:
        case = self.session.case
        if case is not None:
            self.face.set_start(case.start_clock)
            self.playhead.set_bounds(case.span.start, case.span.end)
            self.views.refresh_case(case)
            self.views.set_notes(case.notes)
            self.card.set_case(case)
            self.sound.set_case(case)
            self._drawn_finds = None
            self._show_clocks()

    def _show_clocks(self) -> None:
        """Say how many clocks nobody has set: their times may be wrong by minutes or hours."""
        unset, case = self.session.unset_clocks, self.session.case
        if not unset or case is None:
            self.unset_clocks.say("")
            return
        count = len(case.sources) - 1  # the reference has none to set
        are = "clock is" if count == 1 else "clocks are"
        self.unset_clocks.say(
            f"{len(unset)} of {count} {are} not set: times between sources cannot be compared.",
            f"Not set: {', '.join(unset)}. Their times may be wrong by minutes or hours, and so may every find, "
            "phase and figure that needs two sources.",
        )

    def _show_originals(self) -> None:
        """Say which of the original exports are not on this machine as they were read."""
        told = []
        for state, words in _NOT_AS_THEY_WERE.items():
            names = dict.fromkeys(one.name for one in self.session.originals if one.state == state)
            if names:
                told.append(f"{words}: {', '.join(names)}")
        self.originals.say(
            f"Originals {'; '.join(told)}. The case holds them as they were read." if told else "",
            "\n".join(f"{one.name}: {one.state}, {one.path}" for one in self.session.originals),
        )

    def _marks_changed(self) -> None:
        if self.session.case is not None:
            self.views.set_marks(self.session.marks)
            self.views.trust.set_strip(self.session.trust)
            self._show_finds()
        self._write_lists()

    def _masks_changed(self) -> None:
        """Hatch, list and grey what is masked, and say everywhere whether it is left in."""
        case, masks = self.session.case, self.session.masks
        spans = masks.in_force(case) if case is not None else {}
        drawn = masks.drawn(case) if case is not None else {}
        self.views.set_masked(drawn, spans, raw=masks.raw)
        self.card.set_masked(spans, raw=masks.raw)
        self._list_masks()

    def _list_masks(self) -> None:
        case, masks = self.session.case, self.session.masks
        spans = masks.in_force(case) if case is not None else {}
        self.masks.show_masks(case.channels if case is not None else (), spans)
        self.masks_heading.setText(f"Masks: {masked_words(spans)}{', left in (raw)' if masks.raw else ''}")
        self.masking.setText("<b>RAW: artefacts left in</b> (R)" if masks.raw else "masked (R)")
        self.masking.setToolTip(f"{state_words(masks.raw)}; {masked_words(spans)}. R changes it")

    def _looked(self, name: str) -> None:
        if name in ("", "originals"):
            self._show_originals()
        if name in ("", "phases"):
            self.views.set_phases(self.session.phases)
        if name in ("", "trust strip"):
            self.views.trust.set_strip(self.session.trust)
        if name in ("", "finds"):
            self._drawn_finds = None
            self._show_finds()
        if name in ("", "figures"):
            self.figures.show_figures(self.session.figures)
            self.views.dose.set_figures(self.session.figures)
            self._show_dose()
            self.views.trust.set_changes(what_another_site_changes(None, self.session.figures))
        if name == "phases":
            self._to_first_event()
        self._write_lists()

    def _show_finds(self) -> None:
        """Draw the finds that nobody set aside."""
        live = self.session.live_finds
        keys = [find.key for find in live]
        if keys != self._drawn_finds:
            self._drawn_finds = keys
            self.views.set_finds(live)

    def _to_first_event(self) -> None:
        """From the blank start of a record to where bypass begins, once, unless somebody has moved."""
        case = self.session.case
        going_on = next((phase for phase in self.session.phases if phase.name == "going_on"), None)
        if case is not None and going_on is not None and self.playhead.time == case.span.start:
            self.views.jump(going_on.start_s)

    def _write_lists(self) -> None:
        session, names = self.session, self.session.channel_names
        looked = session.finds if isinstance(session.finds, Finds) else None
        self.marks.show_marks(session.marks, session.class_names, names, looked)
        self.finds.show_finds(session.finds, session.states, names, session.phases, session.class_names)
        self._list_masks()
        self.said.show_notes(session.case.notes if session.case is not None else ())
        self.loose_ends.show_sections(session.loose_ends(self.face.text))
        for number_of, (title, count) in enumerate(
            (
                ("Marks", len(session.marks)), ("Finds", len(session.finds)),
                ("Figures", 0),
                ("Said and written", len(self.said.model.rows)), ("Loose ends", self.loose_ends.count),
            )
        ):  # fmt: skip
            self.tabs.setTabText(number_of, f"{title} {count}" if count else title)
        self._title_figures()
        self.tabs.setTabText(1, self.finds.title)
        self.tabs.setTabToolTip(1, self.finds.title_tip)
        self._show_why()
        self._moved(self.playhead.time)
        self.show_state()

    def _title_figures(self) -> None:
        """Say on the tab that the figures are from before the last edit while they are worked out again."""
        old = self.session.figures_are_old
        self.tabs.setTabText(2, "Figures (old)" if old else "Figures")
        self.tabs.setTabToolTip(
            2, "From before your last edit; they are being worked out again" if old else ""
        )

    def _show_why(self) -> None:
        row, session = self.finds.current, self.session
        if row is None:
            self.why.show_find(None, "", {})
            return
        state = session.who_said(row.key)
        others = {find.key: find for find in session.finds}
        masked = {} if session.masks.raw or session.case is None else session.masks.in_force(session.case)
        beside = Beside(
            session.case,
            session.answers.get(row.key),
            session.marks,
            {name: [(one.start, one.end) for one in spans] for name, spans in masked.items()},
        )
        rule = session.rules.get(row.item.code)
        self.why.show_find(row.item, state, others, rule, session.site_reason, beside)

    def _show_dose(self) -> None:
        """The dose strip of the selected figure."""
        row = self.figures.current
        self.views.dose.choose(row.item if row is not None else None)

    def show_state(self) -> None:
        """Author and class of the next mark in the status bar; what undo and redo would do in their names."""
        self.author.setText(f"marks by {self.session.author}")
        self.class_name.setText(
            f"<b>next mark: {self.class_words(self.code)}</b> (Esc: none)" if self.code else "no class (K)"
        )
        for name, word, what in (
            ("undo", "&Undo", self.session.undo_words(self.face.text)),
            ("redo", "&Redo", self.session.redo_words(self.face.text)),
        ):
            action = self.actions_by_id[name]
            action.setText(f"{word} {what}".rstrip())
            action.setIconText(word.replace("&", ""))
            keys = " or ".join(key.toString() for key in action.shortcuts())
            action.setToolTip(f"{action.text().replace('&', '')} ({keys})")

    def class_words(self, code: str) -> str:
        """Code and plain name of a class."""
        return f"{code} {self.session.class_names.get(code, '')}".rstrip()

    def _moved(self, t: float) -> None:
        if self.session.case is None:
            self.now.setText("")
            return
        self.now.setText(f"{self.face.text(t, tenths=True)}  {self.face.unit.lower()}")
        self.card.show_at(t)

    def _zoomed(self, name: str, window: Span) -> None:
        """A view zoomed by the wheel keeps what is under the pointer; say so when the playhead is left outside."""
        t = self.playhead.time
        if not window.start <= t <= window.end:
            side = "left" if t < window.start else "right"
            self.say(
                f"The playhead, at {self.face.text(t)}, lies {side} of the {name}; V shows it in every view."
            )

    def _play_state(self) -> None:
        playing = self.playhead.playing
        self.actions_by_id["play"].setText("&Pause" if playing else "&Play")
        self.actions_by_id["play"].setIconText("Pause" if playing else "Play")
        decimals = 0 if float(self.playhead.speed).is_integer() else 2
        self.speed.setText(f"{'playing' if playing else 'paused'}, {number(self.playhead.speed, decimals)} ×")

    # -- hands --------------------------------------------------------------------------------------

    def set_code(self, code: str) -> None:
        """The class that the next mark is given."""
        self.code = code
        self.show_state()

    def go_to(self, row: Row) -> None:
        """Go where a row begins, and show how far it reaches; a figure that counts no second goes nowhere."""
        if row.start == row.end and getattr(row.item, "runs", None) == ():
            return
        self.views.jump(row.start)
        self.views.show_selected(Span(row.start, row.end) if row.end > row.start else None)

    def _span_drawn(self, start: float, end: float) -> None:
        self.does.keep_span(start, end)
        self.views.show_selected(None)

    def _picked(self, origin: object) -> None:
        """A bar was clicked: go there, and choose its row where it has one."""
        for pane, page in ((self.marks, self.marks), (self.finds, self.finds_page), (self.said, self.said)):
            row = next((row for row in pane.model.rows if row.item is origin), None)
            if row is not None:
                if pane is self.finds and self.finds.reveal(row.key):
                    self.say("The filters hid this find: all finds are shown.")
                pane.select(row.key)
                self.tabs.setCurrentWidget(page)
                self.go_to(row)
                return
        start = getattr(origin, "start_s", None)
        if isinstance(start, float):
            self.views.jump(start)

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take files and folders."""
        if event.mimeData().hasUrls() and not self.does.busy():
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Bring in, or open, what was dropped."""
        paths = [Path(url.toLocalFile()) for url in event.mimeData().urls() if url.isLocalFile()]
        event.acceptProposedAction()
        # After the event: a drag that is still held by the other program must not wait for a dialog.
        QTimer.singleShot(0, self, lambda: self.does.dropped(paths))
