"""Commands on whole cases: open, bring in, the demo, the case paper; long work that a person waits for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from afterclamp.io import mappings
from PySide6.QtCore import QStandardPaths, Qt, QUrl
from PySide6.QtGui import QDesktopServices, QGuiApplication
from PySide6.QtWidgets import QFileDialog, QMessageBox

from .panes.bring_in import WhereBox
from .panes.errand import Errand
from .panes.hand_over_box import HandOverBox
from .panes.mark_box import AuthorBox

if TYPE_CHECKING:
    from afterclamp.io.case import Span

    from .desk import Desk


class FileActions:
    """The menu File.

    Attributes
    ----------
    errand : Errand or None
        Long work that is under way.
    """

    _desk: Desk
    errand: Errand | None

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
        box.chosen.connect(
            lambda into: self.bring_in_to(paths, Path(into), box.columns, keep_identity=box.keep.isChecked())
        )
        self._desk.open_box(box)

    def bring_in_to(
        self, paths: Sequence[Path], into: Path, columns: Sequence[str] = (), *, keep_identity: bool = False
    ) -> None:
        """Bring exports into a new case, or late sources into the open one; `columns` are column maps."""
        case = self._desk.session.case
        if case is not None and into.resolve() == case.folder.resolve():
            self._desk.session.close()  # the new source must not be written under an open case
        request = {
            "task": "bring_in",
            "paths": [str(path) for path in paths],
            "into": str(into),
            "columns": list(columns),
            "keep_identity": keep_identity,
            "learned_in": str(mappings.default_folder()),
        }
        errand = Errand(request, "Bringing in", self._desk)
        self._run(errand, lambda made: self._brought_in(Path(made), errand.left_out))

    def _brought_in(self, folder: Path, left_out: Sequence[str]) -> None:
        """Open what was brought in, and name what could not be."""
        if self.open_case(folder) and left_out:
            told = "\n\n".join(left_out)
            self._desk.show_sentence(f"Brought in, without what was refused:\n\n{told}")

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
            then(word)
            errand.deleteLater()

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

    def hand_over(self) -> None:
        """Ask what to write in open formats, and write it."""
        case = self._desk.session.case
        if case is None or self.busy():
            return
        views = self._desk.views
        windows = {f"what the {view.accessibleName()} shows": view.span for view in views.views[1:]}
        proposed = Path(self._folder("handed-over")) / f"{case.name}-handed-over"
        box = HandOverBox(proposed, windows, self._desk)
        box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        box.chosen.connect(lambda form, name, out: self.write_hand_over(form, windows.get(name), Path(out)))
        self._desk.open_box(box)

    def write_hand_over(self, form: str, window: Span | None, out: Path) -> None:
        """Write the open case, or a window of it, into a new folder."""
        case = self._desk.session.case
        if case is None:
            return
        self._keep_folder("handed-over", out.parent)
        request = {
            "task": "hand_over",
            "case": str(case.folder),
            "out": str(out),
            "form": form,
            "window": [window.start, window.end] if window is not None else None,
        }
        self._run(Errand(request, "Hand over", self._desk), self._handed_over)

    def _handed_over(self, made: str) -> None:
        self._desk.say(f"Handed over: {made}")

    def choose_author(self) -> None:
        """Ask under which name marks are kept."""
        box = AuthorBox(self._desk.session.author, self._desk)
        box.chosen.connect(self._desk.session.set_author)
        box.chosen.connect(lambda _: self._desk.show_state())
        self._desk.open_box(box)

    def _folder(self, kind: str) -> str:
        return str(self._desk.settings.value(f"folders/{kind}", str(Path.home())))

    def _keep_folder(self, kind: str, path: Path) -> None:
        self._desk.settings.setValue(f"folders/{kind}", str(path))
