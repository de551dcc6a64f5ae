"""What each command of the desk does when it is chosen: one method a row of `actions.ACTIONS`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QStandardPaths, Qt, QUrl
from PySide6.QtGui import QDesktopServices, QGuiApplication
from PySide6.QtWidgets import QAbstractButton, QApplication, QFileDialog, QMessageBox

from .panes.bring_in import Errand, WhereBox
from .panes.clock_face import length, number
from .panes.lists import ListPane
from .panes.mark_box import AuthorBox, ClassBox, WordsBox
from .panes.sheets import CautionsBox, KeySheet

if TYPE_CHECKING:
    from afterclamp.annotate.marks import Mark

    from .desk import Desk

_BESIDE = 0.05  # seconds: a mark this near to the playhead is where one is, not the next one


class DeskActions(QObject):
    """The commands of one desk."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._desk = desk
        self.errand: Errand | None = None
        self.span_from: float | None = None
        self._just_made: tuple[str, float] | None = None  # the last mark, and where the playhead stood

    # -- file ---------------------------------------------------------------------------------------

    def choose_case(self) -> None:
        """Ask for a case folder and open it."""
        folder = QFileDialog.getExistingDirectory(self._desk, "Open a case folder", self._folder("cases"))
        if folder:
            self.open_case(Path(folder))

    def open_case(self, folder: Path) -> bool:
        """Open a case folder; says so and leaves what is open when it cannot be."""
        if not self._desk.session.open(folder):
            return False
        self._keep_folder("cases", folder.resolve().parent)
        return True

    def choose_exports(self) -> None:
        """Ask for a folder of exports and bring it in."""
        folder = QFileDialog.getExistingDirectory(self._desk, "Folder with exports", self._folder("exports"))
        if folder:
            self.ask_where([Path(folder)])

    def choose_export_files(self) -> None:
        """Ask for export files and bring them in."""
        files, _ = QFileDialog.getOpenFileNames(self._desk, "Export files", self._folder("exports"))
        if files:
            self.ask_where([Path(name) for name in files])

    def dropped(self, paths: Sequence[Path]) -> None:
        """Open a case folder that was dropped; bring anything else in."""
        if len(paths) == 1 and (paths[0] / "traces").is_dir():
            self.open_case(paths[0])
        elif paths:
            self.ask_where(paths)

    def ask_where(self, paths: Sequence[Path]) -> None:
        """Ask where the case is to lie, then bring the exports in."""
        if self.busy():
            return
        self._keep_folder("exports", paths[0].resolve().parent)
        case = self._desk.session.case
        box = WhereBox(paths, case.folder if case is not None else None, self._desk)
        box.chosen.connect(lambda into: self.bring_in_to(paths, Path(into)))
        self._desk.open_box(box)

    def bring_in_to(self, paths: Sequence[Path], into: Path) -> None:
        """Bring exports into a new case, or late sources into the open one."""
        case = self._desk.session.case
        if case is not None and into.resolve() == case.folder.resolve():
            self._desk.session.close()  # the new source must not be written under an open case
        request = {"task": "bring_in", "paths": [str(path) for path in paths], "into": str(into)}
        self._run(Errand(request, "Bringing in", self._desk), lambda made: self.open_case(Path(made)))

    def open_demo(self) -> None:
        """Build the demonstration case if need be and open it."""
        if self.busy():
            return
        base = QStandardPaths.writableLocation(QStandardPaths.StandardLocation.AppLocalDataLocation)
        into = str(self._desk.settings.value("folders/demo", str(Path(base) / "demo")))
        request = {"task": "demo", "into": into}
        self._run(Errand(request, "Demonstration case", self._desk), lambda made: self.open_case(Path(made)))

    def busy(self) -> bool:
        """Whether long work that a person waits for is under way."""
        return self.errand is not None

    def _run(self, errand: Errand, then: Callable[[str], object]) -> None:
        self.errand = errand

        def ended(then: Callable[[str], object], word: str) -> None:
            self.errand = None
            errand.deleteLater()
            then(word)

        errand.made.connect(lambda made: ended(then, made))
        errand.sentence.connect(lambda sentence: ended(self._desk.show_sentence, sentence))
        errand.stopped.connect(lambda: ended(self._desk.say, "Stopped; nothing of it was kept."))
        errand.start()

    def close_case(self) -> None:
        """Close the case and show the shelf."""
        self._desk.session.close()

    def copy_image(self) -> None:
        """Copy the ladder and the views as one image."""
        QGuiApplication.clipboard().setImage(self._desk.views.image())
        self._desk.say("The views are on the clipboard as an image.")

    def print_paper(self) -> None:
        """Ask for a file and write the case paper to it."""
        case = self._desk.session.case
        if case is None or self.busy():
            return
        proposed = str(Path(self._folder("papers")) / f"{case.name}-paper.pdf")
        kinds = "PDF (*.pdf);;Web page (*.html)"
        name, _ = QFileDialog.getSaveFileName(self._desk, "Case paper", proposed, kinds)
        if name:
            out = Path(name) if Path(name).suffix else Path(f"{name}.pdf")
            self._keep_folder("papers", out.parent)
            self.write_paper(out)

    def write_paper(self, out: Path) -> None:
        """Write the case paper of the open case."""
        case = self._desk.session.case
        if case is None:
            return
        request = {"task": "paper", "case": str(case.folder), "out": str(out)}
        self._run(Errand(request, "Case paper", self._desk), self._paper_made)

    def _paper_made(self, made: str) -> None:
        box = QMessageBox(self._desk)
        box.setWindowTitle("Case paper")
        box.setText(f"The case paper is written: {made}")
        box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        look = box.addButton("Look at it", QMessageBox.ButtonRole.ActionRole)
        box.addButton(QMessageBox.StandardButton.Close)
        look.clicked.connect(lambda: QDesktopServices.openUrl(QUrl.fromLocalFile(made)))
        self._desk.open_box(box)

    def choose_author(self) -> None:
        """Ask under which name marks are kept."""
        box = AuthorBox(self._desk.session.author, self._desk)
        box.chosen.connect(self._desk.session.set_author)
        box.chosen.connect(lambda _: self._desk.show_state())
        self._desk.open_box(box)

    def close(self) -> None:
        """Close the program."""
        self._desk.close()

    def _folder(self, kind: str) -> str:
        return str(self._desk.settings.value(f"folders/{kind}", str(Path.home())))

    def _keep_folder(self, kind: str, path: Path) -> None:
        self._desk.settings.setValue(f"folders/{kind}", str(path))

    # -- move ---------------------------------------------------------------------------------------

    def play_or_pause(self) -> None:
        """Play or pause; on a button that has the keyboard, press that instead."""
        focus = QApplication.focusWidget()
        if isinstance(focus, QAbstractButton) and focus.isEnabled():
            focus.click()  # Space is what presses a button everywhere else
            return
        self._desk.playhead.toggle()

    def faster(self) -> None:
        """The next higher speed."""
        self._desk.playhead.faster()
        self._say_speed()

    def slower(self) -> None:
        """The next lower speed."""
        self._desk.playhead.slower()
        self._say_speed()

    def _say_speed(self) -> None:
        speed = self._desk.playhead.speed
        self._desk.say(f"Speed {number(speed, 0 if speed >= 1 else 2)} ×")

    def back_1s(self) -> None:
        """One second back."""
        self._step(-1.0)

    def on_1s(self) -> None:
        """One second on."""
        self._step(1.0)

    def back_10s(self) -> None:
        """Ten seconds back."""
        self._step(-10.0)

    def on_10s(self) -> None:
        """Ten seconds on."""
        self._step(10.0)

    def back_1min(self) -> None:
        """One minute back."""
        self._step(-60.0)

    def on_1min(self) -> None:
        """One minute on."""
        self._step(60.0)

    def _step(self, seconds: float) -> None:
        self._desk.playhead.step(seconds)

    def next_mark(self) -> None:
        """Go to the next mark or find."""
        self._to_mark(forward=True)

    def previous_mark(self) -> None:
        """Go to the mark or find before."""
        self._to_mark(forward=False)

    def _to_mark(self, *, forward: bool) -> None:
        desk = self._desk
        now = desk.playhead.time
        found = [(row, pane) for pane in (desk.marks, desk.finds) for row in pane.model.rows if not row.dim]
        ahead = [
            one
            for one in found
            if (one[0].start > now + _BESIDE if forward else one[0].start < now - _BESIDE)
        ]
        if not ahead:
            desk.say("No mark or find " + ("after this." if forward else "before this."))
            return
        row, pane = (min if forward else max)(ahead, key=lambda one: one[0].start)
        pane.select(row.key)
        desk.tabs.setCurrentWidget(desk.finds_page if pane is desk.finds else pane)
        desk.go_to(row)

    def go_home(self) -> None:
        """To the start of the case."""
        if self._desk.session.case is not None:
            self._desk.views.jump(self._desk.session.case.span.start)

    def go_end(self) -> None:
        """To the end of the case."""
        if self._desk.session.case is not None:
            self._desk.views.jump(self._desk.session.case.span.end)

    # -- marks --------------------------------------------------------------------------------------

    def mark_point(self) -> None:
        """Mark the moment at the playhead."""
        t = self._desk.playhead.time
        self._marked(self._desk.session.mark_point(t, self._desk.code), f"Marked {self._desk.face.text(t)}.")

    def span_start(self) -> None:
        """Start a span at the playhead."""
        self.span_from = self._desk.playhead.time
        self._desk.say(f"A span starts at {self._desk.face.text(self.span_from)}; ] ends it.")

    def span_end(self) -> None:
        """End the span at the playhead and keep it."""
        if self.span_from is None:
            self._desk.say("No span was started: [ starts one.")
            return
        self.keep_span(self.span_from, self._desk.playhead.time)
        self.span_from = None

    def keep_span(self, start: float, end: float) -> None:
        """Keep a span as a mark."""
        if start == end:
            self._desk.say("A span needs two different times: move the playhead first.")
            return
        made = self._desk.session.mark_span(start, end, self._desk.code)
        self._marked(made, f"Marked a span of {length(abs(end - start))}.")

    def write_note(self) -> None:
        """Ask for words: for the mark that was just made here, else as a note at the playhead."""
        t = self._desk.playhead.time
        row = self._desk.marks.current
        if row is not None and self._just_made == (row.key, t):
            mark = row.item
            box = WordsBox("Words", f"Words for the mark at {self._desk.face.text(row.start)}", self._desk)
            box.line.setText(mark.text)
            box.written.connect(lambda text: self._desk.session.change_words(mark, text))
            self._desk.open_box(box)
            return
        box = WordsBox("Note", f"Note at {self._desk.face.text(t)}", self._desk)
        box.written.connect(lambda text: self._marked(self._desk.session.write_note(t, text), "Note kept."))
        self._desk.open_box(box)

    def _marked(self, made: Mark | None, words: str) -> None:
        """Choose what was just made in the list, so that the next key can change or take it back."""
        if made is None:
            return  # the sentence that says why is on the screen
        self._desk.marks.select(made.id)
        self._just_made = (made.id, self._desk.playhead.time)
        focus = QApplication.focusWidget()
        if focus is None or not self._desk.finds_page.isAncestorOf(focus):
            self._desk.tabs.setCurrentWidget(self._desk.marks)
        self._desk.say(f"{words} N writes words to it, Shift+K gives it a class.")

    def choose_class(self) -> None:
        """Ask for the class that the next marks are given."""
        choices = [("", "no class"), *self._desk.session.class_names.items()]
        box = ClassBox(choices, self._desk.code, "Class of the next marks", self._desk)
        box.chosen.connect(self._desk.set_code)
        self._desk.open_box(box)

    def change_class(self) -> None:
        """Ask for another class for the selected mark."""
        row = self._desk.marks.current
        if row is None:
            self._desk.say("Choose a mark in the list first.")
            return
        choices = [("", "no class"), *self._desk.session.class_names.items()]
        box = ClassBox(choices, row.item.code, "Class of this mark", self._desk)
        box.chosen.connect(lambda code: self._desk.session.change_class(row.item, code))
        self._desk.open_box(box)

    def delete_mark(self) -> None:
        """Take the selected mark back."""
        row = self._desk.marks.current
        if row is None:
            self._desk.say("Choose a mark in the list first.")
            return
        self._desk.session.delete_mark(row.item)

    def undo(self) -> None:
        """Undo one's own last edit."""
        self._desk.session.undo()

    def redo(self) -> None:
        """Redo what was undone."""
        self._desk.session.redo()

    # -- finds --------------------------------------------------------------------------------------

    def accept_find(self) -> None:
        """Accept the selected find."""
        self._verdict("accepted")

    def set_aside_find(self) -> None:
        """Set the selected find aside."""
        self._verdict("set aside")

    def _verdict(self, state: str) -> None:
        row = self._desk.finds.current
        if row is None:
            self._desk.say("Choose a find in the list first.")
            return
        self._desk.session.verdict(row.item, state)
        self._desk.say(f"{row.item.code} at {self._desk.face.text(row.start)}: {state}.")

    def look_again(self) -> None:
        """Look for phases and finds again."""
        self._desk.session.look()

    # -- view ---------------------------------------------------------------------------------------

    def change_time_display(self) -> None:
        """Reference clock or minutes from start."""
        self._desk.face.turn()
        self._desk.say(f"Times are shown as {self._desk.face.display}.")

    def zoom_in(self) -> None:
        """Narrow the Middle view."""
        self._desk.views.zoom_middle(0.5)

    def zoom_out(self) -> None:
        """Widen the Middle view."""
        self._desk.views.zoom_middle(2.0)

    def zoom_reset(self) -> None:
        """The widths of first start."""
        self._desk.views.reset()

    def show_no_stretch(self) -> None:
        """Take the coloured stretch off the views, and forget a span that was started."""
        self._desk.views.show_selected(None)
        self.span_from = None

    def to_marks(self) -> None:
        """Keyboard to the marks."""
        self._to_list(self._desk.marks)

    def to_finds(self) -> None:
        """Keyboard to the finds."""
        self._to_list(self._desk.finds)

    def _to_list(self, pane: ListPane) -> None:
        self._desk.tabs.setCurrentWidget(self._desk.finds_page if pane is self._desk.finds else pane)
        pane.to_list()

    def to_figures(self) -> None:
        """Keyboard to the minutes and areas."""
        self._to_list(self._desk.figures)

    def to_said(self) -> None:
        """Keyboard to what was said and written."""
        self._to_list(self._desk.said)

    def to_loose_ends(self) -> None:
        """Keyboard to the loose ends."""
        self._desk.tabs.setCurrentWidget(self._desk.loose_ends)
        self._desk.loose_ends.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def to_views(self) -> None:
        """Keyboard to the Long view."""
        self._desk.views.long.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def to_filter(self) -> None:
        """Keyboard to the filter of the list that is shown."""
        page = self._desk.tabs.currentWidget()
        pane = self._desk.finds if page is self._desk.finds_page else page
        if isinstance(pane, ListPane):
            pane.filter.setFocus(Qt.FocusReason.ShortcutFocusReason)

    # -- help ---------------------------------------------------------------------------------------

    def show_keys(self) -> None:
        """The sheet of keys."""
        self._desk.open_box(KeySheet(self._desk))

    def show_cautions(self) -> None:
        """The cautions, to be read again."""
        self._desk.open_box(CautionsBox(self._desk.settings, must_accept=False, parent=self._desk))
