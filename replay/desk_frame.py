"""The desk's frame: panes, menus, toolbar and status line put together, and how they stood last time.

What is shown in them and what follows from a key or a click is the business of `desk`.
"""

from __future__ import annotations

import json
from pathlib import Path

from PySide6.QtCore import QDir, QSettings, Qt, Signal
from PySide6.QtGui import QAction, QGuiApplication, QKeySequence
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
from .panes.clock_face import CLOCK, ClockFace
from .panes.figures_list import FiguresList
from .panes.finds_list import FindsList
from .panes.loose_ends import LooseEnds
from .panes.marks_list import MarksList
from .panes.masks_list import MasksList
from .panes.notice_bar import NoticeBar
from .panes.reading_card import ReadingCard
from .panes.said_list import SaidList
from .panes.shelf import CaseShelf
from .panes.views import ThreeViews
from .panes.why_card import WhyCard
from .playhead import Playhead

RIGHT = 560  # pixels of the right column at first start
WIDTH, HEIGHT = 1600, 1000  # at first start, where the screen has the room
STYLE = Path(__file__).parent / "assets" / "desk.qss"


class DeskFrame(QMainWindow):
    """The window and everything in it.

    Parameters
    ----------
    settings : QSettings
        Where the window and what is shown in it are remembered.

    Signals
    -------
    command(method)
        A command was chosen: the method of `DeskActions` that does it.
    """

    command = Signal(str)

    def __init__(self, settings: QSettings) -> None:
        super().__init__()
        self.settings = settings
        self.playhead = Playhead(self)
        self.face = ClockFace(self)
        self.actions_by_id: dict[str, QAction] = {}
        self.box: QDialog | None = None  # the dialog that is open, if any
        self.setWindowTitle("afterclamp")
        self.setAcceptDrops(True)
        QDir.setSearchPaths("assets", [str(STYLE.parent)])
        self.setStyleSheet(STYLE.read_text("utf-8"))
        self._build_panes()
        self._build_commands()
        self._build_status()

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
        self.masks = MasksList(self.face, self)
        self.why = WhyCard(self.face, self)
        finds_page = QSplitter(Qt.Orientation.Vertical, self)
        finds_page.setChildrenCollapsible(False)
        finds_page.addWidget(self.finds)
        finds_page.addWidget(_headed("Why card", self.why))
        finds_page.setSizes([300, 240])
        self.loose_page = QSplitter(Qt.Orientation.Vertical, self)
        self.loose_page.setChildrenCollapsible(False)
        self.loose_page.addWidget(_headed("Loose ends", self.loose_ends))
        self.masks_heading = QLabel("Masks", self)
        self.loose_page.addWidget(_headed("Masks", self.masks, self.masks_heading))
        self.loose_page.setSizes([240, 300])
        self.tabs = QTabWidget(self)
        self.tabs.setDocumentMode(True)
        self.tabs.setAccessibleName("Lists")
        self.tabs.tabBar().setAccessibleName("Lists, one a tab")
        for page, title in (
            (self.marks, "Marks"), (finds_page, "Finds"), (self.figures, "Figures"),
            (self.said, "Said and written"), (self.loose_page, "Loose ends"),
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
        self.unset_clocks = NoticeBar("Clocks that have not been set", "Set clocks…", self)
        self.originals = NoticeBar("Originals that are not as they were", "Sources…", self)
        self.open_page = QWidget(self)
        column = QVBoxLayout(self.open_page)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.unset_clocks)
        column.addWidget(self.originals)
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
            # A key held down decides, or takes back, one thing: the list goes on to the next row by itself.
            made.setAutoRepeat(action.menu != "finds" and action.id != "delete")
            if action.short:
                made.setIconText(action.short)
            made.triggered.connect(lambda _=False, method=action.method: self.command.emit(method))
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
        self.masking = QLabel("", self)
        self.masking.setAccessibleName("Whether artefacts are left in")
        self.speed = QLabel("", self)
        self.class_name = QLabel("", self)
        self.author = QLabel("", self)
        for widget in (self.doing, self.how_far, self.masking, self.speed, self.class_name, self.author):
            self.statusBar().addPermanentWidget(widget)
        self.statusBar().setSizeGripEnabled(False)
        self.show_progress("", 1.0)

    # -- what is remembered -------------------------------------------------------------------------

    def restore(self) -> None:
        """As the window stood last time."""
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
        columns = self.settings.value("window/figure_columns")
        if columns:
            self.figures.choose_columns(json.loads(str(columns)))
        self.finds.keep(json.loads(str(self.settings.value("finds/shown", "[]"))))
        self.views.dose.set_kept(json.loads(str(self.settings.value("dose/kept", "[]"))))
        self.views.dose.set_wanted({"yes": True, "no": False}.get(str(self.settings.value("dose/shown", ""))))
        self.face.set_display(str(self.settings.value("time", CLOCK)))

    def remember(self) -> None:
        """Keep how the window stands for the next time."""
        self.settings.setValue("window/geometry", self.saveGeometry())
        for name, splitter in self._splitters().items():
            self.settings.setValue(f"window/{name}", splitter.saveState())
        self.settings.setValue("window/hidden_strips", json.dumps(self.views.hidden_strips()))
        self.settings.setValue("window/figure_columns", json.dumps(self.figures.chosen_columns))
        self.settings.setValue("finds/shown", json.dumps(self.finds.kept))
        self.settings.setValue("dose/kept", json.dumps(self.views.dose.kept))
        wanted = self.views.dose.wanted
        self.settings.setValue("dose/shown", "" if wanted is None else "yes" if wanted else "no")
        self.settings.setValue("time", self.face.wanted)
        self.settings.sync()

    def _splitters(self) -> dict[str, QSplitter]:
        return {
            "across": self.across,
            "views": self.views.splitter,
            "right": self.right,
            "finds": self.finds_page,
            "loose": self.loose_page,
        }

    # -- what is said -------------------------------------------------------------------------------

    def show_progress(self, what: str, share: float) -> None:
        """How far the look through the case is; nothing once it is over."""
        over = share >= 1.0
        self.doing.setVisible(not over)
        self.how_far.setVisible(not over)
        self.finds.set_looking(not over)
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


def _headed(title: str, widget: QWidget, label: QLabel | None = None) -> QWidget:
    """A pane under its name, in a label of its own where that changes."""
    box = QWidget()
    label = QLabel(box) if label is None else label
    label.setText(title)
    label.setProperty("heading", True)
    label.setBuddy(widget)
    layout = QVBoxLayout(box)
    layout.setContentsMargins(4, 0, 4, 0)
    layout.setSpacing(2)
    layout.addWidget(label)
    layout.addWidget(widget, 1)
    return box
