"""What a rule is, what it finds, and the few things that every rule says the same way."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..height_shift import has_a_pole
from ..order import or_none
from ..parameter import Parameter as Parameter
from ..parameter import numbers_of
from ..phase_clamp_open import candidates, lone_clamp_ons
from ..runs import BRIDGE_S, CLOSE_S, FloatArray, Run, median
from ..view import View
from .plainness import Plainness

BEFORE_S = 60  # s before, over which the level before is a median
HIGH_PERCENTILE = 95  # of the seconds before, that stands for the level that a fall began from
SETTLE_S = 10  # s after, over which the level that it fell to is a median
RUNS = (
    f"Interruptions of up to {CLOSE_S} s, and masked or missing stretches of up to {BRIDGE_S} s, do not end it; only "
    f"seconds that were seen count. The level before is the median of {BEFORE_S} s."
)
"""How a run of seconds is counted, for the fine print of a rule."""
STATUS = {"P": "published", "C": "common practice, no source", "D": "this project's choice"}


@dataclass(frozen=True)
class Link:
    """How a find stands to another one, or to something seen on a channel.

    Attributes
    ----------
    relation : str
        ``"same fall as"``, ``"preceded by"`` or ``"lowest preceded by"``; never a cause.
    what : str
        The other find's name, or what was seen.
    code, key : str
        Of the other find; empty where it is something seen on a channel.
    lag_s : float or None
        Seconds from the other's onset (or end, where `what` says so) to this one's; None where a clock
        that it rests on was set by nobody.
    ordered : bool
        Whether the lag is longer than the two clocks' ± allows to doubt.
    at_s : float or None
        When the other is: reference seconds of its start, or of its end where `at_end`.
    at_end : bool
        Whether it is the other's end that this one stands to.
    """

    relation: str
    what: str
    code: str = ""
    key: str = ""
    lag_s: float | None = None
    ordered: bool = True
    at_s: float | None = None
    at_end: bool = False

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        return {
            "relation": self.relation if self.ordered else f"{self.relation} (cannot be ordered)",
            "what": self.what,
            "code": self.code or None,
            "key": self.key or None,
            "lag_s": self.lag_s,
            "at_s": self.at_s,
            "at_end": self.at_end,
        }


@dataclass(frozen=True)
class Find:
    """Something that a rule proposes to a person.

    Attributes
    ----------
    code, name : str
        Class token and plain name.
    start_s, end_s : float
        Reference seconds.
    channels : tuple of str
        Canonical names of the channels concerned.
    site : str
        The arterial site it was judged at, empty for rules that need none.
    confidence : float
        0 to 1, see `confidence`.
    evidence : mapping
        Plain values: ``rule``, ``crossings``, ``before``, ``during``, ``used_s``, ``masked_s``,
        ``alternatives`` (each ``{"what", "why_not"}``), and what else the rule saw.
    linked : tuple of Link
    key : str
        Stable name of the find: code, site or first channel, and start to the nearest 10 s.
    held_back : str
        Why it is not put forward; empty for one that is.
    subtype : str
        Such as ``"hyper"``.
    unc_s : float
        Half width of the 95 % interval of its times, seconds: what the clocks of its channels leave them, and the
        step that they are known to (`Rule.grid_s`); infinite where one of the clocks was set by nobody.
    nth : int
        Which of the finds that would have one key it is, from 1, in order of time.
    """

    code: str
    name: str
    start_s: float
    end_s: float
    channels: tuple[str, ...]
    site: str = ""
    confidence: float = 0.5
    evidence: Mapping[str, Any] = field(default_factory=dict)
    linked: tuple[Link, ...] = ()
    held_back: str = ""
    subtype: str = ""
    unc_s: float = 0.0
    nth: int = 1

    @property
    def duration_s(self) -> float:
        """Seconds."""
        return self.end_s - self.start_s

    @property
    def key(self) -> str:
        """Stable name: a verdict finds its find again by it after a recomputation.

        The same case gives the same keys on every run; no two finds of a case share one.
        """
        kind = f"{self.code}-{self.subtype}" if self.subtype else self.code
        where = self.site or (self.channels[0] if self.channels else "")
        again = f":{self.nth}" if self.nth > 1 else ""
        return f"{kind}:{where}:{round(self.start_s / 10) * 10}{again}"

    def overlap_s(self, other: Find) -> float:
        """Seconds that both cover."""
        return max(0.0, min(self.end_s, other.end_s) - max(self.start_s, other.start_s))

    def to_json(self) -> dict[str, Any]:
        """The fields of a find as plain values; a ± that is not known is null."""
        return {
            "code": self.code,
            "name": self.name,
            "start_s": self.start_s,
            "end_s": self.end_s,
            "channels": list(self.channels),
            "site": self.site or None,
            "confidence": self.confidence,
            "evidence": dict(self.evidence),
            "linked": [link.to_json() for link in self.linked],
            "key": self.key,
            "subtype": self.subtype or None,
            "unc_s": or_none(self.unc_s),
        }


FLOW_UNKNOWN = "whether it was on or off bypass then is not recorded"
"""Why nothing is said of seconds that may be on or off bypass."""
NOT_KNOWN = "whether on or off bypass is not known"
"""Why a rule that is for one of the two is not asked, where no flow, no word and no person tells."""

Params = Mapping[str, float]


@dataclass(frozen=True)
class Rule:
    """A pattern of the catalogue: numbers, words, and the function that looks for it.

    Attributes
    ----------
    code, name : str
        Class token and plain name.
    family : str
        The file that it stands in.
    needs : tuple of str
        What must be recorded: keys of `NEEDS`.
    phase : tuple of str
        Phases in which it is looked for; empty for any.
    words : str
        The rule as sentences, every branch of it; ``{parameter}`` stands for the number in force.
    status : str
        Key of `STATUS`: what its numbers rest on.
    source : str
        Where they come from.
    parameters : mapping of str to Parameter
    find : callable
        ``(view, params) -> list of Find``; pure.
    version : int
        Raised when the same numbers may give other finds.
    details : str
        How it is measured: the smaller numbers, in sentences, with ``{parameter}`` as in `words`.
    grid_s : float
        Step that its times are known to, seconds: 1 for a rule that goes by one value a second (more where its
        channel has fewer), 0 for one that looks at the samples of a wave.
    parts : callable or None
        ``(view, params) -> list of str``: branches of it that cannot be asked, in words.
    """

    code: str
    name: str
    family: str
    needs: tuple[str, ...]
    phase: tuple[str, ...]
    words: str
    status: str
    source: str
    parameters: Mapping[str, Parameter]
    find: Callable[[View, Params], list[Find]]
    version: int = 1
    details: str = ""
    grid_s: float = 1.0
    parts: Callable[[View, Params], list[str]] | None = None

    def values(self, changed: Params | None = None) -> dict[str, float]:
        """The numbers in force: the catalogue's, with those of `changed` that are this rule's and not fixed."""
        free = {name for name, parameter in self.parameters.items() if not parameter.fixed}
        own = {name: float(value) for name, value in (changed or {}).items() if name in free}
        return {**numbers_of(self.parameters), **own}

    def sentence(self, changed: Params | None = None) -> str:
        """The rule in words with the numbers in force."""
        return self._filled(self.words, changed)

    def fine_print(self, changed: Params | None = None) -> str:
        """How it is measured, in words with the numbers in force; empty where nothing is left to say."""
        return self._filled(self.details, changed)

    def _filled(self, text: str, changed: Params | None) -> str:
        return text.format(**{name: f"{value:g}" for name, value in self.values(changed).items()})

    def rests_on(self) -> str:
        """Status and source as one phrase, neither of them twice."""
        status = STATUS[self.status]
        if status in self.source:
            return self.source
        return f"{status}: {self.source}" if self.source else status

    def refused(self, changed: Params) -> list[str]:
        """What of `changed` cannot be followed, in words: names that it has not, and fixed numbers."""
        said = []
        for name, value in changed.items():
            parameter = self.parameters.get(name)
            if parameter is None:
                said.append(f"{self.code}.{name} not changed: the rule has no such number")
            elif parameter.fixed and value != parameter.value:
                said.append(
                    f"{self.code}.{name} stays at {parameter.value:g}: masks and figures go by it in every case"
                )
        return said

    def missing(self, view: View) -> list[str]:
        """What it needs and the view does not have, in words."""
        return [
            words + (_candidates(view) if need == "clamp" else "")
            for need in self.needs
            for words, there in [NEEDS[need]]
            if not there(view)
        ]

    def not_asked(self, view: View) -> list[str]:
        """Where it is not looked for since nobody knows whether that is on or off bypass, in words."""
        if "going_on" in self.phase and any(not one.start.recorded for one in view.of_name("bypass")):
            return [f"{self.code} not looked for: the pump's record begins on bypass"]
        off = bool({"pre", "post"} & set(self.phase))
        if view.flow is None and (off or (self.phase and view.phases)):
            return [f"{self.code} not looked for{stretch}: {NOT_KNOWN}" for stretch in _not_known(view)]
        if not off:
            return []
        return [
            f"{self.code} not looked for {stretch}: the pump's record {what} on bypass, and its flow then is not known"
            for stretch, what in _unknown_stretches(view)
        ]


def _unknown_stretches(view: View) -> list[tuple[str, str]]:
    """Stretches of an unknown flow in words, and whether the pump's record begins or ends beside them."""
    begun = {view.index(one.start_s) for one in view.of_name("bypass") if not one.start.recorded}
    return [
        (
            f"from {_clock(view.time(start))} to {_clock(view.time(stop))}",
            "begins" if stop in begun else "ends",
        )
        for start, stop in view.flow_unknown
    ]


def _not_known(view: View) -> list[str]:
    """The same without a pump flow: nothing to name where it is the whole record."""
    whole = int(view.recorded.sum()) <= sum(stop - start for start, stop in view.flow_unknown)
    if whole and view.flow_unknown:
        return [""]
    return [
        f" from {_clock(view.time(start))} to {_clock(view.time(stop))}" for start, stop in view.flow_unknown
    ]


def _candidates(view: View) -> str:
    """What the trace offers for a clamp of which nobody gave a time; never taken."""
    found = candidates(view)
    return f"; candidates of the trace, never taken: {', '.join(found)}" if found else ""


def _clock(time_s: float) -> str:
    """Minutes and seconds since the record's beginning."""
    minutes, seconds = divmod(round(time_s), 60)
    return f"{minutes}:{seconds:02d}"


NEEDS: dict[str, tuple[str, Callable[[View], bool]]] = {
    "clamp": (
        "no time of the clamp: nobody set, wrote or said one",
        lambda view: bool(view.of_name("clamp") or lone_clamp_ons(view)),
    ),
    "site": ("no believed arterial site", lambda view: view.pressure is not None),
    "arterial": (
        "no arterial pressure with a site",
        lambda view: any(view.get(n) is not None for n in view.arterial),
    ),
    "pole": ("no source with three lines of two kinds of pressure", has_a_pole),
    "pulse": ("no arterial wave to take a pulse from", lambda view: view.believed in view.pulse),
    "pump_flow": ("no pump flow", lambda view: view.flow is not None),
    "cvp": ("no central venous pressure", lambda view: view.cvp is not None),
    "outlet_temperature": ("no outlet temperature", lambda view: view.outlet is not None),
    "venous_temperature": ("no venous temperature", lambda view: view.venous is not None),
    "body_surface": (
        "no height and weight on the case sheet",
        lambda view: view.facts.body_surface_m2 is not None,
    ),
    "oxygen_content": (
        "no haemoglobin with an arterial saturation and oxygen tension on the case sheet",
        lambda view: (
            (view.get("haemoglobin") is not None or bool(view.facts.haemoglobin_rows))
            and None not in (view.facts.arterial_saturation, view.facts.arterial_oxygen_mmhg)
        ),
    ),
    "two_sites": (
        "no two arterial sites side by side",
        lambda view: sum(view.get(name) is not None for name in view.arterial) >= 2,
    ),
    "protamine": (
        "no time at which protamine was given",
        lambda view: bool(view.facts.protamine_s),
    ),
    "line_pressure": ("no line pressure", lambda view: view.get("line_pressure") is not None),
    "reservoir": ("no reservoir level", lambda view: view.reservoir is not None),
    "pa": ("no pulmonary artery pressure", lambda view: view.get("pa") is not None),
    "cerebral_saturation": (
        "no cerebral saturation",
        lambda view: any(view.get(f"{side}_cerebral_saturation") is not None for side in ("left", "right")),
    ),
    "cerebral_both": (
        "no cerebral saturation of both sides",
        lambda view: all(view.get(f"{side}_cerebral_saturation") is not None for side in ("left", "right")),
    ),
    "core_temperature": ("no core temperature", lambda view: bool(view.core)),
    "femoral": (
        "no femoral pressure",
        lambda view: any(n.endswith("femoral") and view.get(n) is not None for n in view.arterial),
    ),
    "upper_body": (
        "no arterial pressure of arm or neck",
        lambda view: any(
            not n.endswith(("femoral", "aortic")) and view.get(n) is not None for n in view.arterial
        ),
    ),
}
"""What a rule can need: the words for its absence, and how to see whether it is there."""


def confidence(*, margin: float, duration: float, seen: float = 1.0, agreement: float = 1.0) -> float:
    """How plain a find is, 0 to 1 (this project's choice; no probability).

    Parameters
    ----------
    margin : float
        How far beyond its limit, in units of what would be plain (1 or more: plain).
    duration : float
        Length over the shortest length that counts (3 or more: plain).
    seen : float
        Share of its seconds that were observed and not masked.
    agreement : float
        Share of the other channels asked that agree.

    Returns
    -------
    float
        ``(0.4 + 0.3 margin + 0.3 (duration - 1) / 2) * seen * (0.6 + 0.4 agreement)``, the first two
        kept between 0 and 1, rounded to 0.01; it knows its parts (`Plainness`).
    """
    return Plainness.of(margin=margin, duration=duration, seen=seen, agreement=agreement)


def rounded(value: float, digits: int = 1) -> float | None:
    """A number for the evidence: rounded, None where there is none."""
    return round(float(value), digits) if np.isfinite(value) else None


def counted(view: View, run: Run, *names: str) -> dict[str, int]:
    """What became of each second of a run, each told once: used, else masked on a channel concerned, else missing."""
    masked = np.zeros(run.stop - run.start, dtype=np.bool_)
    for name in names:
        if name in view.masked:
            masked |= view.masked[name][run.start : run.stop]
    # A second that is masked on one of several channels may still have been used by the others.
    hidden = min(run.unknown, int(masked.sum()))
    return {"used_s": run.used, "masked_s": hidden, "unknown_s": run.unknown - hidden}


def counted_on(view: View, name: str, start: int, stop: int) -> dict[str, int]:
    """The same of the seconds ``[start, stop)`` of one channel."""
    used = int(np.count_nonzero(np.isfinite(view.values[name][start:stop])))
    return counted(view, Run(start, stop, used, stop - start - used), name)


def alternative(what: str, why_not: str) -> dict[str, str]:
    """Something else that it could be, and what speaks against that here."""
    return {"what": what, "why_not": why_not}


def before(values: FloatArray, start: int, seconds: int = BEFORE_S) -> float:
    """Median of the minute before, NaN where nothing was recorded."""
    return median(values[max(0, start - seconds) : start])


def fall(
    values: FloatArray, start: int, *, seconds: int = BEFORE_S, settle: int = SETTLE_S
) -> tuple[float, float]:
    """Highest level of the `seconds` before `start`, and the level right after it."""
    piece = values[max(0, start - seconds) : start]
    piece = piece[np.isfinite(piece)]
    high = float(np.percentile(piece, HIGH_PERCENTILE)) if piece.size else float("nan")
    return high, median(values[start : start + settle])


def in_words(names: Sequence[str]) -> str:
    """Channel names for a sentence."""
    return ", ".join(name.replace("_", " ") for name in names)
