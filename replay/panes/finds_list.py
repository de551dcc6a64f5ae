"""Finds: what the rules propose, with what a person said about each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from afterclamp.annotate.find_phases import phases_at
from afterclamp.annotate.finds import Find, Finds
from afterclamp.annotate.phase_model import Phase
from PySide6.QtWidgets import QAbstractItemView, QWidget

from ..find_words import PROPOSED, code_words
from ..wording import phase_name
from .clock_face import ClockFace, length, within
from .find_filters import FindFacts, FindFilters
from .lists import Column, ListPane, Row

COLUMNS = (
    Column("Time", "00:00:00", "When it begins"),
    Column(
        "±",
        "± 9 s",
        "What its times leave open, 95 %: the clocks of its channels, and the second that a rule goes by",
        right=True,
    ),
    Column("Code", "E00", "Class of the pattern, with its subtype; the catalogue has its rule", whole=True),
    Column("What", "", "Plain name of the pattern"),
    Column(
        "State",
        "proposed",
        "Proposed, or what a person made of it: A accepts, S sets aside, C calls it another class, J joins, X splits",
    ),
    Column("Phase", "cooling", "The innermost phase that it begins in", firm=True),
    Column("Length", "12:00 min", "From its begin to its end", right=True, spare=True),
    Column("Plain", "plain", "How plainly the rule's numbers are met; no probability", spare=True),
    Column("Channels", "femoral", "What it was found on", spare=True),
)

NAMED = 2  # channels that are named before the rest is counted

NOT_LOOKED = "This case has not been looked through yet."
LOOKING = "This case is being looked through: finds are shown as soon as they are there."
NOTHING_FOUND = "The rules found nothing. What they could not look for stands under Loose ends."


def plainness(find: Find) -> str:
    """How plainly the rule's numbers are met, in a word."""
    return "plain" if find.confidence >= 0.8 else "fair" if find.confidence >= 0.5 else "weak"


def find_row(
    find: Find, face: ClockFace, state: str, channel_names: Mapping[str, str], phases: Sequence[Phase] = ()
) -> Row:
    """One find as a row."""
    each = [channel_names.get(name, name.replace("_", " ")) for name in find.channels]
    every = ", ".join(each)
    names = every if len(each) <= NAMED + 1 else f"{', '.join(each[:NAMED])} and {len(each) - NAMED} more"
    span = find.end_s - find.start_s
    what = f"{find.name}, {names}" if find.code.startswith("A") else find.name
    doubt = within(find.unc_s)
    code = code_words(find)
    holding = phases_at(phases, find.start_s)
    inside = phase_name(holding[-1]) if holding else "–"
    cells = (
        face.text(find.start_s),
        doubt,
        code,
        what,
        state,
        inside,
        length(span),
        plainness(find),
        names,
    )
    begun = [phase.start_s for phase in phases if holding and phase.name == holding[-1]]
    return Row(
        key=find.key,
        start=find.start_s,
        end=find.end_s,
        cells=cells,
        order=(
            *(find.start_s, find.unc_s, code, find.name, state),
            *(min(begun, default=-1.0), span, find.confidence, names),
        ),
        tip=f"{code} {find.name}\n"
        f"{face.text(find.start_s)} to {face.text(find.end_s)} {doubt}, {length(span)}, in {_nested(holding)}\n"
        f"{every}, {plainness(find)}\n{state}; Enter goes there, A accepts, S sets aside"
        f"{' and lets its seconds count' if find.code.startswith('A') else ''}, C calls it another class, "
        "J joins, X splits at the playhead, Ctrl+Z takes that back",
        dim=state.startswith("set aside"),
        item=find,
    )


def _nested(phases: Sequence[str]) -> str:
    return ", ".join(phase_name(name) for name in phases) or "no phase"


class FindsList(ListPane):
    """The list of finds.

    Attributes
    ----------
    not_reviewed : int
        Finds that nobody has decided on.
    filters : FindFilters
        By class, phase and state.
    """

    def __init__(self, face: ClockFace, parent: QWidget | None = None) -> None:
        super().__init__("Finds", COLUMNS, NOT_LOOKED, parent)
        self._face = face
        self.not_reviewed = 0
        self._looked = self._looking = False
        self._facts: dict[str, FindFacts] = {}
        self._finds: Sequence[Find] = ()
        self.filters = FindFilters(self)
        self._column.insertWidget(1, self.filters)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.filters.changed.connect(self._rewanted)
        self.filters.left.connect(self.to_list)
        self.shown_changed.connect(self._count)
        self._rewanted()

    @property
    def title(self) -> str:
        """For the tab: how many nobody has judged yet, of how many."""
        many = len(self.model.rows)
        if not many:
            return "Finds"
        return f"Finds {self.not_reviewed} of {many}" if self.not_reviewed else f"Finds {many}"

    @property
    def title_tip(self) -> str:
        """What the numbers of `title` count."""
        many = len(self.model.rows)
        return (
            f"{self.not_reviewed} of {many} finds nobody has accepted (A), set aside (S) or changed (C, J, X) yet"
            if many
            else ""
        )

    def set_looking(self, looking: bool) -> None:
        """Whether the case is being looked through: what stands here until there are finds."""
        self._looking = looking
        self._say_why()

    def _say_why(self) -> None:
        self.say_why_empty(NOTHING_FOUND if self._looked else LOOKING if self._looking else NOT_LOOKED)

    def show_finds(
        self,
        finds: Iterable[Find],
        states: Mapping[str, str],
        channel_names: Mapping[str, str],
        phases: Sequence[Phase] = (),
        class_names: Mapping[str, str] | None = None,
    ) -> None:
        """Show finds with their states, by key of the find.

        Parameters
        ----------
        finds : iterable of Find
            `Finds` once the rules have looked.
        states : mapping of str to str
            What people decided, by key of the find.
        channel_names : mapping of str to str
            Plain names by canonical name.
        phases : sequence of Phase
            In force.
        class_names : mapping of str to str, optional
            Plain names of every class, by code.
        """
        self._looked = isinstance(finds, Finds)
        self._say_why()
        self.model.set_heading(0, self._face.unit)
        self._finds = finds if isinstance(finds, Finds) else tuple(finds)
        self._facts = {
            find.key: FindFacts(find.code, phases_at(phases, find.start_s), states.get(find.key, PROPOSED))
            for find in self._finds
        }
        begins: dict[str, float] = {}
        for phase in phases:
            begins[phase.name] = min(phase.start_s, begins.get(phase.name, phase.start_s))
        self.filters.offer(list(self._facts.values()), class_names or {}, begins)
        rows = [
            find_row(find, self._face, states.get(find.key, PROPOSED), channel_names, phases)
            for find in self._finds
        ]
        self.not_reviewed = sum(1 for row in rows if row.item.key not in states)
        self.set_rows(rows)

    def reveal(self, key: str) -> bool:
        """Select a find, and show all finds where the filters hide it; whether they had to be taken off."""
        if self.select(key) or key not in self._facts:
            return False
        self.show_all()
        self.select(key)
        return True

    def show_all(self) -> None:
        """Take every filter off."""
        self.filter.clear()
        self.filters.choose(("", "", ""))

    def next_like(self, find: Find) -> Find | None:
        """The next find of the same class and subtype, in time, among those shown that stand as they were found.

        One that was set aside, split or called something else is passed over.
        """
        later = [
            row.item
            for row in self.shown()
            if (row.item.code, row.item.subtype) == (find.code, find.subtype)
            and row.item.key != find.key
            and row.item.start_s >= find.start_s
            and not self._facts[row.key].state.startswith(("set aside", "split", "reclassified"))
        ]
        return min(later, key=lambda one: float(one.start_s), default=None)

    @property
    def kept(self) -> list[object]:
        """What to remember for the next time: the three filters, and the order."""
        heading, descending = self.sorting
        return [*self.filters.wanted, heading, descending]

    def keep(self, kept: Sequence[object]) -> None:
        """Take up what was remembered."""
        if len(kept) == 5:
            code, phase, state, heading = (str(one) for one in kept[:4])
            self.filters.choose((code, phase, state))
            self.sort(heading, bool(kept[4]))

    def _rewanted(self) -> None:
        self.want(self._wants if any(self.filters.wanted) else None)

    def _wants(self, row: Row) -> bool:
        facts = self._facts.get(row.key)
        return facts is not None and self.filters.wants(facts)

    def _count(self) -> None:
        self.filters.show_count(len(self.shown()), len(self.model.rows))

    def _why_none(self) -> str:
        """Why no find passes: the class was not looked for, or was and is not there, or is elsewhere."""
        code = self.filters.wanted[0]
        there = any(self.filters.wants(facts) for facts in self._facts.values())
        if self.filter.text() and (there or not any(self.filters.wanted)):
            return super()._why_none()
        of_class = [find for find in self._finds if find.code == code]
        if len(code) > 1 and not of_class:
            return f"No find of this kind: {self._why_not(code)} Shift+A shows all finds."
        many = len(self.model.rows)
        of = "The one find is not" if many == 1 else f"None of the {many} finds is"
        return f"{of} {self.filters.words}. Shift+A shows all finds."

    def _why_not(self, code: str) -> str:
        found = self._finds
        if not isinstance(found, Finds):
            return f"{code} has not been looked for yet."
        said = [line for line in found.not_looked_for if line.startswith((f"{code} ", f"{code}."))]
        back = [find for find in found.held_back if find.code == code]
        words = "; ".join(said) or f"{code} was looked for, and nothing fits its rule"
        if back:
            words += f"; {len(back)} seen and not put forward ({back[0].held_back})"
        return f"{words}."
