"""Lines that smooth the pulse or ring with it, and noise that is no pulse, as finds."""

from __future__ import annotations

from dataclasses import replace

from ..artefact_numbers import CLIPPED, DAMPED, NOISE
from ..damping import AGAIN, BIN_S, EDGE, EDGE_S, STEADY_FLOW
from ..line_pulse import PULSE_HZ, RING_HZ
from ..view import View
from .artefact import DOUBTFUL, PLAIN, finds_of
from .rule import Find, Params, Rule, alternative

ALONE = 0.5  # how plain it is without another line beside it

OVER_DAMPED = {
    "a narrow pulse of tamponade or low output": "then it narrows at every site, and in the pulmonary artery too",
    "a radial artery that is wide after bypass": "then its mean falls as well",
    "going on or coming off bypass": "then the pulse changes at every site",
}
RINGING = {
    "a surge or a stiff artery": "then the systolic pressure rises at every site, and nothing swings after it",
    "a pulse that is taller at the wrist all along": "then it does not change from one half minute to the next",
}
CLIPPED_DOUBTS = {
    "a pressure that truly stays at that value": "no pressure comes to exactly one value from far off, beat after beat",
}


def find_damped(view: View, params: Params) -> list[Find]:
    """A4: see the rule's words; over-damped and ringing stretches are told apart by their subtype."""
    found = []
    for one in finds_of(view, "A4", A4.name, A4.sentence(params), {}):
        seen = one.evidence["seen"]
        what = str(seen.get("what", ""))
        doubts = {"ringing": RINGING, "clipped": CLIPPED_DOUBTS}.get(what, OVER_DAMPED)
        evidence = {**one.evidence, "alternatives": [alternative(*pair) for pair in doubts.items()]}
        confidence = PLAIN if seen.get("against") or what == "clipped" else ALONE
        found.append(
            replace(one, name=f"{what} line" if what else one.name, confidence=confidence, evidence=evidence)
        )
    return found


def find_noise(view: View, params: Params) -> list[Find]:
    """A8: see the rule's words; less plain where only the slopes tell."""
    doubts = {
        "early beats": "they keep the shape of a beat, and none rises by so much so fast",
        "a fibrillating heart": "its ripple is slower, 3 to 8 Hz, and on every line",
        "a flush": "it has a plateau, and its ring dies away within a second",
    }
    found = finds_of(view, "A8", A8.name, A8.sentence(params), doubts)
    return [
        replace(one, confidence=PLAIN if one.evidence["seen"].get("loud_s") else DOUBTFUL) for one in found
    ]


_CLIPPED = {f"clipped_{name}": parameter for name, parameter in CLIPPED.items()}
CUT_OFF = (
    "tops or feet of {clipped_beats} beats or more, each within {clipped_window} s of the next, lie at exactly the "
    "highest or lowest value that the channel holds, for {clipped_samples} samples and {clipped_shortest} s or "
    "longer, and come to it from {clipped_steep} mmHg away within as much time ({clipped_longest} s at most): the "
    "channel is full (not from {clipped_shape} % of the time on: that is a wave's shape). From {clipped_mean_top} % "
    "of the time at the highest value, or {clipped_mean_foot} % at the lowest, the mean is wrong too, and it is told "
    "as A9."
)

A4 = Rule(
    code="A4",
    name="over-damped or ringing line",
    family="damped_noisy",
    needs=(),
    phase=(),
    words="Over-damped: the pulse of an arterial line falls under {pulse} % of what it was against every other "
    "arterial line with a pulse, for {shortest} s or longer, while its mean against one of them stays within "
    "{mean} mmHg and the upstroke falls under {slope} % of before; or a flush shows at most {oscillations} "
    "oscillation and the pulse is under {pulse} % of that of every other line for as long; or, without having "
    "changed, the pulse is under {pulse} % of that of every other arterial line that has its whole pulse, the upstroke "
    "under {slope} %, and the beats rounder, for as long, with the mean within {mean} mmHg. Ringing: the systolic "
    "pressure comes to stand more than {over} mmHg higher above the mean than before against every other line, for "
    "as long, with the mean as steady and swings faster than the pulse at least {swings} % as strong beside it as "
    "before. A pulse that narrows or grows on every line, one whose mean moves with it, and one that was narrower "
    "all along are none. Where no other arterial line was recorded, a pulmonary artery pressure stands in, and "
    "without that a pulse of {alone} mmHg or more is held against itself while no recorded pump flow changes; its "
    "beats must then have become rounder. Clipped: "
    + CUT_OFF
    + " Masked for the pulse alone: the mean still counts.",
    status="C",
    source="60 %, 60 s, 5 mmHg, 50 %, 15 mmHg and the oscillations; all other numbers are this project's choice",
    parameters={**DAMPED, **_CLIPPED},
    find=find_damped,
    version=2,
    details="Pulse and systolic height are of three seconds each, a median of five, medians of "
    f"{BIN_S} s while changes are looked for; before means {{before}} s, of which {{seen}} s were seen, and seconds "
    "with noise (A8) count for nothing. A swing under {least} mmHg is no pulse; {noise} times what "
    "noise would swing by is left at least, or the line is shut; where less than {left} % of the pulse is left, what "
    "is told as a pulse lost (A3, A5, A6) is not told again. The pulse is back at "
    f"{100 * AGAIN - 100:.0f} % above the limit; start and end are where {100 * EDGE:.0f} % of the pulse before is "
    f"passed, at most {EDGE_S} s away; interruptions of {{joined}} s do not end it. The upstroke is the 98th "
    f"percentile of changes over 80 ms. Swings are the power from {RING_HZ[0]:g} to {RING_HZ[1]:g} Hz beside that "
    f"from {PULSE_HZ[0]:g} to {PULSE_HZ[1]:g} Hz; rounder is {{round}} % of it or less. A pump flow is steady within "
    f"{STEADY_FLOW:g} L/min. A flush shows ringing above {{ringing}} oscillations, under {{rings_under}} Hz: told "
    "with each flush, but no reason to mask by itself, since a pulse that is taller at the wrist looks the same. A "
    "line that was rounder than "
    "the others before does not ring but was cleared. What dampens over more than about two minutes, or did before "
    "the record began, is told beside another arterial line or by a flush; with no other one it is not told. A line "
    "that narrows as this one does tells nothing of it: both arms can be damped beside a femoral line. How plain it "
    "is: "
    f"{PLAIN:g}, or {ALONE:g} with no other line to hold it against.",
)
A8 = Rule(
    code="A8",
    name="electrical or movement noise",
    family="damped_noisy",
    needs=(),
    phase=(),
    words="A pressure has more than {power} times its usual power above about 15 Hz, and {least} mmHg of it, for "
    "{shortest} s or longer; or in {beats} seconds of {window} it both rises and falls by more than {slope} mmHg "
    "within 20 ms, as no pulse does. Pauses of {joined} s between bursts belong to it. Openings to air and flushes "
    "are none.",
    status="D",
    source="this project's choice",
    parameters=NOISE,
    find=find_noise,
    details="The power is that of second differences of means over 10 ms, which count 15 Hz 0.4 times, 30 Hz 1.3 "
    "times and 6 Hz 0.07 times its size; it is taken of 0.2 s, the middle one of five, so that an upstroke does not "
    "count. The usual level is a median over {around} s on either side, and at most "
    "{quiet_times} times what the quietest {quiet} % of those seconds have: noise that lasts for most of a record is "
    "not the usual level, but noise that lasts for nearly all of it is. Under {full} samples a second a part of it "
    "is not in the record, and under {slowest} a second only slopes are judged; the evidence says so. How plain it "
    f"is: {PLAIN:g}, or {DOUBTFUL:g} where only slopes tell.",
)
RULES = (A4, A8)
