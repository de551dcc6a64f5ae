"""Limit sets: numbers that somebody published or a unit chose, each with its source. None is a verdict.

A set is a TOML file with a name and a version. The sets that come with the program stand in
``limit_sets``: ``published`` (each read in the source named, or in a text that quotes it, and then it
says so) and ``practice`` (common practice without a source, and this project's own choices). A unit
writes its own in the same form.

A set may hold the constants of oxygen content as well::

    [oxygen]
    capacity = 1.36        # mL of oxygen that one gram of haemoglobin carries when saturated
    solubility = 0.003     # mL of oxygen dissolved in one dL of blood per mmHg
    status = "U"
    source = "our unit"

With nothing else in it, the limits stay those that come with the program. Which sets a case is read by stands in
`limits`.

A unit may be written in any unit of the measure's dimension, and as people write it: ``mmHg``, ``kPa``. The number is
converted when the set is read (`limit_measures`), so that figures and rules go by the same one; how the file has it is
kept beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any, Literal

from afterclamp.io.errors import CaseError, FileUnreadable
from afterclamp.io.typed_toml import Table, load
from pydantic import Field, model_validator

from .limit_measures import implausible, in_own_unit, measure_of
from .measures.oxygen import OxygenConstants

FOLDER = Path(__file__).parent / "limit_sets"

STATUS = {
    "P": "published",
    "C": "common practice, no source",
    "D": "this project's choice",
    "U": "this unit's own",
}

PHASES = ("pre", "post", "off", "established", "bypass", "selective_cerebral", "record")
"""Where a limit is looked at; ``off`` is before and after bypass, ``established`` from full flow to weaning."""


SIDES = ("below", "above", "at_least")


class Written(Table):
    """A limit's number as its file has it, where that is another unit than the measure's own."""

    value: float = Field(description="the number in the unit beside it")
    unit: str = Field(min_length=1, description="a UCUM unit")


class Limit(Table):
    """One limit.

    Exactly one of `below`, `above` and `at_least` says which values lie outside: under it, over it, or
    at it and over it. Number and unit are those of the measure, whatever the file writes; `written` keeps that.
    """

    id: str = Field(
        pattern=r"^[a-z0-9][a-z0-9-]*$", description="a short id in small letters, digits and hyphens"
    )
    measure: str = Field(min_length=1, description='a measure such as "mean_arterial_pressure"')
    phase: Literal["pre", "post", "off", "established", "bypass", "selective_cerebral", "record"] = Field(
        description=f"one of {', '.join(PHASES)}"
    )
    below: float | None = Field(default=None, description="a number: values under it lie outside")
    above: float | None = Field(default=None, description="a number: values over it lie outside")
    at_least: float | None = Field(default=None, description="a number: it and values over it lie outside")
    unit: str = Field(min_length=1, description='a UCUM unit such as "mm[Hg]"')
    status: Literal["P", "C", "D", "U"] = Field(
        description="P published, C common practice, D this project's choice, U this unit's own"
    )
    source: str = Field(min_length=1, description="who says so: a citation, or whose choice it is")
    read: Literal["source", "secondary", ""] = Field(
        default="", description='"source", or "secondary" where only a text that quotes it was read'
    )
    note: str = Field(default="", description="what the number rests on")
    rivals: tuple[str, ...] = Field(default=(), strict=False, description="ids of limits that say otherwise")
    figure: bool = Field(default=True, description="false for a limit that is only named as a rival")
    written: Written | None = Field(
        default=None, description="left out in a file: how it writes a number that was converted"
    )

    @model_validator(mode="before")
    @classmethod
    def _in_the_unit_of_the_measure(cls, content: Any) -> Any:
        """Number and unit in the measure's own unit, before anything goes by them."""
        if not isinstance(content, dict):
            return content
        name, unit = content.get("measure"), content.get("unit")
        sides = [side for side in SIDES if _is_number(content.get(side))]
        if not (isinstance(name, str) and name and isinstance(unit, str) and unit and len(sides) == 1):
            return content  # the fields say what is missing
        try:
            measure = measure_of(name)
            value, code = in_own_unit(measure, content[sides[0]], unit)
        except ValueError as wrong:
            raise ValueError(f"limit '{content.get('id', '?')}': {wrong}") from wrong
        if code == measure.unit:
            return {**content, "unit": code}
        written = {"value": content[sides[0]], "unit": code}
        return {**content, sides[0]: value, "unit": measure.unit, "written": written}

    @model_validator(mode="after")
    def _one_side(self) -> Limit:
        if sum(side is not None for side in (self.below, self.above, self.at_least)) != 1:
            raise ValueError(f"limit '{self.id}' needs exactly one of 'below', 'above' and 'at_least'")
        measure = measure_of(self.measure)
        if self.written is not None:
            value, _ = in_own_unit(measure, self.written.value, self.written.unit)
            if abs(value - self.value) > 1e-6 * max(1.0, abs(value)):
                raise ValueError(
                    f"limit '{self.id}': {self.written.value:g} {self.written.unit} is {value:g} {self.unit}, not "
                    f"{self.value:g}; leave out 'written'"
                )
        doubt = implausible(measure, self.value)
        if doubt:
            raise ValueError(f"limit '{self.id}': {doubt}")
        return self

    @property
    def value(self) -> float:
        """The number itself, in `unit` (for a share of a baseline in per cent)."""
        return next(side for side in (self.below, self.above, self.at_least) if side is not None)

    @property
    def is_above(self) -> bool:
        """Whether values over it lie outside."""
        return self.below is None

    @property
    def inclusive(self) -> bool:
        """Whether the number itself lies outside."""
        return self.at_least is not None

    @property
    def side(self) -> str:
        """``"below"``, ``"above"`` or ``"at least"``: which values lie outside."""
        return "below" if self.below is not None else "above" if self.above is not None else "at least"

    @property
    def words(self) -> str:
        """``"below 65 mm[Hg]"``."""
        return f"{self.side} {self.value:g} {self.unit}"

    @property
    def as_written(self) -> str:
        """``"8 kPa"`` where the file has another unit than the measure; else empty."""
        return f"{self.written.value:g} {self.written.unit}" if self.written is not None else ""

    @property
    def cited(self) -> str:
        """The source, with a word where it was only read in a text that quotes it, or has another unit."""
        said = f"{self.source} (read in a text that quotes it)" if self.read == "secondary" else self.source
        return (
            f"{said} (written there as {self.side} {self.as_written})" if self.written is not None else said
        )


class EditedLimit(Limit):
    """A limit whose number somebody changed in a case.

    Attributes
    ----------
    was : Limit
        As its set has it.
    by, why : str
        Who changed it, and the reason given.
    """

    was: Limit
    by: str
    why: str

    @classmethod
    def of(cls, limit: Limit, value: float, why: str, by: str) -> EditedLimit:
        """A limit with another number on the same side."""
        content = {name: getattr(limit, name) for name in Limit.model_fields}
        side = next(name for name in ("below", "above", "at_least") if content[name] is not None)
        own: dict[str, Any] = {
            side: value,
            "status": "U",
            "source": f"edited by {by or 'nobody named'}: {why}",
            "read": "",
            "written": None,
        }
        return cls(**{**content, **own}, was=limit, by=by, why=why)

    @property
    def cited(self) -> str:
        """Whose number it is, and what the set says."""
        return f"{self.source}; its set has {self.was.words} ({self.was.cited})"


class Oxygen(Table):
    """The constants of oxygen content, and whose they are."""

    capacity: float = Field(ge=1.2, le=1.5, description="mL of oxygen per gram of haemoglobin, 1.2 to 1.5")
    solubility: float = Field(
        ge=0.002, le=0.004, description="mL of oxygen per dL of blood and mmHg, 0.002 to 0.004"
    )
    status: Literal["P", "C", "D", "U"] = Field(
        description="P published, C common practice, D this project's choice, U this unit's own"
    )
    source: str = Field(min_length=1, description="who says so: a citation, or whose choice it is")

    @property
    def constants(self) -> OxygenConstants:
        """As the formulas take them."""
        return OxygenConstants(self.capacity, self.solubility, self.source)


class LimitSet(Table):
    """A named, versioned set of limits, and of the constants of oxygen content where it has them."""

    name: str = Field(min_length=1, description="a name in quotes")
    version: str = Field(min_length=1, description='a version in quotes such as "1"')
    about: str = Field(default="", description="a sentence in quotes")
    oxygen: Oxygen | None = Field(default=None, description="a table [oxygen] with the constants of content")
    limit: tuple[Limit, ...] = Field(default=(), strict=False, description="tables [[limit]]")

    @model_validator(mode="after")
    def _ids(self) -> LimitSet:
        if not self.limit and self.oxygen is None:
            raise ValueError("a set needs at least one table [[limit]], or a table [oxygen]")
        if not self.is_shipped:
            published = next((limit.id for limit in self.limit if limit.status == "P"), "")
            if published:
                raise ValueError(
                    f"limit '{published}' of the set '{self.name}' says status \"P\", which only the set that comes "
                    'with the program can: write "U", and name the publication in source'
                )
        ids = [limit.id for limit in self.limit]
        twice = sorted({one for one in ids if ids.count(one) > 1})
        if twice:
            raise ValueError(f"two limits are called '{twice[0]}'; each needs an id of its own")
        for limit in self.limit:
            for rival in limit.rivals:
                if rival not in ids:
                    raise ValueError(f"limit '{limit.id}' names a rival '{rival}' that is not in this set")
        return self

    def __len__(self) -> int:
        return len(self.limit)

    def __iter__(self) -> Iterator[Limit]:  # type: ignore[override]
        return iter(self.limit)

    def __getitem__(self, limit_id: str) -> Limit:
        """The limit of that id.

        Raises
        ------
        CaseError
            If the set has none.
        """
        for limit in self.limit:
            if limit.id == limit_id:
                return limit
        raise CaseError(
            f"the limit set '{self.name}' has no limit '{limit_id}'",
            todo=f"Its limits are: {', '.join(limit.id for limit in self.limit)}",
        )

    @property
    def title(self) -> str:
        """Name and version, as printed under figures; a set with edited numbers says how many."""
        return f"{self.name}, version {self.version}"

    @property
    def is_shipped(self) -> bool:
        """Whether it is a set that comes with the program, by its name; a unit's own cannot have that name."""
        return self.name in built_in()

    def rivals_of(self, limit: Limit) -> list[Limit]:
        """The limits that say otherwise; one that gives the same number on the same side does not."""
        return [one for one in (self[rival] for rival in limit.rivals) if one.words != limit.words]

    @classmethod
    def load(cls, name_or_path: str | Path) -> LimitSet:
        """A set by the name of one that comes with the program, or by the path of a TOML file.

        Raises
        ------
        FileUnreadable
            No such set or file, not in the form above, a measure that there is none of, a unit that is not one of
            its measure's, or a file that has the name of a set that comes with the program; the message names file
            and limit.
        """
        if isinstance(name_or_path, str) and name_or_path in built_in():
            return load(FOLDER / f"{name_or_path}.toml", cls, "limit set")
        path = Path(name_or_path)
        if not path.is_file():
            raise FileUnreadable(
                "there is no such limit set",
                path=path,
                todo=f"Give a TOML file, or one of: {', '.join(built_in())}",
            )
        found = load(path, cls, "limit set")
        if found.is_shipped and found != shipped(found.name):
            raise FileUnreadable(
                f"'{found.name}' is the name of a set that comes with the program, and this one is another",
                path=path,
                place="key name",
                todo="Give your own set a name of its own",
            )
        return found


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def built_in() -> list[str]:
    """Names of the sets that come with the program."""
    return sorted(path.stem for path in FOLDER.glob("*.toml"))


def default_sets() -> tuple[LimitSet, ...]:
    """What figures go by when nobody chose a set: what was published, then what is in common use."""
    return shipped("published"), shipped("practice")


@cache
def shipped(name: str) -> LimitSet:
    """A set that comes with the program, read once."""
    return LimitSet.load(name)
