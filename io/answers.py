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
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, ValidationError

from .clock import ClockPiece
from .errors import CaseError, EditRefused, FileUnreadable
from .terms import Identity, parse_unit

UNKNOWN = "unknown"


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


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class ReferenceAnswer(_Strict):
    """Which source's clock is the reference."""

    source: str


class ClockAnswer(_Strict):
    """A clock map given by hand."""

    pieces: Annotated[list[dict[str, float]], AfterValidator(_pieces)]


class IdentityAnswer(_Strict):
    """What a channel is."""

    kind: str
    site: str = ""
    side: str = ""
    statistic: str = "value"

    def identity(self) -> Identity:
        """As the model's own type."""
        return Identity(self.kind, self.site, self.side, self.statistic)


class Answers(_Strict):
    """Everything an answers file may hold; all of it may be left out."""

    reference: ReferenceAnswer | None = None
    clocks: dict[str, ClockAnswer] = {}
    units: dict[str, Annotated[str, AfterValidator(_unit)]] = {}
    identity: dict[str, IdentityAnswer] = {}
    columns: dict[str, Literal["last time", "none"]] = {}


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
        for name, answer in answers.identity.items():
            try:
                answer.identity()
            except ValueError as cause:
                raise CaseError(str(cause), path=path, place=f"identity.{name}", todo="Correct it") from cause
    except ValidationError as cause:
        first = cause.errors()[0]
        raise FileUnreadable(
            first["msg"],
            path=path,
            place="key " + ".".join(str(part) for part in first["loc"]),
            todo="An answers file holds the tables reference, clocks, units, identity and columns; correct this key",
        ) from cause
    return answers
