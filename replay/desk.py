"""The desk: one window with the three views, the phase ladder, the reading card and the lists.

It holds no clinical logic: it asks the session, shows what it is told, and passes on what is pressed.
Every command comes from `actions.ACTIONS`.
"""

from __future__ import annotations

import json
from pathlib import Path

from afterclamp.io.case import Span
from PySide6.QtCore import QSettings, Qt, QTimer
from PySide6.QtGui import (
    QAction,
    QCloseEvent,
    QDragEnterEvent,
    QDropEvent,
    QGuiApplication,
    QKeySequence,
    QShowEvent,
)
from PySide6.QtWidgets import (
    QDialog,
    QLabel,
    QMainWindow,
    QMessageBox,
    QProgressBar,
    QSizePolicy,
    QSplitter,
    QStackedWidget,
    QTabWidget,
    QToolBar,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from .actions import ACTIONS, MENUS, in_menu, on_toolbar
from .desk_actions import DeskActions
from .panes.clock_face import CLOCK, ClockFace, number
from .panes.figures_list import FiguresList
from .panes.finds_list import FindsList
from .panes.lists import Row
from .panes.loose_ends import LooseEnds
from .panes.marks_list import MarksList
from .panes.reading_card import ReadingCard
from .panes.said_list import SaidList
from .panes.sheets import CautionsBox, cautions_read
from .panes.shelf import CaseShelf
from .panes.views import ThreeViews
from .panes.why_card import WhyCard
from .playhead import Playhead
from .session import Session

RIGHT = 500  # pixels of the right column at first start
WIDTH, HEIGHT = 1600, 1000  # at first start, where the screen has the room
STYLE = Path(__file__).parent / "assets" / "desk.qss"


class Desk(QMainWindow):
    """The main window.

    Parameters
    ----------
    settings : QSettings, optional
        Where window, folders, author and the like are remembered; the person's own by default.
    """

    def __init__(self, settings: QSettings | None = None) -> None:
        super().__init__()
        self.settings = settings if settings is not None else QSettings()
        self.session = Session(self.settings, self)
        self.playhead = Playhead(self)
        self.face = ClockFace(self)
        self.actions_by_id: dict[str, QAction] = {}
        self.box: QDialog | None = None  # the dialog that is open, if any
        self.code = str(self.settings.value("class", ""))
        self.does = DeskActions(self)
        self.setWindowTitle("afterclamp")
        self.setAcceptDrops(True)
        self.setStyleSheet(STYLE.read_text("utf-8"))
        self._build_panes()
        self._build_commands()
        self._build_status()
        self._connect()
        self._restore()
        self._case_changed()

    # -- building -----------------------------------------------------------------------------------

    def _build_panes(self) -> None:
        self.shelf = CaseShelf(self)
        self.views = ThreeViews(self.playhead, self.face, self)
        self.card = ReadingCard(self)
        self.marks = MarksList(self.face, self)
        self.finds = FindsList(self.face, self)
        self.figures = FiguresList(self)
        self.said = SaidList(self.face, self)
        self.loose_ends = LooseEnds(self)
        self.why = WhyCard(self.face, self)
        finds_page = QSplitter(Qt.Orientation.Vertical, self)
        finds_page.setChildrenCollapsible(False)
        finds_page.addWidget(self.finds)
        finds_page.addWidget(_headed("Why card", self.why))
        finds_page.setSizes([300, 240])
        self.tabs = QTabWidget(self)
        self.tabs.setDocumentMode(True)
        self.tabs.setAccessibleName("Lists")
        for page, title in (
            (self.marks, "Marks"), (finds_page, "Finds"), (self.figures, "Figures"),
            (self.said, "Said and written"), (self.loose_ends, "Loose ends"),
        ):  # fmt: skip
            self.tabs.addTab(page, title)
        self.finds_page = finds_page
        self.right = QSplitter(Qt.Orientation.Vertical, self)
        self.right.setChildrenCollapsible(False)
        self.right.addWidget(_headed("Reading card", self.card))
        self.right.addWidget(self.tabs)
        self.right.setSizes([360, 560])
        self.across = QSplitter(Qt.Orientation.Horizontal, self)
        self.across.setChildrenCollapsible(False)
        self.across.addWidget(self.views)
        self.across.addWidget(self.right)
        self.across.setStretchFactor(0, 1)
        self.across.setStretchFactor(1, 0)
        self.across.setSizes([WIDTH - RIGHT, RIGHT])
        self.unset_clocks = QLabel("", self)
        self.unset_clocks.setWordWrap(True)
        self.unset_clocks.setProperty("notice", True)
        self.unset_clocks.setAccessibleName("Clocks that have not been set")
        self.open_page = QWidget(self)
        column = QVBoxLayout(self.open_page)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.unset_clocks)
        column.addWidget(self.across, 1)
        self.pages = QStackedWidget(self)
        self.pages.addWidget(self.shelf)
        self.pages.addWidget(self.open_page)
        self.setCentralWidget(self.pages)

    def _build_commands(self) -> None:
        menus = {name: self.menuBar().addMenu(title) for name, title in MENUS}
        for action in ACTIONS:
            made = QAction(action.text, self)
            made.setObjectName(action.id)
            made.setShortcuts([QKeySequence(key) for key in action.keys])
            made.setToolTip(action.tooltip)
            if action.short:
                made.setIconText(action.short)
            made.triggered.connect(lambda _=False, method=action.method: getattr(self.does, method)())
            self.actions_by_id[action.id] = made
        for name, menu in menus.items():
            group = 0
            for action in in_menu(name):
                if action.group != group:
                    menu.addSeparator()
                    group = action.group
                menu.addAction(self.actions_by_id[action.id])
        self.toolbar = QToolBar("Commands", self)
        self.toolbar.setObjectName("commands")
        self.toolbar.setMovable(False)
        before = ""
        for action in on_toolbar():
            if before and action.menu != before:
                self.toolbar.addSeparator()
            before = action.menu
            button = QToolButton(self.toolbar)
            button.setDefaultAction(self.actions_by_id[action.id])
            button.setAccessibleName(action.words)
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            self.toolbar.addWidget(button)
        space = QWidget(self.toolbar)
        space.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        self.toolbar.addWidget(space)
        self.now = QLabel("", self.toolbar)
        self.now.setProperty("now", True)
        self.now.setAccessibleName("Time at the playhead")
        self.toolbar.addWidget(self.now)
        self.addToolBar(self.toolbar)

    def _build_status(self) -> None:
        self.doing = QLabel("", self)
        self.how_far = QProgressBar(self)
        self.how_far.setRange(0, 100)
        self.how_far.setFixedWidth(140)
        self.how_far.setAccessibleName("How far the look through the case is")
        self.speed = QLabel("", self)
        self.class_name = QLabel("", self)
        self.author = QLabel("", self)
        for widget in (self.doing, self.how_far, self.speed, self.class_name, self.author):
            self.statusBar().addPermanentWidget(widget)
        self.statusBar().setSizeGripEnabled(False)
        self._progress("", 1.0)

    def _connect(self) -> None:
        session = self.session
        session.case_changed.connect(self._case_changed)
        session.edited.connect(self._edited)
        session.marks_changed.connect(self._marks_changed)
        session.looked.connect(self._looked)
        session.progressed.connect(self._progress)
        session.said.connect(self.say)
        session.refused.connect(self.show_sentence)
        self.playhead.moved.connect(self._moved)
        self.playhead.state_changed.connect(self._play_state)
        self.face.changed.connect(self._write_lists)
        self.views.span_selected.connect(self._span_drawn)
        self.views.picked.connect(self._picked)
        for pane in (self.marks, self.finds, self.figures, self.said):
            pane.jumped.connect(self.go_to)
        self.finds.selected.connect(self._show_why)
        self.why.jumped.connect(self.views.jump)
        self.shelf.bring_in.clicked.connect(self.does.choose_exports)
        self.shelf.open.clicked.connect(self.does.choose_case)
        self.shelf.demo.clicked.connect(self.does.open_demo)
        self.shelf.case_wanted.connect(lambda folder: self.does.open_case(Path(folder)))

    # -- what is remembered -------------------------------------------------------------------------

    def _restore(self) -> None:
        room = QGuiApplication.primaryScreen().availableGeometry()
        # The offscreen platform reports 800 x 800 whatever the window is.
        self.resize(min(WIDTH, max(room.width(), 1280)), min(HEIGHT, max(room.height(), 800)))
        stored = self.settings.value("window/geometry")
        if stored is not None:
            self.restoreGeometry(stored)
        for name, splitter in self._splitters().items():
            state = self.settings.value(f"window/{name}")
            if state is not None:
                splitter.restoreState(state)
        hidden = self.settings.value("window/hidden_strips")
        if hidden:
            self.views.set_hidden_strips(json.loads(str(hidden)))
        self.face.set_display(str(self.settings.value("time", CLOCK)))

    def _remember(self) -> None:
        self.settings.setValue("window/geometry", self.saveGeometry())
        for name, splitter in self._splitters().items():
            self.settings.setValue(f"window/{name}", splitter.saveState())
        self.settings.setValue("window/hidden_strips", json.dumps(self.views.hidden_strips()))
        self.settings.setValue("time", self.face.wanted)
        self.settings.setValue("class", self.code)
        self.settings.sync()

    def _splitters(self) -> dict[str, QSplitter]:
        return {
            "across": self.across,
            "views": self.views.splitter,
            "right": self.right,
            "finds": self.finds_page,
        }

    def closeEvent(self, event: QCloseEvent) -> None:
        """Remember the window and let go of case and work."""
        self._remember()
        self.playhead.pause()
        if self.does.errand is not None:
            self.does.errand.leave()
        self.session.close()
        super().closeEvent(event)

    def showEvent(self, event: QShowEvent) -> None:
        """Show the cautions once before anything else can be done."""
        super().showEvent(event)
        if not cautions_read(self.settings) and self.box is None:
            QTimer.singleShot(0, self, self.ask_cautions)

    def ask_cautions(self) -> None:
        """The cautions, to be read and accepted; without that the program closes."""
        box = CautionsBox(self.settings, must_accept=True, parent=self)
        box.rejected.connect(self.close)
        self.open_box(box)

    # -- what is shown ------------------------------------------------------------------------------

    def _case_changed(self) -> None:
        case = self.session.case
        self.playhead.pause()
        self.does.span_from = None
        self.pages.setCurrentWidget(self.open_page if case is not None else self.shelf)
        self.setWindowTitle(f"{case.name} – afterclamp" if case is not None else "afterclamp")
        self.face.set_start(case.start_clock if case is not None else None)
        if case is not None:
            self.playhead.set_bounds(case.span.start, case.span.end)
            self.playhead.seek(case.span.start)
        self.views.set_case(case)
        self.card.set_case(case)
        self.views.set_notes(case.notes if case is not None else ())
        for action in ACTIONS:
            self.actions_by_id[action.id].setEnabled(case is not None or not action.needs_case)
        for widget in (self.speed, self.class_name):
            widget.setVisible(case is not None)
        self.shelf.show_recent(self.session.recent)
        self._show_clocks()
        self._marks_changed()
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
            self.views.refresh_case(case)
            self.views.set_notes(case.notes)
            self.card.set_case(case)
            self._show_clocks()

    def _show_clocks(self) -> None:
        """Say which clocks nobody has set: their times may be wrong by minutes or hours."""
        unset = self.session.unset_clocks
        self.unset_clocks.setVisible(bool(unset))
        self.unset_clocks.setText(
            f"Clocks that have not been set: {', '.join(unset)}. Until they are (by an answers file or "
            "--accept-proposals at the bring-in), "
            "times between these sources and the reference may be wrong by minutes or hours, and so may every "
            "find, phase and figure that needs two of them."
        )

    def _marks_changed(self) -> None:
        case = self.session.case
        if case is not None:
            self.views.set_marks(self.session.marks)
        self._write_lists()

    def _looked(self, name: str) -> None:
        if name in ("", "phases"):
            self.views.set_phases(self.session.phases)
        if name in ("", "finds"):
            self.views.set_finds(self.session.finds)
            self.card.set_artefacts(self.session.finds)
        if name in ("", "figures"):
            self.figures.show_figures(self.session.figures)
        if name == "phases":
            self._to_first_event()
        self._write_lists()

    def _to_first_event(self) -> None:
        """From the blank start of a record to where bypass begins, once, unless somebody has moved."""
        case = self.session.case
        going_on = next((phase for phase in self.session.phases if phase.name == "going_on"), None)
        if case is not None and going_on is not None and self.playhead.time == case.span.start:
            self.views.jump(going_on.start_s)

    def _write_lists(self) -> None:
        session, names = self.session, self.session.channel_names
        self.marks.show_marks(session.marks, session.class_names, names)
        self.finds.show_finds(session.finds, session.states, names)
        self.said.show_notes(session.case.notes if session.case is not None else ())
        self.loose_ends.show_sections(session.loose_ends(self.face.text))
        for number_of, (title, count) in enumerate(
            (
                ("Marks", len(session.marks)), ("Finds", len(session.finds)), ("Figures", 0),
                ("Said and written", len(self.said.model.rows)), ("Loose ends", self.loose_ends.count),
            )
        ):  # fmt: skip
            self.tabs.setTabText(number_of, f"{title} {count}" if count else title)
        self._show_why()
        self._moved(self.playhead.time)
        self.show_state()

    def _show_why(self) -> None:
        row, session = self.finds.current, self.session
        if row is None:
            self.why.show_find(None, "", {})
            return
        state = session.states.get(row.key, "proposed")
        others = {find.key: find for find in session.finds}
        self.why.show_find(row.item, state, others, session.rules.get(row.item.code), session.site_reason)

    def show_state(self) -> None:
        """Author and class of the next marks, in the status bar."""
        self.author.setText(f"marks by {self.session.author}")
        name = self.session.class_names.get(self.code, "")
        self.class_name.setText(f"class {self.code} {name}".rstrip() if self.code else "class: none yet (K)")

    def _moved(self, t: float) -> None:
        if self.session.case is None:
            self.now.setText("")
            return
        self.now.setText(f"{self.face.text(t, tenths=True)}  {self.face.unit.lower()}")
        self.card.show_at(t)

    def _play_state(self) -> None:
        playing = self.playhead.playing
        self.actions_by_id["play"].setText("&Pause" if playing else "&Play")
        self.actions_by_id["play"].setIconText("Pause" if playing else "Play")
        decimals = 0 if float(self.playhead.speed).is_integer() else 2
        self.speed.setText(f"{'playing' if playing else 'paused'}, {number(self.playhead.speed, decimals)} ×")

    def _progress(self, what: str, share: float) -> None:
        over = share >= 1.0
        self.doing.setVisible(not over)
        self.how_far.setVisible(not over)
        self.doing.setText(what)
        self.how_far.setValue(round(100 * share))

    def say(self, text: str) -> None:
        """A short word in the status bar."""
        self.statusBar().showMessage(text, 8000)

    def show_sentence(self, sentence: str) -> None:
        """A whole sentence that a person must see, in a box; the desk stays up."""
        box = QMessageBox(self)
        box.setWindowTitle("afterclamp")
        box.setText(sentence)
        box.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.open_box(box)

    def open_box(self, box: QDialog) -> None:
        """Open a dialog over the desk without waiting for it."""

        def closed() -> None:
            if self.box is box:
                self.box = None

        self.box = box
        box.finished.connect(closed)
        box.open()

    # -- hands --------------------------------------------------------------------------------------

    def set_code(self, code: str) -> None:
        """The class that the next marks are given."""
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


def _headed(title: str, widget: QWidget) -> QWidget:
    """A pane under its name."""
    box = QWidget()
    label = QLabel(title, box)
    label.setProperty("heading", True)
    label.setBuddy(widget)
    layout = QVBoxLayout(box)
    layout.setContentsMargins(4, 0, 4, 0)
    layout.setSpacing(2)
    layout.addWidget(label)
    layout.addWidget(widget, 1)
    return box
