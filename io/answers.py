"""A person's answers to what a bring-in asks, as a TOML file.

::

    [reference]
    source = "monitor"                 # whose clock is the case's

    [clocks.pump]                      # a clock map given by hand
    pieces = [{ offset_s = 94.0, drift_ppm = 60.0, sd_s = 0.25 }, { run = 1, offset_s = 64.0 }]

    [units]
    "pump/flow" = "L/min"              # "unknown" leaves it out of every rule and figure

    [identity."monitor/abp"]
    kind = "arterial_pressure"
    site = "femoral"

    [columns]
    "pump.csv" = "last time"           # the column map of a table that looked the same; "none": read it without

    [steps]
    "pump.csv" = "as it stands"        # its clock was set; or "summer time ends", "summer time begins", or a dial
                                       # of 12 hours whose first row is "am" or "pm"
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, Field, ValidationError

from .clock import ClockPiece
from .errors import EditRefused, FileUnreadable
from .terms import KINDS, Identity, parse_unit
from .typed_toml import Table, sentence_of

UNKNOWN = "unknown"

AS_IT_STANDS: Final = "as it stands"
_STEPS: Final = "'as it stands', 'summer time ends', 'summer time begins', 'am' or 'pm' for each table"
_TABLES: Final = ("clocks", "units", "identity", "columns", "steps")


def _unit(text: str) -> str:
    code = text if text == UNKNOWN else parse_unit(text)
    if code is None:
        raise ValueError(f"{text!r} is no known unit")
    return code


def _pieces(pieces: list[dict[str, float]]) -> list[dict[str, float]]:
    try:
        return [ClockPiece.from_payload(piece).to_payload() for piece in pieces]
    except EditRefused as cause:
        raise ValueError(cause.what) from cause


_PIECES = "a list of tables such as { offset_s = 94.0, drift_ppm = 60.0, sd_s = 0.25, run = 0 }"
_ONE_PIECE = Field(description=_PIECES)


class ReferenceAnswer(Table):
    """Which source's clock is the reference."""

    source: str = Field(description="the name of a source in quotes")


class ClockAnswer(Table):
    """A clock map given by hand."""

    pieces: Annotated[list[dict[str, float]], AfterValidator(_pieces)] = _ONE_PIECE


class IdentityAnswer(Table):
    """What a channel is."""

    kind: str = Field(description=f"one of {', '.join(KINDS)}")
    site: str = Field(default="", description="a site in quotes")
    side: str = Field(default="", description="'left', 'right' or nothing")
    statistic: str = Field(default="value", description="a word such as 'wave', 'mean' or 'value'")

    def identity(self) -> Identity:
        """As the model's own type."""
        return Identity(self.kind, self.site, self.side, self.statistic)


class Answers(Table):
    """Everything an answers file may hold; all of it may be left out."""

    reference: ReferenceAnswer | None = Field(default=None, description="a table with a source")
    clocks: dict[str, ClockAnswer] = Field(default={}, description="a table for each source")
    units: dict[str, Annotated[str, AfterValidator(_unit)]] = Field(
        default={}, description="a unit in quotes for each channel, such as 'mm[Hg]' or 'unknown'"
    )
    identity: dict[str, IdentityAnswer] = Field(default={}, description="a table for each channel")
    columns: dict[str, Literal["last time", "none"]] = Field(
        default={}, description="'last time' or 'none' for each table"
    )
    steps: dict[str, Literal["as it stands", "summer time ends", "summer time begins", "am", "pm"]] = Field(
        default={}, description=_STEPS
    )


def load_answers(path: Path) -> Answers:
    """Read an answers file.

    Raises
    ------
    FileUnreadable
        Naming the key and what was expected.
    """
    try:
        raw: dict[str, Any] = tomllib.loads(path.read_text("utf-8"))
    except OSError as cause:
        raise FileUnreadable(
            f"cannot be read ({cause.strerror})", path=path, todo="Check the path"
        ) from cause
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as cause:
        raise FileUnreadable(f"is not TOML ({cause})", path=path, todo="Mend that line") from cause
    return check_answers(raw, path)


def check_answers(raw: dict[str, Any], path: Path | None = None) -> Answers:
    """Answers from plain tables, as read from TOML or gathered in a dialog.

    Raises
    ------
    FileUnreadable
        Naming the key and what was expected.
    """
    try:
        answers = Answers.model_validate(raw)
    except ValidationError as cause:
        raise sentence_of(cause, path, Answers) from cause
    for name, answer in answers.identity.items():
        try:
            answer.identity()
        except ValueError as cause:
            raise FileUnreadable(
                str(cause), path=path, place=f"key identity.{name}", todo="Correct it"
            ) from cause
    return answers


@dataclass(frozen=True)
class Known:
    """What answers can be about: names of a bring-in and of the case that it goes into.

    Attributes
    ----------
    sources : tuple of str
    channels : tuple of str
        As ``"source/key"``.
    files : tuple of str
    """

    sources: tuple[str, ...]
    channels: tuple[str, ...]
    files: tuple[str, ...]


def refuse_strangers(answers: Answers, known: Known, path: Path | None = None) -> None:
    """See to it that every answer is about something that is there.

    Raises
    ------
    FileUnreadable
        Naming the first that is not, and what there is.
    """
    for place, named in _strangers(answers, known):
        what, have = {
            "columns": ("file", known.files),
            "steps": ("file", known.files),
            "units": ("channel", known.channels),
            "identity": ("channel", known.channels),
        }.get(place, ("source", known.sources))
        raise FileUnreadable(
            f"there is no {what} '{named}'; there are: {', '.join(sorted(have)) or 'none'}",
            path=path,
            place=f"table {place}",
            todo="Correct the answer or take it out",
        )


def without_strangers(answers: Answers, known: Known) -> Answers:
    """Only the answers that are about something that is there, as when files are left out on purpose."""
    gone = set(_strangers(answers, known))
    return answers.model_copy(
        update={
            "reference": None if any(place == "reference" for place, _ in gone) else answers.reference,
            **{
                table: {
                    name: told for name, told in getattr(answers, table).items() if (table, name) not in gone
                }
                for table in _TABLES
            },
        }
    )


def _strangers(answers: Answers, known: Known) -> list[tuple[str, str]]:
    named = [("reference", answers.reference.source)] if answers.reference else []
    for table in _TABLES:
        named += [(table, name) for name in getattr(answers, table)]
    there = {"units": known.channels, "identity": known.channels}
    there |= {"columns": known.files, "steps": known.files}
    return [(place, name) for place, name in named if name not in there.get(place, known.sources)]
