"""What the words of a channel's label propose. Words only: terms.py makes an `Identity` of it.

Labels are short and their writers many, so this is a list of words and whole abbreviations rather than a
model. What is not listed stays ``other``; a person decides.
"""

from __future__ import annotations

import re
import unicodedata
from typing import Final

Proposal = tuple[str, str, str, str]  # kind, site, side, statistic

_STATISTICS: Final = {
    "mean": ("mean", "avg", "average", "mid", "mit", "moyenne"),
    "systolic": ("sys", "syst", "systolic"),
    "diastolic": ("dia", "dias", "diast", "diastolic"),
}
_LETTER_STATISTICS: Final = {"m": "mean", "s": "systolic", "d": "diastolic"}
_LEFT: Final = frozenset({"l", "lt", "left", "li", "links", "sin"})
_RIGHT: Final = frozenset({"r", "rt", "right", "re", "rechts", "dx"})

_ARTERIAL_SITES: Final = {
    "radial": ("rad", "radial", "radialis"),
    "femoral": ("fem", "femoral", "femoralis"),
    "axillary": ("ax", "axil", "axill", "axillary", "axillaris"),
    "brachial": ("brach", "brachial", "brachialis"),
    "aortic": ("ao", "aort", "aortic", "aorta"),
    "carotid": ("carotid", "carotis"),
}
_TEMPERATURE_SITES: Final = {
    "nasopharyngeal": ("np", "naso", "nasopharynx", "nasopharyngeal", "nasoph", "nph"),
    "bladder": ("bladder", "blad", "bl", "blase", "vesical", "vesic", "foley"),
    "oesophageal": (
        "oesophageal",
        "esophageal",
        "oeso",
        "eso",
        "esoph",
        "oesoph",
        "es",
        "oesophagus",
        "esophagus",
    ),
    "rectal": ("rectal", "rect", "rectum"),
    "venous": ("venous", "ven", "vein"),
    "arterial_outlet": ("outlet", "out", "arterial", "art"),
}
# Whole labels (letters and digits only) that say kind, site and side at once.
_WHOLE: Final[dict[str, tuple[str, str, str]]] = {
    "aop": ("arterial_pressure", "aortic", ""),
    "lrad": ("arterial_pressure", "radial", "left"),
    "rrad": ("arterial_pressure", "radial", "right"),
    "lfem": ("arterial_pressure", "femoral", "left"),
    "rfem": ("arterial_pressure", "femoral", "right"),
    "lax": ("arterial_pressure", "axillary", "left"),
    "rax": ("arterial_pressure", "axillary", "right"),
    "lbrach": ("arterial_pressure", "brachial", "left"),
    "rbrach": ("arterial_pressure", "brachial", "right"),
    "alp": ("line_pressure", "", ""),
    "nirsl": ("cerebral_saturation", "", "left"),
    "nirl": ("cerebral_saturation", "", "left"),
    "nirsr": ("cerebral_saturation", "", "right"),
    "nirr": ("cerebral_saturation", "", "right"),
    "rso2l": ("cerebral_saturation", "", "left"),
    "rso2r": ("cerebral_saturation", "", "right"),
    "tnp": ("temperature", "nasopharyngeal", ""),
    "tnaso": ("temperature", "nasopharyngeal", ""),
    "tblad": ("temperature", "bladder", ""),
    "tbl": ("temperature", "bladder", ""),
    "tves": ("temperature", "bladder", ""),
    "teso": ("temperature", "oesophageal", ""),
    "tesoph": ("temperature", "oesophageal", ""),
    "toeso": ("temperature", "oesophageal", ""),
    "trect": ("temperature", "rectal", ""),
    "tven": ("temperature", "venous", ""),
    "tv": ("temperature", "venous", ""),
    "tart": ("temperature", "arterial_outlet", ""),
    "tao": ("temperature", "arterial_outlet", ""),
    "tout": ("temperature", "arterial_outlet", ""),
}
# Of these, the ones that mean something else without a unit of temperature (a tidal volume, say).
_NEED_A_UNIT: Final = frozenset({"tv", "tao", "tbl", "tart", "tout"})
_PLETH_WORDS: Final = frozenset(
    {"pleth", "ppg", "plethysmogram", "photoplethysmogram", "photoplethysmograph"}
)
# Single words or abbreviations that say the kind.
_KIND_WORDS: Final[dict[str, tuple[str, str]]] = {
    **dict.fromkeys(("abp", "art", "arterial", "ibp", "artp", "map"), ("arterial_pressure", "")),
    **dict.fromkeys(("cvp", "zvd"), ("central_venous_pressure", "")),
    **dict.fromkeys(("pa", "pap", "pulmonary", "pulm"), ("pulmonary_artery_pressure", "")),
    **dict.fromkeys(("rso2", "nirs", "nir", "scto2", "sco2", "cerebral"), ("cerebral_saturation", "")),
    **dict.fromkeys(("svo2", "scvo2"), ("venous_saturation", "")),
    "spo2": ("arterial_saturation", "peripheral"),
    "sao2": ("arterial_saturation", ""),
    **dict.fromkeys(("hb", "hgb", "haemoglobin", "hemoglobin", "thb"), ("haemoglobin", "")),
    **dict.fromkeys(("reservoir", "res"), ("reservoir_volume", "")),
    **dict.fromkeys(("hr", "heartrate", "heart", "pulse", "pr"), ("heart_rate", "")),
    **dict.fromkeys(("nibp", "nbp", "cuff", "noninv", "noninvasive"), ("cuff_pressure", "")),
    **dict.fromkeys(("resp", "respiration", "breathing"), ("respiration", "")),
    **dict.fromkeys(_PLETH_WORDS, ("plethysmogram", "")),
}
_PRESSURE_WORDS: Final = frozenset(
    {"p", "press", "pressure", "blood", "bld", "bp", "invasive", "line", "catheter", "wave"}
)
_SATURATION_WORDS: Final = frozenset(
    {"saturation", "sat", "oxygen", "o2", "blood", "in", "by", "inline", "line"}
)
# Words that may stand beside a kind's own word without changing what it is. Any other word ("wedge",
# "index", "resistance", "vein") makes the channel something that is not proposed.
_COMPANIONS: Final[dict[str, frozenset[str]]] = {
    "arterial_pressure": _PRESSURE_WORDS | {"artery"},
    "central_venous_pressure": _PRESSURE_WORDS,
    "pulmonary_artery_pressure": _PRESSURE_WORDS | {"artery", "arterial", "art"},
    "cuff_pressure": _PRESSURE_WORDS | {"arm"},
    "cerebral_saturation": _SATURATION_WORDS | {"regional", "tissue", "frontal", "oximetry"},
    "venous_saturation": _SATURATION_WORDS | {"mixed"},
    "arterial_saturation": _SATURATION_WORDS | {"finger"},
    "haemoglobin": frozenset({"total", "concentration", "blood", "inline"}),
    "reservoir_volume": frozenset({"level", "volume", "vol", "venous"}),
    "heart_rate": frozenset({"rate", "ecg"}),
    "respiration": frozenset({"wave", "impedance", "thorax", "abdomen", "chest", "oro", "nasal", "oronasal"}),
    "plethysmogram": frozenset({"wave", "puls", "pulse", "oxim"}),
}
_CENTRAL_VENOUS: Final = frozenset({"central", "venous"})
_CENTRAL_VENOUS_SHORT: Final = frozenset({"cent", "ven"})
_PULMONARY: Final = frozenset({"pulmonary", "pulm", "pap"})
_TEMPERATURE_WORDS: Final = frozenset(
    {"t", "temp", "temperature", "blood", "body", "core", "urinary", "oxygenator", "inflow", "return"}
)
_FLOW_WORDS: Final = frozenset({"flow", "q", "qb", "fluss"})
_PUMP_WORDS: Final = frozenset({"arterial", "art", "pump", "blood", "main", "total", "rate"})
_PLEGIA_WORDS: Final = frozenset({"cardioplegia", "plegia", "cpg", "cp"})
LEADS: Final = ("i", "ii", "iii", "avr", "avl", "avf", "v", "v5", "mcl1")
_PRESSURE_ABBREVIATIONS: Final = ("abp", "art", "cvp", "pap", "pa", "nibp", "nbp", "ibp", "ap")
_OTHER: Final[Proposal] = ("other", "", "", "value")


def propose(label: str, dimension: str | None) -> Proposal:
    """Kind, site, side and statistic that the words of a label propose; ``other`` where they say nothing.

    `dimension` is that of its unit (``"pressure"``), None if unknown; it settles words that could be two
    things ("venous": a temperature or a saturation).
    """
    words = _words(label)
    if not words:
        return _OTHER  # nothing but signs and digits
    words, statistic = _take_statistic(words)
    whole = "".join(words)
    if whole in _WHOLE and (dimension == "temperature" or whole not in _NEED_A_UNIT):
        kind, site, side = _WHOLE[whole]
        return kind, site, side, statistic
    words, side = _take_side(words)
    found = _temperature(words, dimension) or _flow(words, dimension) or _electric(words, dimension)
    found = found or _pressure_or_else(words, dimension)
    if found is None or found[0] == "other":
        return _OTHER
    return *found, side, "mean" if whole == "map" else statistic


def _words(label: str) -> list[str]:
    text = unicodedata.normalize("NFKD", label)
    text = "".join(sign for sign in text if not unicodedata.combining(sign))
    # "ArtFlow": a capital after small letters starts a word; "SvO2" stays one.
    text = re.sub(r"(?<=[a-z]{2})(?=[A-Z][a-z])", " ", text)
    words = re.findall(r"[a-z0-9]+", text.lower())
    # "ART1", "P 2": a running number names the socket, not what is measured.
    numbered = {*_KIND_WORDS, "p"}
    words = [word[:-1] if word[-1] in "1234" and word[:-1] in numbered else word for word in words]
    # "MDC" begins every name of ISO/IEEE 11073-10101, "waveform" ends those of PS3.16: neither says what it is of.
    return [word for word in words if not word.isdigit() and word not in ("mdc", "waveform")]


def _take_statistic(words: list[str]) -> tuple[list[str], str]:
    for statistic, spellings in _STATISTICS.items():
        rest = [word for word in words if word not in spellings]
        if rest and len(rest) < len(words):
            return rest, statistic
    last = words[-1]
    if len(words) > 1 and last in _LETTER_STATISTICS and words[-2] in (*_PRESSURE_ABBREVIATIONS, "p"):
        return words[:-1], _LETTER_STATISTICS[last]
    for stem in _PRESSURE_ABBREVIATIONS:
        tail = last.removeprefix(stem)
        if tail == last or not tail:
            continue
        for statistic, spellings in _STATISTICS.items():
            if tail in spellings or _LETTER_STATISTICS.get(tail) == statistic:
                return [*words[:-1], stem], statistic
    return words, "value"


def _take_side(words: list[str]) -> tuple[list[str], str]:
    left = [word for word in words if word in _LEFT]
    right = [word for word in words if word in _RIGHT]
    rest = [word for word in words if word not in _LEFT | _RIGHT]
    if not rest or (left and right):
        return words, ""
    return rest, "left" if left else "right" if right else ""


def _site(words: list[str], sites: dict[str, tuple[str, ...]]) -> tuple[str, set[str]]:
    """The first site named, and the words that are left."""
    for site, spellings in sites.items():
        if not set(spellings).isdisjoint(words):
            return site, set(words) - set(spellings)
    return "", set(words)


def _temperature(words: list[str], dimension: str | None) -> tuple[str, str] | None:
    site, rest = _site(words, _TEMPERATURE_SITES)
    if dimension == "temperature" or (dimension is None and rest & {"t", "temp", "temperature"}):
        # "heater outlet" is not the patient's blood: a word that is not known takes the site away.
        return "temperature", site if rest <= _TEMPERATURE_WORDS else ""
    if dimension is None and site in ("nasopharyngeal", "bladder", "oesophageal", "rectal") and not rest:
        return "temperature", site
    return None


def _flow(words: list[str], dimension: str | None) -> tuple[str, str] | None:
    named = set(words)
    if not (named & _FLOW_WORDS or dimension == "flow"):
        return None
    if named & _PLEGIA_WORDS:
        return "cardioplegia_flow", ""
    # "aortic flow" or "gas flow" is another flow than the pump's.
    return ("pump_flow" if named <= _FLOW_WORDS | _PUMP_WORDS else "other"), ""


def _electric(words: list[str], dimension: str | None) -> tuple[str, str] | None:
    lead = next((word for word in words if word in LEADS), "")
    if {"ecg", "ekg"} & set(words) and set(words) <= {"ecg", "ekg", "lead", "elec", "potl", lead}:
        return "ecg", lead
    # A single letter is a lead only where the unit says so.
    if words == [lead] and (dimension == "voltage" or (dimension is None and len(lead) > 1)):
        return "ecg", lead
    return None


def _saturation(named: set[str], dimension: str | None) -> tuple[str, str] | None:
    if named & _PLETH_WORDS or dimension not in (None, "fraction"):
        return None
    if named & {"oximetry", "oxim"} and named & {"pulse", "puls"} and "rate" not in named:
        return "arterial_saturation", "peripheral"
    if dimension == "fraction" or named & {"saturation", "sat"}:
        if "peripheral" in named and named <= _SATURATION_WORDS | {"peripheral"}:
            return "arterial_saturation", "peripheral"
        for vessel, others in (("venous", {"venous", "ven", "mixed"}), ("arterial", {"arterial", "art"})):
            if named & (others - {"mixed"}) and named <= _SATURATION_WORDS | others:
                return f"{vessel}_saturation", ""
    return None


def _pressure_or_else(words: list[str], dimension: str | None) -> tuple[str, str] | None:
    named = set(words)
    if (
        "line" in named
        and named & {"p", "pressure", "press"}
        and not named & ({"venous", "ven"} | _PLEGIA_WORDS)
    ):
        return "line_pressure", ""
    for venous in (_CENTRAL_VENOUS, _CENTRAL_VENOUS_SHORT):
        if venous <= named <= _PRESSURE_WORDS | venous:
            return "central_venous_pressure", ""
    if {"non", "invasive"} <= named <= _PRESSURE_WORDS | {"non"}:
        return "cuff_pressure", ""
    found = _saturation(named, dimension)
    if found is not None:
        return found
    if named & _PULMONARY and named <= _COMPANIONS["pulmonary_artery_pressure"] | _PULMONARY:
        return "pulmonary_artery_pressure", ""
    site, rest = _site(words, _ARTERIAL_SITES)
    if site == "aortic":
        rest -= {"ascending", "root"}
    if site and rest <= _COMPANIONS["arterial_pressure"] | {"abp", "art", "arterial", "ibp", "map"}:
        # The short names of some sites mean other things as well; these two are used of lines alone.
        if dimension == "pressure" or rest or site in ("radial", "femoral"):
            return "arterial_pressure", site
        return None
    for word in words:
        if word in _KIND_WORDS:
            kind, place = _KIND_WORDS[word]
            same = {other for other in named if _KIND_WORDS.get(other, ("",))[0] == kind}
            return (kind, place) if named - same <= _COMPANIONS[kind] else None
    return None
