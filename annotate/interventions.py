"""Drugs, products, volumes, shocks, pacing, table and line moves from lines of text: class and dose as written.

Nothing is interpreted: no unit is turned into another, no dose is judged, and a word that could be several things is
left with the other notes. The lists are this project's choice and hold substances by their common names.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from .said import plain

if TYPE_CHECKING:
    from afterclamp.io.sources import TimedNote

CLASSES: Mapping[str, tuple[str, ...]] = {
    "drug": (
        "heparin", "protamine", "tranexamic acid", "txa", "aprotinin", "noradrenaline", "norepinephrine", "noradr",
        "norad", "adrenaline", "epinephrine", "adr", "phenylephrine", "vasopressin", "ephedrine", "dobutamine",
        "dopamine", "milrinone", "levosimendan", "nitroglycerin", "glyceryl trinitrate", "gtn", "nitroprusside",
        "esmolol", "metoprolol", "amiodarone", "lidocaine", "lignocaine", "magnesium", "calcium", "potassium", "kcl",
        "bicarbonate", "bicarb", "thiopental", "thiopentone", "propofol", "ketamine", "etomidate", "midazolam",
        "fentanyl", "sufentanil", "remifentanil", "morphine", "rocuronium", "cisatracurium", "atracurium",
        "vecuronium", "atropine", "glycopyrrolate", "steroid", "methylprednisolone", "dexamethasone",
        "hydrocortisone", "insulin", "mannitol", "furosemide", "frusemide", "cefazolin", "cefuroxime", "vancomycin",
        "antibiotic", "antibiotics", "methylene blue", "sevoflurane", "isoflurane", "induction",
    ),
    "product": (
        "red cells", "red cell", "prbc", "packed cells", "rbc", "plasma", "ffp", "platelets", "platelet pool",
        "cryoprecipitate", "cryo", "fibrinogen", "prothrombin complex", "pcc", "factor vii", "cell saver", "cellsaver",
        "salvaged blood", "albumin", "blood given",
    ),
    "volume": (
        "crystalloid", "colloid", "ringer", "ringers", "saline", "volume given", "volume in", "fluid bolus", "bolus",
        "gelatine", "ml given", "cardioplegia", "plegia",
    ),
    "shock": ("shock", "shocked", "shocks", "defibrillated", "defibrillation", "cardioversion", "cardioverted"),
    "pacing": ("pacing", "paced", "pacer", "pace", "pacing wires"),
    "table": ("table", "head up", "head down", "trendelenburg", "tilt", "tilted", "bed up", "bed down"),
    "line": (
        "radial in", "femoral line in", "neck line in", "line in", "line out", "cannula in", "catheter floated",
        "catheter is through", "catheter in", "catheter withdrawn", "catheter out", "sheath in", "probe in", "tube in",
        "intubated", "extubated", "withdrawn", "line moved", "cannula moved", "transducer moved", "vent in", "vent out",
    ),
    "test": ("act", "blood gas", "gas drawn", "sample", "teg", "rotem"),
}  # fmt: skip
"""Class and the words that name it."""

_SHOCK_IS_NOT = ("cardiogenic shock", "septic shock", "in shock")
_SALINE_IS_NOT = ("heparin saline", "heparinised saline")
_DOSE = re.compile(
    r"(?<![\w.,])(?:x ?\d+|\d[\d .,]*(?:\s?(?:mg|mcg|µg|ug|g|ml|l|iu|units?|u|mmol|meq|j|joules?|/min|bpm|%)"
    r"(?:/(?:kg|h|min))*)?)(?![\w])",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Intervention:
    """One line that names something given or done.

    Attributes
    ----------
    kind : str
        Key of `CLASSES`.
    text : str
        The line as written.
    dose : str
        The dose as written, empty where none is.
    t, t_end, sd_s : float
        Reference seconds, and the standard deviation of the time; infinite for a clock that nobody set.
    source : str
    """

    kind: str
    text: str
    dose: str
    t: float
    t_end: float
    sd_s: float
    source: str

    @property
    def words(self) -> str:
        """Class and line: what its mark is called."""
        return f"{self.kind}: {self.text}"


@lru_cache(4096)  # annotations of every beat are a few words a hundred thousand times
def kind_of(text: str) -> str:
    """The class of a line, empty for one that names nothing given or done.

    Examples
    --------
    >>> kind_of("heparin 28000"), kind_of("table <raised>"), kind_of("clamp on"), kind_of("One shock, pacing on.")
    ('drug', 'table', '', 'shock')
    """
    line = f" {plain(text)} "
    if any(f" {words} " in line for words in _SHOCK_IS_NOT):
        line = line.replace(" shock ", " ")
    for kind, words in CLASSES.items():
        if kind == "drug" and any(f" {other} " in line for other in _SALINE_IS_NOT):
            continue
        if any(f" {word} " in line for word in words):
            return kind
    return ""


def dose_of(text: str) -> str:
    """The dose in a line, as written.

    Examples
    --------
    >>> dose_of("heparin 28000"), dose_of("noradrenaline 0.05 mcg/kg/min"), dose_of("shock x1"), dose_of("induction")
    ('28000', '0.05 mcg/kg/min', 'x1', '')
    """
    found = _DOSE.search(text)
    return found[0].strip(" ,.") if found else ""


def interventions(notes: Iterable[TimedNote]) -> tuple[Intervention, ...]:
    """The lines that name something given or done, in order of time."""
    found = [
        Intervention(kind, note.text, dose_of(note.text), note.t, note.t_end, note.sd_s, note.source)
        for note in notes
        for kind in [kind_of(note.text)]
        if kind
    ]
    return tuple(sorted(found, key=lambda one: (one.t, one.source)))
