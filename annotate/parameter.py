"""A number that something is looked for by, with its unit and what it does: rules are written from them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

Numbers = Mapping[str, float]


@dataclass(frozen=True)
class Parameter:
    """A number that a rule goes by.

    Attributes
    ----------
    value : float
        As the catalogue gives it.
    unit : str
        UCUM code, ``"1"`` for a ratio or a count.
    meaning : str
        What it does, in a few words.
    fixed : bool
        Whether it is the same in every case: artefacts are looked for before any rule is asked, and means,
        figures and pictures go by them, so that a case cannot change their numbers for its finds alone.
    """

    value: float
    unit: str
    meaning: str
    fixed: bool = False


def numbers_of(parameters: Mapping[str, Parameter]) -> dict[str, float]:
    """The values by name."""
    return {name: parameter.value for name, parameter in parameters.items()}
