"""The evidence of a find as sentences with units: the one place that knows what each key of it means.

Desk and paper print what stands here. A key that nobody described is still printed, as its words with the unit
that its ending names.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from afterclamp.io.terms import KINDS

from .evidence_course import KEYS as OF_COURSE
from .evidence_course import of_course, unit_of_text
from .evidence_height import KEYS as OF_HEIGHT
from .evidence_height import of_height
from .evidence_lost_pulse import KEYS as OF_LOST_PULSE
from .evidence_lost_pulse import of_lost_pulse
from .evidence_values import by_its_name, plain, sentence
from .flush_words import KEYS as OF_LINE
from .flush_words import of_line
from .wording import number, site_words

if TYPE_CHECKING:
    from afterclamp.annotate.rules import Find, Link, Rule

Name = Callable[[str], str]

ON_THE_RAMP: Final = "on the ramp after an arrest"


@dataclass(frozen=True, slots=True)
class Fact:
    """One line of evidence.

    Attributes
    ----------
    label : str
        What it is about.
    text : str
        With units; empty where only times are given.
    times : tuple of float
        Reference seconds that stand behind the text; whoever prints them knows how times are written.
    """

    label: str
    text: str = ""
    times: tuple[float, ...] = ()


def facts_of(find: Find, name: Name = site_words) -> list[Fact]:
    """Everything in a find's evidence but the rule and what else it could be, in order of use to a reader.

    Parameters
    ----------
    find : Find
    name : callable
        Plain name of a channel that the evidence names.
    """
    evidence = {key: value for key, value in find.evidence.items() if value is not None}
    seen = evidence.get("seen")
    seen = (
        {key: value for key, value in seen.items() if value is not None} if isinstance(seen, Mapping) else {}
    )
    facts = [
        *_reason(seen),
        *_levels(find, evidence, seen),
        *_attribution(evidence),
        *_of_pressure(evidence),
        *_of_bypass(evidence),
        *_of_temperature(evidence),
        *_of_arrest(evidence, name),
        *_of_perfusion(evidence),
        *_of_artefact(find, evidence, seen),
        *(Fact(label, text) for label, text in of_height(seen, name)),
        *(Fact(label, sentence(text)) for label, text in of_line(seen)),
        *(Fact(label, text) for label, text in of_lost_pulse(seen, name)),
        *(Fact(label, text, times) for label, text, times in of_course(evidence)),
        *_seconds(evidence),
        *_times(find, evidence),
    ]
    if isinstance(evidence.get("believed"), str):
        facts.append(Fact("Why this line", sentence(evidence["believed"])))
    if "clocks" in evidence:
        facts.append(Fact("Clocks", sentence(str(evidence["clocks"]))))
    facts += [
        Fact(*by_its_name(key, value, name))
        for key, value in (*evidence.items(), *seen.items())
        if key not in KNOWN and value not in ("", [], {}, ())
    ]
    return facts


def other_explanations(evidence: Mapping[str, Any]) -> list[str]:
    """What else it could be, each with what speaks against that."""
    return [f"{one['what']}: {one['why_not']}" for one in evidence.get("alternatives", ())]


def rests_on(rule: Rule) -> str:
    """What a rule's numbers rest on, as a phrase that can stand by itself."""
    words = rule.rests_on().removesuffix(".")
    return words[:1].upper() + words[1:]


def subtitle(find: Find) -> str:
    """A few words that set a find apart from others of its name; mostly none."""
    return ON_THE_RAMP if _on_the_ramp(find) else ""


def link_words(link: Link) -> str:
    """A link without its time, such as ``preceded by E17 circulatory arrest, no flow, its end``."""
    return " ".join(part for part in (link.relation, link.code, link.what) if part)


def lag_words(link: Link) -> str:
    """How long before or after, and where the clocks cannot tell; empty where nothing is known."""
    lag = ""
    if link.lag_s is not None:
        seconds = abs(link.lag_s)
        long = f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.1f} min"
        lag = (
            "at the same second"
            if round(seconds) == 0
            else f"{long} {'before' if link.lag_s > 0 else 'after'} this"
        )
    doubt = "" if link.ordered else "cannot order: the clocks' ± is longer than that"
    return "; ".join(part for part in (lag, doubt) if part)


# -- parts of it -------------------------------------------------------------------------------------

KNOWN: Final = frozenset(
    {
        *("rule", "crossings", "alternatives", "unit", "before", "during", "after", "nadir", "peak", "limit"),
        *("used_s", "masked_s", "unknown_s", "believed", "clocks"),
        *("below_55_s", "longest_epoch", "sites", "cvp_before", "cvp_after", "pulse_before", "pulse_after"),
        *("attribution", "attribution_words", "flow_before", "flow_during", "full_flow", "full_flow_words"),
        *("minutes", "area_cel_min", "core_c", "core_site", "class"),
        *("arterial_low", "reservoir_rise_ml", "phase_confirmed_by"),
        *(
            "flow_levels",
            "flow_ml_per_kg_min",
            "mean_flow",
            "head_pressure",
            "femoral_pressure",
            "outside_band",
        ),
        *(
            "seen",
            "other_sites",
            "together",
            "reason",
            "what",
            "level_mmhg",
            "sd_mmhg",
            "before_mmhg",
            "after_mmhg",
        ),
        *("still_s", "plateau_mmhg", "plateau_s", "rise_mmhg", "clipped", "still_before_s", "release_s"),
        *("ramp_before_s", "ramp_after_s"),
        *OF_COURSE,
        *OF_HEIGHT,
        *OF_LINE,
        *OF_LOST_PULSE,
    }
)
"""Keys of the evidence that have words of their own here."""

_LEVEL_OF: Final = {"E05": "Pulse pressure", "E16": "Outlet temperature"}
_LEVEL_IN: Final = {"mm[Hg]": "Mean pressure", "L/min": "Pump flow", "Cel": "Temperature", "%": "Saturation"}
_LEVELS: Final = (
    ("before", "before {}"),
    ("during", "during {}"),
    ("nadir", "lowest {}"),
    ("peak", "highest {}"),
    ("after", "after {}"),
)


def _reason(seen: Mapping[str, Any]) -> list[Fact]:
    """The sentence of whoever saw an artefact; it names level, length and clipping."""
    return [Fact("What was seen", sentence(str(seen["reason"])))] if seen.get("reason") else []


def _levels(find: Find, evidence: Mapping[str, Any], seen: Mapping[str, Any]) -> list[Fact]:
    unit = str(evidence.get("unit") or ("" if not find.channels else _unit_of(find.channels[0])))
    levels = dict(evidence)
    for key in ("before", "after"):  # the wave itself is read more closely than its seconds
        if f"{key}_mmhg" in seen:
            levels[key] = seen[f"{key}_mmhg"]
    parts = [words.format(plain(levels[key])) for key, words in _LEVELS if key in levels]
    facts = []
    if parts:
        of = sentence(str(evidence.get("of") or ""))
        label = of or _LEVEL_OF.get(find.code) or _LEVEL_IN.get(unit, "Level")
        if find.code.startswith("A"):
            label = "Level around it"
        facts.append(Fact(label, f"{', '.join(parts)} {unit_of_text(unit)}".rstrip()))
    if "limit" in evidence:
        why = f" ({evidence['limit_words']})" if evidence.get("limit_words") else ""
        facts.append(Fact("Limit", f"{evidence['limit']:g} {unit_of_text(unit)}".rstrip() + why))
    return facts


def _attribution(evidence: Mapping[str, Any]) -> list[Fact]:
    facts = []
    if "attribution" in evidence:
        why = f" ({evidence['attribution_words']})" if evidence.get("attribution_words") else ""
        facts.append(Fact("Flow or tone", f"{evidence['attribution']}{why}"))
    flows = [
        f"{word} {plain(evidence[key])}"
        for key, word in (("flow_before", "before"), ("flow_during", "during"))
        if key in evidence
    ]
    if flows:
        facts.append(Fact("Pump flow", f"{', '.join(flows)} L/min"))
    return facts


def _on_the_ramp(find: Find) -> bool:
    """Whether the pressure was low while the flow came back from an arrest."""
    after = any(link.at_end and link.code in ("E17", "E18") and link.ordered for link in find.linked)
    return find.code == "E13" and find.evidence.get("attribution") == "flow-led" and after


def _of_pressure(evidence: Mapping[str, Any]) -> list[Fact]:
    facts = []
    if "below_55_s" in evidence:
        facts.append(Fact("Under the rule's second, lower limit", f"{plain(evidence['below_55_s'])} s"))
    if "longest_epoch" in evidence:
        facts.append(Fact("Length", str(evidence["longest_epoch"])))
    if "sites" in evidence:
        facts.append(Fact("Arterial lines that fell", plain(evidence["sites"])))
    for name, label in (("cvp", "Central venous pressure"), ("pulse", "Pulse pressure")):
        parts = [
            f"{when} {plain(evidence[f'{name}_{when}'])}"
            for when in ("before", "after")
            if f"{name}_{when}" in evidence
        ]
        if parts:
            facts.append(Fact(label, f"{', '.join(parts)} mmHg"))
    return facts


def _of_bypass(evidence: Mapping[str, Any]) -> list[Fact]:
    if "full_flow" not in evidence:
        return []
    words = f" ({evidence['full_flow_words']})" if evidence.get("full_flow_words") else ""
    return [Fact("Full flow", f"{plain(evidence['full_flow'])} L/min{words}")]


def _of_temperature(evidence: Mapping[str, Any]) -> list[Fact]:
    parts = []
    if "minutes" in evidence:
        parts.append(f"{number(evidence['minutes'], 1)} min")
    if "area_cel_min" in evidence:
        parts.append(f"{plain(evidence['area_cel_min'])} °C·min")
    facts = [Fact("At the limit or beyond", ", ".join(parts))] if parts else []
    if "core_c" in evidence:
        site = f", {evidence['core_site']}" if evidence.get("core_site") else ""
        kind = f"; {evidence['class']} hypothermia by the rule's classes" if evidence.get("class") else ""
        if evidence.get("class") == "none":
            kind = "; no hypothermia by the rule's classes"
        facts.append(Fact("Core temperature as it began", f"{number(evidence['core_c'], 1)} °C{site}{kind}"))
    return facts


def _of_arrest(evidence: Mapping[str, Any], name: Name) -> list[Fact]:
    facts = []
    low = evidence.get("arterial_low")
    if low:
        sites = ", ".join(f"{name(site)} {plain(level)}" for site, level in low.items())
        facts.append(Fact("Arterial pressures went down to", f"{sites} mmHg"))
    rise = evidence.get("reservoir_rise_ml")
    if rise is not None:
        facts.append(Fact("Reservoir", f"{'rose' if rise >= 0 else 'fell'} by {number(abs(rise), 0)} mL"))
    if evidence.get("phase_confirmed_by"):
        facts.append(Fact("Times confirmed by", str(evidence["phase_confirmed_by"])))
    return facts


def _of_perfusion(evidence: Mapping[str, Any]) -> list[Fact]:
    facts = []
    levels, per_kg = evidence.get("flow_levels") or (), evidence.get("flow_ml_per_kg_min") or ()
    if levels:
        said = [f"{plain(level)} L/min" for level in levels]
        said = [f"{one} ({plain(kg)} mL/kg/min)" for one, kg in zip(said, per_kg, strict=False)] or said
        facts.append(Fact("Levels of flow", ", then ".join(said)))
    if "mean_flow" in evidence:
        facts.append(Fact("Mean flow", f"{plain(evidence['mean_flow'])} L/min"))
    if "head_pressure" in evidence:
        facts.append(Fact("Pressure on the head's side", f"{plain(evidence['head_pressure'])} mmHg"))
    if "femoral_pressure" in evidence:
        facts.append(Fact("Femoral pressure", f"{plain(evidence['femoral_pressure'])} mmHg"))
    if "outside_band" in evidence:
        facts.append(Fact("Outside the rule's bands", "; ".join(evidence["outside_band"]) or "no second"))
    return facts


def _of_artefact(find: Find, evidence: Mapping[str, Any], seen: Mapping[str, Any]) -> list[Fact]:
    facts = []
    shape = []
    if "level_mmhg" in seen:
        shape.append(f"{plain(seen['level_mmhg'])} mmHg")
    if "sd_mmhg" in seen:
        shape.append(f"standard deviation {plain(seen['sd_mmhg'])} mmHg")
    if shape:
        facts.append(Fact("Its level", ", ".join(shape)))
    if "rise_mmhg" in seen:
        facts.append(Fact("Rise", f"{plain(seen['rise_mmhg'])} mmHg"))
    if seen.get("still_before_s"):
        facts.append(Fact("Without a pulse before it", f"{plain(seen['still_before_s'])} s"))
    for key, where in (("ramp_before_s", "before"), ("ramp_after_s", "after")):
        if seen.get(key):
            facts.append(Fact(f"Ramp without a beat {where} it", f"{plain(seen[key])} s, not counted either"))
    if evidence.get("together"):
        facts.append(Fact("On several channels", sentence(site_words(str(evidence["together"])))))
    elif "other_sites" in evidence and _is_arterial(find):
        words = {
            "steady": "stayed where they were",
            "moved": "moved too",
            "none recorded": "none was recorded",
        }
        said = str(evidence["other_sites"])
        facts.append(Fact("Other arterial sites meanwhile", words.get(said, said)))
    return facts


def _seconds(evidence: Mapping[str, Any]) -> list[Fact]:
    parts = [
        f"{evidence[key]:.0f} s {words}"
        for key, words in (
            ("used_s", "used"),
            ("masked_s", "masked as artefact"),
            ("unknown_s", "not recorded"),
        )
        if evidence.get(key)
    ]
    return [Fact("Seconds of it", ", ".join(parts))] if parts else []


def _times(find: Find, evidence: Mapping[str, Any]) -> list[Fact]:
    """When a limit was crossed, where start and end of the find do not say so already."""
    told = (find.start_s, find.end_s)
    times = tuple(
        float(t) for t in evidence.get("crossings", ()) if all(abs(float(t) - own) >= 0.5 for own in told)
    )
    return [Fact("Crossed at", "", times)] if times else []


# -- words -------------------------------------------------------------------------------------------


def _is_arterial(find: Find) -> bool:
    """Whether a find is about an arterial line: those are called by their site alone."""
    name = find.channels[0] if find.channels else ""
    return name not in ("cvp", "pa", "cuff") and not any(name.endswith(kind) for kind in KINDS)


def _unit_of(channel: str) -> str:
    """Unit in which rules read a channel: that of its kind; arterial lines are called by their site alone."""
    if "/" in channel:
        return ""
    for kind in KINDS.values():
        if channel == kind.name or channel.endswith(f"_{kind.name}"):
            return kind.units[0] if kind.units else ""
    return "mm[Hg]"


def keys_of(evidence: Mapping[str, Any]) -> Iterable[str]:
    """Every key of the evidence, those of what was seen on a channel with them."""
    yield from evidence
    if isinstance(evidence.get("seen"), Mapping):
        yield from evidence["seen"]
