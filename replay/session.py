"""One sitting at one case: what is open, who marks, what was said, and what the rules propose.

The desk and its panes ask here and keep no second copy. Phases, finds and figures are worked out in a
process of their own (`bringing`), so that the desk never waits and never loads scipy or pandas.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from afterclamp.annotate import marks as marking
from afterclamp.annotate.finds import Find, Finds
from afterclamp.annotate.judged import take_back
from afterclamp.annotate.limits import keep as keep_limits
from afterclamp.annotate.marks import Mark, Verdict
from afterclamp.annotate.phase_model import Phase
from afterclamp.annotate.phases import in_force
from afterclamp.annotate.rules import RULES, Rule
from afterclamp.annotate.trust import TrustStrip
from afterclamp.annotate.unexplained import Unexplained
from afterclamp.io import mappings, open_case
from afterclamp.io import masks as masking
from afterclamp.io.case import Case
from afterclamp.io.errors import CaseError
from afterclamp.io.log import Edit, Log
from afterclamp.io.origins import SourceFile
from PySide6.QtCore import QObject, QSettings, Signal

from . import undoing
from .answered import Answered
from .classes import class_names
from .clock_setting import keep
from .looks import Looks
from .moment import moment_words
from .remembered import Remembered
from .session_masks import CaseMasks, say_why, turn_with_it
from .session_masks import keep as keep_masks
from .session_numbers import NumbersOfRules
from .session_verdicts import Decided, decide, replaced, state_of, who_said

if TYPE_CHECKING:
    from afterclamp.io.masks import Verb

    from .panes.name_lines import Naming

_ONLY_SHOWN = frozenset({"mark", "verdict"})
"""Verbs of edits that nothing is worked out from: after any other one the case is looked through again."""


class Session(NumbersOfRules, Remembered, QObject):
    """The open case and everything said about it.

    Signals
    -------
    case_changed()
        Another case, or none, is open.
    edited()
        The same case, but its clocks, names or facts are other ones.
    marks_changed()
        Marks or verdicts are other ones.
    masks_changed()
        What is masked, or whether that is shown, is another.
    looked(name)
        ``"originals"``, ``"masks"``, ``"phases"``, ``"finds"`` or ``"figures"`` have come in.
    progressed(what, share)
        Of the look through the case; share 1 when it is over.
    said(text)
        A short word on what was done.
    refused(sentence)
        Something that cannot be done, to be shown whole.
    """

    case_changed = Signal()
    edited = Signal()
    marks_changed = Signal()
    masks_changed = Signal()
    looked = Signal(str)
    progressed = Signal(str, float)
    said = Signal(str)
    refused = Signal(str)

    def __init__(self, settings: QSettings, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._settings = settings
        self.case: Case | None = None
        self.rules: dict[str, Rule] = {rule.code: rule for rule in RULES}
        self.class_names = class_names({rule.code: rule.name for rule in RULES})
        self.masks = CaseMasks()
        self._forget()
        self._looks = Looks(self)
        self._looks.progressed.connect(self.progressed)
        self._looks.came.connect(self.take)
        self._looks.refused.connect(self.refused)

    # -- case ---------------------------------------------------------------------------------------

    def open(self, folder: Path) -> bool:
        """Open a case folder; False, and `refused` says why, when it cannot be."""
        try:
            case = open_case(folder)
        except CaseError as said:
            self.refused.emit(said.sentence)
            return False
        self._leave()
        self.case = case
        self._remember(folder)
        self._read_log()
        self.case_changed.emit()
        self.look()
        return True

    def close(self) -> None:
        """Close the case, if one is open."""
        had = self.case is not None
        self._leave()
        if had:
            self.case_changed.emit()

    def _leave(self) -> None:
        self._looks.drop()
        if self.case is not None:
            self.case.close()
        self.case = None
        self._forget()

    def _forget(self) -> None:
        self.marks: list[Mark] = []
        self.verdicts: dict[str, list[Verdict]] = {}
        self.proposed: list[Phase] = []
        self.phases: list[Phase] = []  # these, with what people set in their place
        self.finds: Sequence[Find] = ()
        self.answers: Mapping[str, Answered] = {}
        self.figures: list[Any] = []
        self._figures_by: dict[bool, list[Any]] = {}  # raw or masked
        self.masks.forget()
        self.trust: TrustStrip | None = None
        self.unexplained = Unexplained()
        self.originals: Sequence[SourceFile] = ()

    def set_author(self, author: str) -> None:
        """Keep edits under another id from now on."""
        self._remember_author(author)
        self.said.emit(f"Marks are kept under {author}.")

    # -- marks --------------------------------------------------------------------------------------

    def mark_point(self, t: float, code: str) -> Mark | None:
        """Mark a moment; None when it could not be kept."""
        return self._add(kind="point", code=code, start_s=t)

    def mark_span(self, start: float, end: float, code: str) -> Mark | None:
        """Mark a span; its ends may come in either order."""
        return self._add(kind="span", code=code, start_s=min(start, end), end_s=max(start, end))

    def write_note(self, t: float, text: str) -> Mark | None:
        """Keep words at a moment."""
        return self._add(kind="note", text=text, start_s=t)

    def _add(self, **what: Any) -> Mark | None:
        made: list[Mark] = []
        self._try(lambda case: made.append(marking.add_mark(case, self.author, **what)))
        return made[0] if made else None

    def change_words(self, mark: Mark, text: str) -> None:
        """Give a mark other words; the earlier ones stay in the log."""
        self._try(lambda case: marking.amend(case, self.author, mark.id, text=text))

    def change_class(self, mark: Mark, code: str) -> None:
        """Give a mark another class; the earlier one stays in the log."""
        self._try(lambda case: marking.amend(case, self.author, mark.id, code=code))

    def delete_mark(self, mark: Mark) -> None:
        """Take a mark back; it stays in the log."""
        self._try(lambda case: take_back(case, self.author, mark))

    def decide(
        self, decision: str, finds: Sequence[Find], *, code: str = "", at_s: float = 0.0
    ) -> Decided | None:
        """Keep a decision on finds (`session_verdicts`); None, and `refused` says why, when that cannot be."""
        made: list[Decided] = []
        ask = (self.author, self.masks, decision, finds)
        self._try(lambda case: made.append(decide(case, *ask, code=code, at_s=at_s)))
        if made and made[0].masks_changed:
            self._read_again()
        return made[0] if made else None

    def mask(self, verb: Verb, stretches: Sequence[tuple[str, float, float]]) -> list[Edit]:
        """Hide or unhide stretches of channels; none, and `refused` says why, when that cannot be."""
        made: list[Edit] = []
        self._try(lambda case: made.extend(keep_masks(case, self.author, verb, stretches)))
        if made:
            self._read_again()
        return made

    def say_why(self, made: Sequence[Edit], reason: str) -> None:
        """Put words to masks that were just made; no second changes."""
        self._try(lambda case: say_why(case, self.author, made, reason))
        self.masks_changed.emit()

    def take_mask_back(self, edit: str) -> bool:
        """Take a mask of one's own back."""
        made: list[Edit] = []
        self._try(lambda case: made.append(masking.take_back(case, self.author, edit)))
        if made:
            self._read_again()
        return bool(made)

    def show_raw(self, raw: bool) -> None:
        """Leave artefacts and hidden seconds in, or take them out: traces at once, figures when they are there."""
        if self.case is None or raw == self.masks.raw:
            return
        self.masks.raw = raw
        self.figures = self._figures_by.get(raw, [])
        self.masks_changed.emit()
        self.looked.emit("figures")
        if raw not in self._figures_by:
            self._looks.start_figures(self.case.folder, raw=raw)

    def believe(self, payload: Mapping[str, Any]) -> None:
        """Trust a line, for the whole case or a stretch, or go back to the proposal: shown at once, then worked out."""
        self._try(lambda case: case.edit(self.author, "believe", payload))
        self._look_at_site()

    def set_clocks(self, payloads: Sequence[Mapping[str, Any]]) -> None:
        """Set the clocks of some sources, each an edit of its own that replaces the one in force."""
        if payloads:
            self._try(lambda case: keep(case, self.author, payloads))
            self._read_again()

    def set_limits(self, payloads: Sequence[Mapping[str, Any]]) -> None:
        """Keep edits of the limits in force, each in place of the one before it."""
        if payloads:
            self._try(lambda case: keep_limits(case, self.author, payloads))
            self._read_again()

    def name_lines(self, namings: Sequence[Naming]) -> None:
        """Settle what some channels are and in which unit, and keep it for the next source that looks the same."""

        def step(case: Case) -> None:
            for one in namings:
                case.change_channel(
                    self.author,
                    one.channel,
                    kind=one.kind,
                    site=one.site,
                    side=one.side,
                    statistic=one.statistic,
                    unit=one.unit,
                )
            mappings.remember(case, mappings.default_folder())

        self._try(step)
        self._read_again()

    def take_in_or_out(self, source: str, present: bool) -> None:
        """Take a source out of everything, or put it back."""
        self._try(lambda case: (case.put_back if present else case.take_out)(self.author, source))
        self._read_again()

    def set_phase(self, payload: Mapping[str, Any]) -> None:
        """Set the times of a phase, an edit that replaces the one in force for it."""
        key = (payload["name"], int(payload.get("index", 0)))

        def step(case: Case) -> None:
            before = [
                one.id
                for one in case.log.standing("phase")
                if (one.payload.get("name"), int(one.payload.get("index", 0))) == key
            ]
            case.edit(self.author, "phase", payload, supersedes=before[-1] if before else None)

        self._try(step)
        self.looked.emit("phases")  # at once, not only when the look that follows has come in
        self._read_again()

    def undo(self) -> Edit | None:
        """Take back one's own last edit; gives that edit."""
        return self._turn(lambda case: case.log.undo(self.author), "Nothing of yours is left to undo.")

    def redo(self) -> Edit | None:
        """Bring back what was undone; gives that edit."""
        return self._turn(lambda case: case.log.redo(self.author), "Nothing is left to redo.")

    def _turn(self, step: Callable[[Case], Edit | None], nothing: str) -> Edit | None:
        made: list[Edit | None] = []
        self._try(lambda case: made.append(step(case)))
        turn = made[0] if made else None
        if made and turn is None:
            self.said.emit(nothing)
        case = self.case
        if turn is None or case is None:
            return None
        also: list[Edit] = []
        self._try(lambda case: also.extend(turn_with_it(case.log, self.author, turn)))
        turned = [undoing.by_id(case.log, str(turn.payload["edit"])), *also]
        verbs = {edit.verb for edit in turned if edit is not None} - _ONLY_SHOWN
        if "phase" in verbs:
            self.looked.emit("phases")
        if verbs == {"believe"}:
            self._look_at_site()
        elif verbs == {"limit"} and all("rule" in edit.payload for edit in turned if edit is not None):
            self.look_at_finds()
        elif verbs:
            self._read_again()
        return undoing.whole(turned)

    def _read_again(self) -> None:
        """After an edit that changes what is read or worked out: read the case again, and look again."""
        if self.case is None:
            return
        self.case.refresh()
        self._read_log()
        self.edited.emit()
        self.masks_changed.emit()
        self.marks_changed.emit()  # an anchored mark moves with its trace
        self.look()

    def undo_words(self, time_text: Callable[[float], str]) -> str:
        """What undo would take back; empty where nothing."""
        return self._words_of(undoing.next_undo, time_text)

    def redo_words(self, time_text: Callable[[float], str]) -> str:
        """What redo would bring back; empty where nothing."""
        return self._words_of(undoing.next_redo, time_text)

    def _words_of(self, which: Callable[[Log, str], Edit | None], time_text: Callable[[float], str]) -> str:
        if self.case is None:
            return ""
        edit = which(self.case.log, self.author)
        return undoing.words(self.case.log, edit, time_text) if edit is not None else ""

    def _try(self, step: Callable[[Case], object]) -> None:
        if self.case is None:
            return
        try:
            step(self.case)
        except CaseError as said:
            self.refused.emit(said.sentence)
        self._read_log()
        self.marks_changed.emit()

    def _read_log(self) -> None:
        if self.case is not None:
            self.marks = marking.marks(self.case)
            self.verdicts = marking.verdicts(self.case, self.finds)
            self.trust = self.trust.with_choices(self.case) if self.trust is not None else None
            self.phases = in_force(self.case, self.proposed)

    # -- finds --------------------------------------------------------------------------------------

    @property
    def states(self) -> dict[str, str]:
        """What people decided on finds, by key: accepted, set aside and so on, in dispute where authors differ."""
        return {key: state_of(said) for key, said in self.verdicts.items()}

    def who_said(self, key: str) -> str:
        """What people decided on a find, and who."""
        return who_said(self.verdicts.get(key, ()))

    @property
    def live_finds(self) -> list[Find]:
        """Finds that nobody set aside or put a mark in the place of: these are drawn."""
        states = self.states
        return [find for find in self.finds if not replaced(states.get(find.key, ""))]

    def moment_words(self, t: float) -> str:
        """What begins, ends or was marked within a second of a moment; empty where nothing is known of it."""
        return moment_words(t, self.phases, self.marks, self.finds, self.class_names)

    @property
    def unset_clocks(self) -> list[str]:
        """Sources whose clock nobody has set, beside the one that is the reference."""
        sources = self.case.sources if self.case is not None else ()
        return [source.name for source in sources if source.clock.method == "unset"]

    @property
    def figures_are_old(self) -> bool:
        """Whether the figures are from before the last edit, and are being worked out again."""
        return bool(self.figures) and self.masks.raw not in self._figures_by

    @property
    def site_reason(self) -> str:
        """Why the arterial site that rules go by is believed."""
        return self.finds.site_reason if isinstance(self.finds, Finds) else ""

    @property
    def channel_names(self) -> dict[str, str]:
        """Plain names of the channels, by id and by canonical name."""
        if self.case is None:
            return {}
        named = {channel.name: channel.plain_name for channel in self.case.channels}
        return named | {channel.id: channel.plain_name for channel in self.case.channels}

    def look(self) -> None:
        """Look for phases and finds and work out the figures, in a process of its own."""
        if self.case is None:
            return
        self._figures_by.clear()
        self._looks.start(self.case.folder, raw=self.masks.raw)

    def _look_at_site(self) -> None:
        if self.case is None:
            return
        self._figures_by.clear()
        if not self._looks.start_believed(self.case.folder, raw=self.masks.raw):
            self.look()

    def take(self, name: str, value: Any) -> None:
        """Take what a look brought in; its parts are named by `Looks.came`."""
        if name == "phases":
            self.proposed = value
            self._read_log()
        elif name == "finds":
            self.finds = value
            self._read_log()
        elif name.endswith("figures"):
            raw = name.startswith("raw")
            self._figures_by[raw] = value
            if raw != self.masks.raw:
                return
            name, self.figures = "figures", value
        elif name == "trust strip":
            self.trust = value.with_choices(self.case) if self.case is not None else None
        elif name == "masks":
            self.masks.rules = value
            self.masks_changed.emit()
        elif name in ("originals", "answers"):
            setattr(self, name, value)
        elif name == "unexplained":
            self.unexplained = value
        self.looked.emit(name)
