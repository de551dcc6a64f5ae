"""What the heart does as blood comes back to it: it quivers without ejecting, or beats irregularly."""

from __future__ import annotations

import numpy as np

from ..beats import Beats
from ..quiver import WINDOW_S
from ..runs import BRIDGE_S, BoolArray, FloatArray, evidence_runs, median, smooth
from ..view import View
from .course_find import course_find
from .heart import PULSE_SMOOTH_S
from .rule import Find, Parameter, Params, Rule, alternative

RIPPLE_SMOOTH_S = 21
RIPPLE_CLOSE_S = 30
RHYTHM_S = 31  # s of beats that a spread of intervals is taken from
FEWEST_BEATS = 12
MIDDLE_BEATS = 25  # of which the middle half is looked at
AROUND_BEATS = 10
MISSED = 12  # %, within which two or three usual intervals are beats that were not seen
SPREAD_CLOSE_S = 15
ENDS_S = (5, 35)  # s after irregular beats in which the rhythm that follows is looked at
PLAIN_SPREAD = 10.0  # %
REGULAR = 2.0  # %, spread of paced beats
PLAIN_RIPPLE = 0.2  # mm[Hg], that is plain


def find_reperfusion_arrhythmia(view: View, params: Params) -> list[Find]:
    """E24: see the rule's words."""
    after = _after_clamp(view)
    if not after.any():
        return []
    found = [*_fibrillating(view, params, after), *_irregular(view, params, after)]
    return sorted(found, key=lambda one: one.start_s)


def _after_clamp(view: View) -> BoolArray:
    """Seconds on bypass after the clamp came off; after the last arrest, or from warming on, where nobody says."""
    mask = view.inside("bypass") & ~view.inside("lower_body_arrest", "no_flow_arrest", "selective_cerebral")
    clamps = [phase.end_s for phase in view.of_name("clamp") if phase.end.recorded]
    arrests = [phase.end_s for phase in (*view.of_name("no_flow_arrest"), *view.of_name("lower_body_arrest"))]
    warming = [phase.start_s for phase in view.of_name("warming")]
    begins = clamps or arrests or warming
    if not begins:
        return np.zeros(view.n, dtype=np.bool_)
    mask[: view.index(min(begins) if clamps else max(arrests, default=min(begins)))] = False
    return mask


def _fibrillating(view: View, params: Params, after: BoolArray) -> list[Find]:
    ripple, pulse = view.quiver.get(view.believed), view.pulse[view.believed]
    if ripple is None:
        return []
    level = smooth(ripple, RIPPLE_SMOOTH_S)
    still = smooth(pulse, PULSE_SMOOTH_S) < params["none"]
    holds = (level >= params["ripple"]) & still & after
    found = []
    for run in evidence_runs(
        holds, np.isfinite(level), minimum=int(params["ripple_minimum"]), close=RIPPLE_CLOSE_S
    ):
        found.append(
            course_find(
                E24, view, run, level, params=params, channels=(view.believed,), limit=params["ripple"], unit="mm[Hg]",
                above=True, plain=PLAIN_RIPPLE, minimum=params["ripple_minimum"], site=view.believed,
                name="fibrillation on reperfusion (candidate)", of="irregular ripple", ends_with=_ends(view, run.stop),
                alternatives=[
                    alternative("the ripple of a pump", "that has one frequency, and single lines are left out"),
                    alternative("diathermy or movement", "those seconds would be masked as noise"),
                    alternative("another rhythm without ejection", "cannot tell from pressures: an ECG decides"),
                ],
            )
        )  # fmt: skip
    return found


def _irregular(view: View, params: Params, after: BoolArray) -> list[Find]:
    beats = view.beats.get(view.believed)
    if beats is None or len(beats) < FEWEST_BEATS:
        return []
    spread = interval_spread(view, beats)
    pulse = smooth(view.pulse[view.believed], PULSE_SMOOTH_S)
    irregular = (spread > params["spread"]) & (middle_spread(view, beats) > params["spread"] / 2)
    holds = irregular & (pulse >= params["pulse"]) & after
    known = np.isfinite(spread) & np.isfinite(pulse)
    found = []
    for run in evidence_runs(
        holds & known, known, minimum=int(params["spread_minimum"]), close=SPREAD_CLOSE_S
    ):
        found.append(
            course_find(
                E24, view, run, spread, params=params, channels=(view.believed,), limit=params["spread"], unit="%",
                above=True, plain=PLAIN_SPREAD, minimum=params["spread_minimum"], site=view.believed,
                name="irregular beats on reperfusion", of="spread of the beat intervals",
                ends_with=_ends(view, run.stop),
                alternatives=[
                    alternative("noise taken for beats",
                        f"the pulse was {median(pulse[run.start : run.stop]):.0f} mmHg"),
                    alternative("an irregular heart all along", _spread_before(view, spread)),
                ],
            )
        )  # fmt: skip
    return found


def interval_spread(view: View, beats: Beats, seconds: int = RHYTHM_S) -> FloatArray:
    """Coefficient of variation of the beat intervals around each second, %; NaN with too few beats."""
    length = without_missed(beats.end - beats.onset)
    second = np.floor(beats.onset - view.start).astype(np.intp)
    inside = (second >= 0) & (second < view.n)
    kept, window = length[inside], np.ones(seconds)
    count, total, squares = (
        np.convolve(np.bincount(second[inside], weights, minlength=view.n).astype(np.float64), window, "same")
        for weights in (np.ones(kept.size), kept, kept**2)
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = total / count
        spread = 100 * np.sqrt(np.maximum(squares / count - mean**2, 0)) / mean
    return np.where(count >= FEWEST_BEATS, spread, np.nan)


def middle_spread(view: View, beats: Beats) -> FloatArray:
    """Spread of the middle half of the intervals around each second, %: few beats that noise made do not move it.

    Interquartile range over 1.349, which is the standard deviation where they are normally distributed, over the
    median; of `MIDDLE_BEATS` beats, at the seconds of the middle one, NaN beside them.
    """
    out = np.full(view.n, np.nan)
    length = without_missed(beats.end - beats.onset)
    if length.size < MIDDLE_BEATS:
        return out
    windows = np.lib.stride_tricks.sliding_window_view(length, MIDDLE_BEATS)
    low, middle, high = np.percentile(windows, [25, 50, 75], axis=1)
    at = beats.onset[MIDDLE_BEATS // 2 : MIDDLE_BEATS // 2 + middle.size] - view.start
    seconds = np.arange(view.n)
    nearest = np.clip(np.searchsorted(at, seconds), 0, at.size - 1)
    near = np.abs(at[nearest] - seconds) <= RHYTHM_S / 2
    return np.where(near, (100 * (high - low) / 1.349 / middle)[nearest], out)


def without_missed(length_s: FloatArray, around: int = AROUND_BEATS) -> FloatArray:
    """Intervals of beats, those of two or three usual ones as one: a weak beat that was not seen is no irregularity.

    Parameters
    ----------
    length_s : ndarray
        Intervals in order, seconds.
    around : int
        Beats on either side whose lower quartile is the usual interval.
    """
    if not length_s.size:
        return length_s
    padded = np.pad(length_s, around, mode="edge")
    usual = np.percentile(np.lib.stride_tricks.sliding_window_view(padded, 2 * around + 1), 25, axis=1)
    out = length_s.copy()
    for times in (2, 3):
        missed = np.abs(length_s / times - usual) <= MISSED / 100 * usual
        out[missed] = length_s[missed] / times
    return out


def _ends(view: View, stop: int) -> str:
    """What the heart did in the half minute after."""
    beats = view.beats.get(view.believed)
    t = view.time(stop)
    if beats is None:
        return "cannot tell: no beats"
    lengths = (beats.end - beats.onset)[(beats.onset >= t + ENDS_S[0]) & (beats.onset < t + ENDS_S[1])]
    if lengths.size < FEWEST_BEATS:
        return "no beats in the half minute after"
    spread = 100 * float(np.std(lengths) / np.mean(lengths))
    kind = "very regular beats, as when paced" if spread < REGULAR else "beats"
    return f"{kind} after it, {60 / float(np.mean(lengths)):.0f} a minute, intervals spread by {spread:.0f} %"


def _spread_before(view: View, spread: FloatArray) -> str:
    early = spread[~view.inside("bypass")]
    early = early[np.isfinite(early)][:600]
    return (
        f"off bypass the intervals spread by {median(early):.0f} %"
        if early.size
        else "cannot tell: no beats before"
    )


def _parts_of_arrhythmia(view: View, params: Params) -> list[str]:  # noqa: ARG001
    said = []
    if not _after_clamp(view).any():
        return ["E24 not looked for: nothing says when the clamp came off"]
    ripple, beats = view.quiver.get(view.believed), view.beats.get(view.believed)
    if ripple is None or not np.isfinite(ripple).any():
        said.append("E24 not looked for by its ripple: no arterial wave sampled often enough")
    if beats is None or len(beats) < FEWEST_BEATS:
        said.append("E24 not looked for by irregular beats: no beats of the arterial wave")
    return said


E24 = Rule(
    code="E24",
    name="reperfusion arrhythmia",
    family="arrhythmia",
    needs=("site", "pulse", "pump_flow"),
    phase=("bypass",),
    words="On bypass after the clamp is off (where nobody says when: after the last arrest, or from warming on): no "
    "ejection (pulse under {none} mmHg) with a fine irregular ripple of {ripple} mmHg or more at 3 to 8 Hz for at "
    "least "
    "{ripple_minimum} s, a candidate for fibrillation that an ECG decides; or beats with a pulse of {pulse} mmHg or "
    "more "
    "whose intervals spread by more than {spread} %, and their middle half by half as much, for at least "
    "{spread_minimum} s. How it ends is told.",
    status="D",
    source="this project's choice",
    parameters={
        "pulse": Parameter(4, "mm[Hg]", "pulse from which the heart ejects"),
        "none": Parameter(2, "mm[Hg]", "pulse under which nothing is ejected"),
        "ripple": Parameter(0.25, "mm[Hg]", "standard deviation of the ripple from which it counts"),
        "ripple_minimum": Parameter(20, "s", "shortest length, ripple"),
        "spread": Parameter(
            20, "%", "coefficient of variation of the intervals beyond which they are irregular"
        ),
        "spread_minimum": Parameter(30, "s", "shortest length, irregular beats"),
    },
    find=find_reperfusion_arrhythmia,
    details=f"The ripple comes from spectra of {WINDOW_S} s (median over the band, single lines and noise taken "
    f"out), as a "
    f"median of {RIPPLE_SMOOTH_S} s. The spread is the coefficient of variation over {RHYTHM_S} s with {FEWEST_BEATS} "
    f"beats at least; that of the middle half the interquartile range over 1.349 and the median, of {MIDDLE_BEATS} "
    f"beats. "
    f"An interval within {MISSED} % of two or three usual ones (lower quartile of the {2 * AROUND_BEATS + 1} around) "
    f"is "
    f"taken as beats that were not seen. The pulse is a median of {PULSE_SMOOTH_S} s. Beats of {ENDS_S[0]} to "
    f"{ENDS_S[1]} "
    f"s after it that spread by less than {REGULAR:g} % are told as perhaps paced. Interruptions of up to "
    f"{RIPPLE_CLOSE_S} s (ripple) or {SPREAD_CLOSE_S} s (beats), and masked or missing stretches of up to {BRIDGE_S} "
    f"s, do "
    f"not end it; only seconds that were seen count. Plain from {PLAIN_RIPPLE:g} mmHg or {PLAIN_SPREAD:g} % beyond.",
    parts=_parts_of_arrhythmia,
)
RULES = (E24,)
