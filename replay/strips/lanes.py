"""Thin lanes above the strips: phases, finds, marks and notes as bars, packed so that they can be told apart.

Numbers only; how they are painted stands in `lane_paint`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import isinf
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from afterclamp.annotate.interventions import kind_of
from afterclamp.io.case import Span
from numpy.typing import NDArray

from ..find_words import code_words
from ..wording import Z95, phase_name

if TYPE_CHECKING:
    from afterclamp.annotate.marks import Mark
    from afterclamp.annotate.phase_model import Phase
    from afterclamp.annotate.rules import Find
    from afterclamp.io.case import TimedNote

LaneKind = Literal["phase", "find", "mark", "given", "note"]

_TITLES: Final[dict[LaneKind, str]] = {
    "phase": "Phases", "find": "Finds", "mark": "Marks", "given": "Given, done", "note": "Notes",
}  # fmt: skip
CLOCK_NOT_SET: Final = "clock not set"
_ROWS: Final[dict[LaneKind, int]] = {"phase": 4, "find": 3, "mark": 2, "given": 2, "note": 2}


@dataclass(frozen=True, slots=True)
class Bar:
    """Something with a time that a lane shows.

    Attributes
    ----------
    start, end : float
        Reference seconds; equal for a moment.
    label : str
        Short, on the lane.
    detail : str
        Whole, in the tip.
    sd_s : float
        Standard deviation of its times in seconds; edges fade over plus and minus two of them. Infinite
        where nobody has set the clock that its times come from.
    origin : object
        What it was made from; the view hands it back when somebody picks the bar.
    """

    start: float
    end: float
    label: str
    detail: str = ""
    sd_s: float = 0.0
    origin: object = None

    @property
    def clock_unset(self) -> bool:
        """Whether nobody has set the clock that its times come from."""
        return isinf(self.sd_s)

    @property
    def fade_s(self) -> float:
        """Two standard deviations, over which its edges fade; 0 where they would fade over everything."""
        return 0.0 if self.clock_unset else 2 * self.sd_s


@dataclass(frozen=True)
class Lane:
    """Bars of one kind in rows.

    Attributes
    ----------
    kind : str
        What the bars are.
    bars : tuple of Bar
        In order of start.
    start, end : ndarray of float64
        Their times again, for finding the visible ones quickly.
    row : ndarray of int
        Row of each bar.
    rows : int
        How many rows there are.
    fades : ndarray of float64
        `Bar.fade_s` of each bar.
    fade : float
        The longest `Bar.fade_s`.
    clock_unset : bool
        Whether a bar's times come from a clock that nobody has set.
    """

    kind: LaneKind
    bars: tuple[Bar, ...]
    start: NDArray[np.float64]
    end: NDArray[np.float64]
    row: NDArray[np.int64]
    rows: int
    fades: NDArray[np.float64]
    fade: float = 0.0
    clock_unset: bool = False

    @property
    def title(self) -> str:
        """What the lane shows, for its margin."""
        return f"{_TITLES[self.kind]}, ? {CLOCK_NOT_SET}" if self.clock_unset else _TITLES[self.kind]

    def at(self, early: float, late: float, row: int) -> Bar | None:
        """The shortest bar of a row that touches the stretch from `early` to `late`."""
        found = self.all_at(early, late, row)
        return found[0] if found else None

    def all_at(self, early: float, late: float, row: int) -> list[Bar]:
        """Every bar of a row that touches the stretch from `early` to `late`, the shortest first."""
        touched = np.flatnonzero((self.start <= late) & (self.end >= early) & (self.row == row))
        ordered = touched[np.argsort((self.end - self.start)[touched], kind="stable")]
        return [self.bars[number] for number in ordered.tolist()]


def lanes_of(
    *,
    phases: Sequence[Phase | Bar] = (),
    finds: Sequence[Find | Bar] = (),
    marks: Sequence[Mark | Bar] = (),
    notes: Sequence[TimedNote | Bar] = (),
    most_rows: int = 4,
) -> tuple[Lane, ...]:
    """Lanes for what there is, of at most so many rows each; a kind without bars gets none.

    Lines that name something given or done (`annotate.interventions`) stand in a lane of their own.
    """
    lines = [item if isinstance(item, Bar) else _note_bar(item) for item in notes]
    kinds: tuple[tuple[LaneKind, list[Bar]], ...] = (
        ("phase", [item if isinstance(item, Bar) else _phase_bar(item) for item in phases]),
        ("find", [item if isinstance(item, Bar) else _find_bar(item) for item in finds]),
        ("mark", [item if isinstance(item, Bar) else _mark_bar(item) for item in marks]),
        ("given", [_given_bar(bar) for bar in lines if kind_of(bar.label)]),
        ("note", [bar for bar in lines if not kind_of(bar.label)]),
    )
    return tuple(pack(kind, bars, most_rows) for kind, bars in kinds if bars)


def pack(kind: LaneKind, bars: Iterable[Bar], most_rows: int = 4) -> Lane:
    """Put bars into rows so that those that overlap stand in different ones, the longer above.

    Where there are more than the lane's rows hold, the rest share the last row.
    """
    ordered = sorted(bars, key=lambda bar: (bar.start, -bar.end))
    free = [-np.inf] * max(1, min(_ROWS[kind], most_rows))
    rows = []
    for bar in ordered:
        row = next((index for index, until in enumerate(free) if until <= bar.start), len(free) - 1)
        free[row] = max(free[row], bar.end)
        rows.append(row)
    return Lane(
        kind,
        tuple(ordered),
        np.array([bar.start for bar in ordered], np.float64),
        np.array([bar.end for bar in ordered], np.float64),
        np.array(rows, np.int64),
        1 + max(rows, default=0),
        np.array([bar.fade_s for bar in ordered], np.float64),
        max((bar.fade_s for bar in ordered), default=0.0),
        any(bar.clock_unset for bar in ordered),
    )


def within(lane: Lane, span: Span) -> Lane | None:
    """The lane with the bars of one window only, packed anew; None where it has none."""
    bars = [bar for bar in lane.bars if bar.start <= span.end and bar.end >= span.start]
    return pack(lane.kind, bars) if bars else None


def _phase_bar(phase: Phase) -> Bar:
    plain = phase_name(phase.name)
    return Bar(phase.start_s, phase.end_s, plain, plain, phase.unc_s / Z95, phase)


def _find_bar(find: Find) -> Bar:
    code = code_words(find)
    return Bar(find.start_s, find.end_s, code, f"{code} {find.name}", find.unc_s / Z95, find)


def _mark_bar(mark: Mark) -> Bar:
    words = " ".join(part for part in (mark.code, mark.text) if part)
    return Bar(mark.start_s, max(mark.start_s, mark.end_s), words or "mark", words, 0.0, mark)


def _given_bar(bar: Bar) -> Bar:
    """A line that names something given or done, with its class before the words as written."""
    return replace(bar, detail=f"{kind_of(bar.label)}: {bar.detail or bar.label}")


def _note_bar(note: TimedNote) -> Bar:
    return Bar(note.t, max(note.t, note.t_end), note.text, note.text, note.sd_s, note)
