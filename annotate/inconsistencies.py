"""Fourteen things that cannot all be as they stand: of phases, of what was said, of the traces, of the case sheet.

Each is asked about in a sentence with its times and with what can be done; none is put right by itself. Two times
whose ± overlap are never called out of order, and nothing is said of a time whose clock nobody set.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from .order import Z95
from .phase_clamp import clamp_events, clock, one_ended
from .phase_durations import Duration, durations, length_sd
from .phase_model import NAMES, Boundary, Phase
from .said import CopiedLength, Said, SaidEvent, copied_lengths, grouped, said_times
from .said_against import against_traces
from .trace_contradictions import of_traces
from .view import View

if TYPE_CHECKING:
    from afterclamp.io.case import Case
    from afterclamp.io.case_sheet import CaseSheet

CHECKS: dict[int, str] = {
    1: "clamp outside bypass",
    2: "clamps over each other, backwards, or with one end",
    3: "arrest outside bypass",
    4: "head perfused alone outside an arrest of the lower body",
    5: "flow or pressure within an arrest without flow",
    6: "arrest of a warm body",
    7: "parts of an arrest do not add up",
    8: "protamine before off bypass",
    9: "heparin or clotting time missing before bypass",
    10: "two sources differ by more than their ±",
    11: "warming begins before the last cold event ends",
    12: "temperature falls while it is called warming",
    13: "a duration copied by hand differs",
    14: "a clock steps within a phase",
}
"""Number and name of each check."""

PARTS_S = 5.0  # by which the parts of an arrest may miss the whole
SAID_SLACK_S = 30.0
"""What is said or written of a moment may miss it by so much beside its ± (this project's choice)."""


@dataclass(frozen=True, slots=True)
class Inconsistency:
    """One thing to ask a person about.

    Attributes
    ----------
    number : int
        Key of `CHECKS`.
    text : str
        The sentence, ``{0}``, ``{1}`` where `at_s` stand.
    todo : str
        What a person can do.
    at_s : tuple of float
        Reference seconds that it speaks of, the first one where to look.
    """

    number: int
    text: str
    todo: str
    at_s: tuple[float, ...] = ()

    def sentence(self, time_text: Callable[[float], str] = clock) -> str:
        """The sentence with its times as `time_text` writes them."""
        return self.text.format(*map(time_text, self.at_s))

    def in_words(self, time_text: Callable[[float], str] = clock) -> str:
        """Sentence and what to do, as one line."""
        return f"{self.sentence(time_text)} {self.todo}"


def inconsistencies_of(case: Case, found: Sequence[Phase], view: View) -> list[Inconsistency]:
    """`inconsistencies` of a case: its lines, its phases in force, its view, its case sheet."""
    return inconsistencies(found, said_times(case.notes), view, case.sheet, copied=copied_lengths(case.notes))


def inconsistencies(
    found: Sequence[Phase],
    said: Sequence[Said] = (),
    view: View | None = None,
    sheet: CaseSheet | None = None,
    *,
    copied: Sequence[CopiedLength] = (),
) -> list[Inconsistency]:
    """What cannot all be as it stands, by number and then in order of time.

    Parameters
    ----------
    found : sequence of Phase
        In force.
    said : sequence of Said
        What people wrote and said (`said.said_times`).
    view : View, optional
        The traces; without them 5, 6, 12 and 14 are not asked.
    sheet : CaseSheet, optional
        Heparin, clotting times and protamine of it count before what was said.
    copied : sequence of CopiedLength
        Durations that somebody wrote down as numbers.
    """
    events = grouped(said)
    doses = [phase for phase in found if phase.name == "cardioplegia"]
    ranked = clamp_events(view if view is not None else View(0.0, {}), events, doses)
    out = [
        *_clamp_outside(found),
        *_clamps(found, ranked),
        *_arrest_outside(found),
        *_head_outside(found),
        *_parts(found),
        *_protamine(found, events, sheet),
        *_anticoagulation(found, said, sheet),
        *_sources(found, events, ranked),
        *_warming(found),
        *_copied(durations(found), copied),
    ]
    if view is not None:
        out += [Inconsistency(*one) for one in of_traces(found, view)]
    return sorted(out, key=lambda one: (one.number, one.at_s[:1]))


def pm(half_width_s: float) -> str:
    """A ± in whole seconds, at least one."""
    return f"± {max(half_width_s, 1.0):.0f} s" if np.isfinite(half_width_s) else "± unknown"


def _surely_before(one: Boundary, other: Boundary, slack_s: float = 0.0) -> bool:
    """Whether a boundary lies before another by more than both ± allow."""
    apart = Z95 * length_sd(one, other)
    return bool(np.isfinite(apart)) and other.time_s - one.time_s > apart + slack_s


def _within(inner: Phase, outer: Phase) -> bool:
    """Whether nothing says that a phase sticks out of another."""
    return not _surely_before(inner.start, outer.start) and not _surely_before(outer.end, inner.end)


def _named(found: Iterable[Phase], *names: str) -> list[Phase]:
    return [phase for phase in found if phase.name in names]


def _overlaps(one: Phase, other: Phase) -> float:
    return min(one.end_s, other.end_s) - max(one.start_s, other.start_s)


def _nearest(phase: Phase, among: Sequence[Phase]) -> Phase:
    return max(among, key=lambda other: _overlaps(phase, other))


# -- nesting ---------------------------------------------------------------------------------------


def _clamp_outside(found: Sequence[Phase]) -> Iterator[Inconsistency]:
    bypasses = _named(found, "bypass")
    for clamp in _named(found, "clamp") if bypasses else ():
        bypass = _nearest(clamp, bypasses)
        todo = "Look at what dates the clamp, or set its times on the phase ladder."
        if bypass.start.recorded and _surely_before(clamp.start, bypass.start):
            yield Inconsistency(
                1, f"The clamp goes on at {{0}} {pm(clamp.start.unc_s)}, before bypass at {{1}} "
                f"{pm(bypass.start.unc_s)}.",
                todo, (clamp.start_s, bypass.start_s),
            )  # fmt: skip
        if bypass.end.recorded and clamp.end.recorded and _surely_before(bypass.end, clamp.end):
            yield Inconsistency(
                1, f"The clamp comes off at {{0}} {pm(clamp.end.unc_s)}, after bypass ended at {{1}} "
                f"{pm(bypass.end.unc_s)}.",
                todo, (clamp.end_s, bypass.end_s),
            )  # fmt: skip


def _clamps(found: Sequence[Phase], ranked: Sequence[SaidEvent]) -> Iterator[Inconsistency]:
    clamps = sorted(_named(found, "clamp"), key=lambda phase: phase.start_s)
    for clamp in clamps:
        if clamp.end_s <= clamp.start_s:
            yield Inconsistency(
                2, "The clamp comes off at {1}, not after it went on at {0}.", "Set its times on the phase ladder.",
                (clamp.start_s, clamp.end_s),
            )  # fmt: skip
    for one, other in itertools.pairwise(clamps):
        if _surely_before(other.start, one.end):
            yield Inconsistency(
                2, "A clamp goes on at {0} while another is on until {1}.",
                "Set the times of both on the phase ladder, or take one away.", (other.start_s, one.end_s),
            )  # fmt: skip
    for event in one_ended(ranked):
        if any(
            min(abs(event.t - end) for end in (clamp.start_s, clamp.end_s)) <= event.best.unc_s + SAID_SLACK_S
            or (clamp.set_by and clamp.start_s - 900 <= event.t <= clamp.end_s + 900)
            for clamp in clamps
        ):
            continue
        on = event.kind == "clamp_on"
        yield Inconsistency(
            2,
            f"{_quote(event.best)} at {{0}} {pm(event.best.unc_s)} has no time at which the clamp "
            f"{'came off behind' if on else 'went on before'} it.",
            "Set the clamp's times on the phase ladder.",
            (event.t,),
        )


def _arrest_outside(found: Sequence[Phase]) -> Iterator[Inconsistency]:
    bypasses = _named(found, "bypass")
    for arrest in _named(found, "lower_body_arrest", "no_flow_arrest"):
        if arrest.name == "no_flow_arrest" and any(
            _overlaps(arrest, other) > 0 for other in _named(found, "lower_body_arrest")
        ):
            continue  # said of the arrest that it is a part of
        if not any(_within(arrest, bypass) for bypass in bypasses):
            yield Inconsistency(
                3, f"The {_lower(arrest)} from {{0}} to {{1}} does not lie within bypass.",
                "Look whether bypass has its times, or whether this was off bypass.", (arrest.start_s, arrest.end_s),
            )  # fmt: skip


def _head_outside(found: Sequence[Phase]) -> Iterator[Inconsistency]:
    arrests = _named(found, "lower_body_arrest")
    for head in _named(found, "selective_cerebral"):
        if not any(_within(head, arrest) for arrest in arrests):
            yield Inconsistency(
                4, "The head is perfused alone from {0} to {1}, not within an arrest of the lower body.",
                "Look at the femoral pressure then, or set the arrest's times.", (head.start_s, head.end_s),
            )  # fmt: skip


def _lower(phase: Phase) -> str:
    return NAMES[phase.name]


def _parts(found: Sequence[Phase]) -> Iterator[Inconsistency]:
    parts = _named(found, "no_flow_arrest", "selective_cerebral")
    for arrest in _named(found, "lower_body_arrest"):
        own = [part for part in parts if _overlaps(part, arrest) > 0]
        total = sum(part.duration_s for part in own)
        if own and abs(total - arrest.duration_s) > PARTS_S:
            yield Inconsistency(
                7,
                f"The arrest from {{0}} to {{1}} lasts {clock(arrest.duration_s)}, its parts without flow and with the "
                f"head perfused add up to {clock(total)}.",
                "Set the times of the parts, or of the whole.",
                (arrest.start_s, arrest.end_s),
            )


def _warming(found: Sequence[Phase]) -> Iterator[Inconsistency]:
    cold = _named(found, "lower_body_arrest", "no_flow_arrest", "selective_cerebral", "cooling")
    for warm in _named(found, "warming"):
        reaching = [
            one for one in cold
            if one.start_s < warm.end_s and one.end_s > warm.start_s and _surely_before(warm.start, one.end)
        ]  # fmt: skip
        if reaching:
            last = max(reaching, key=lambda phase: phase.end_s)
            yield Inconsistency(
                11, f"Warming begins at {{0}} {pm(warm.start.unc_s)}, before the {_lower(last)} ends at {{1}} "
                f"{pm(last.end.unc_s)}.", "Look at outlet and venous temperature there.", (warm.start_s, last.end_s),
            )  # fmt: skip


# -- what was said and written ---------------------------------------------------------------------


def _quote(one: Said) -> str:
    text = f"“{one.text}” ({one.source.replace('_', ' ')})" if one.text else one.source.replace("_", " ")
    return text.replace("{", "{{").replace("}", "}}")


def _boundary_of(one: Said) -> Boundary:
    clock_sd = float(np.sqrt(max(one.sd_s**2 - one.written_sd_s**2, 0.0)))
    return Boundary(one.t, "", source=one.source, sampling_sd_s=one.written_sd_s, clock_sd_s=clock_sd)


def _protamine(
    found: Sequence[Phase], events: Sequence[SaidEvent], sheet: CaseSheet | None
) -> Iterator[Inconsistency]:
    ends = [phase for phase in _named(found, "bypass") if phase.end.recorded]
    if not ends:
        return
    first = min(ends, key=lambda phase: phase.end_s)
    given = (
        [Said("protamine", row.time, 0.0, "", "the case sheet") for row in sheet.protamine] if sheet else []
    )
    given = given or [event.best for event in events if event.kind == "protamine"]
    for one in given:
        if _surely_before(_boundary_of(one), first.end):
            yield Inconsistency(
                8, f"Protamine at {{0}} {pm(one.unc_s)} by {_quote(one)}, before bypass ended at {{1}} "
                f"{pm(first.end.unc_s)}.", "Look which of the two times is meant otherwise.", (one.t, first.end_s),
            )  # fmt: skip


def _anticoagulation(
    found: Sequence[Phase], said: Sequence[Said], sheet: CaseSheet | None
) -> Iterator[Inconsistency]:
    begun = [phase for phase in _named(found, "bypass") if phase.start.recorded]
    if not begun:
        return
    on = min(begun, key=lambda phase: phase.start_s)
    rows = {
        "heparin": [Said("heparin", row.time, source="the case sheet") for row in sheet.heparin]
        if sheet
        else [],
        "act": [Said("act", row.drawn, source="the case sheet") for row in sheet.clotting_time]
        if sheet
        else [],
    }
    todo = "Write it on the case sheet, or look at the clock that it was written by."
    for kind, words in (("heparin", "heparin"), ("act", "activated clotting time")):
        own = rows[kind] or [one for one in said if one.kind == kind]
        if not own:
            yield Inconsistency(
                9, f"No {words} is written down before going on bypass at {{0}}.", todo, (on.start_s,)
            )
            continue
        first = min(own, key=lambda one: one.t)
        if _surely_before(on.start, _boundary_of(first)):
            yield Inconsistency(
                9, f"The first {words} is at {{0}} {pm(first.unc_s)} by {_quote(first)}, after going on bypass "
                f"at {{1}} {pm(on.start.unc_s)}.", todo, (first.t, on.start_s),
            )  # fmt: skip


def _sources(
    found: Sequence[Phase], events: Sequence[SaidEvent], ranked: Sequence[SaidEvent]
) -> Iterator[Inconsistency]:
    """10: sources against each other, then against what the traces date."""
    told = [event for event in events if event.kind not in ("clamp_on", "clamp_off")]
    disputed: set[Said] = set()
    for event in (*told, *ranked):
        chosen = event.best
        for other in event.differing(SAID_SLACK_S):
            disputed.add(other)
            yield Inconsistency(
                10,
                f"{_quote(other)} is at {{1}} {pm(other.unc_s)}, {_quote(chosen)} at {{0}} {pm(chosen.unc_s)}: "
                f"{clock(abs(other.t - chosen.t))} apart.",
                "The one that the traces fit better is used; set the time that counts.",
                (chosen.t, other.t),
            )
    for one, edge, name, end in against_traces(found, told, SAID_SLACK_S):
        if one in disputed:
            continue
        yield Inconsistency(
            10,
            f"{_quote(one)} is at {{1}} {pm(one.unc_s)}, the {end} of {NAMES[name]} by "
            f"{edge.channel.replace('_', ' ')} at {{0}} {pm(edge.unc_s)}: {clock(abs(one.t - edge.time_s))} apart.",
            "Look at the clock that the line was written by, and at the trace.",
            (edge.time_s, one.t),
        )


def _copied(sums: dict[str, Duration], copied: Sequence[CopiedLength]) -> Iterator[Inconsistency]:
    for one in copied:
        length = sums.get(one.name)
        if length is None or length.at_least or not np.isfinite(length.unc_s):
            continue
        allowed = length.unc_s + (60.0 if one.whole_minutes else 1.0)
        # One of several may be meant, and bypass is counted with and without the time of no flow.
        meant = [length.total_s, *(part[2] for part in length.each)]
        if one.name == "bypass" and "bypass_net_of_no_flow" in sums:
            meant.append(sums["bypass_net_of_no_flow"].total_s)
        if all(abs(one.seconds - known) > allowed for known in meant):
            yield Inconsistency(
                13,
                f"{_quote(Said('', one.t, text=one.text, source=one.source))} at {{0}}: {length.name} is "
                f"{clock(length.total_s)} {pm(length.unc_s)} from its start to its end.",
                "Look which of the two was copied wrongly; the paper gives what its ends make.",
                (one.t,),
            )
