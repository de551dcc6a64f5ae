"""TOML files against a pydantic model, with a sentence instead of a list of validator messages.

Every field's description says what is expected; that description is what the person reads.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ConfigDict, ValidationError

from .errors import FileUnreadable


class Table(BaseModel):
    """Base of all tables: no key is ignored, no type is bent, nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


_Model = TypeVar("_Model", bound=BaseModel)


def load(path: Path, model: type[_Model], what: str) -> _Model:
    """Read a TOML file into `model`.

    Parameters
    ----------
    path : Path
        The file, UTF-8 with or without byte order mark.
    model : type
        Its pydantic model.
    what : str
        What the file is, for messages: ``"case sheet"``.

    Raises
    ------
    FileUnreadable
        Not readable, not UTF-8, not TOML, an unknown key or a value outside what is expected; the message
        names the key.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as cause:
        raise FileUnreadable(
            f"this {what} is not UTF-8 text (byte {cause.start})", path=path, todo="Save it as UTF-8"
        ) from cause
    except OSError as cause:
        raise FileUnreadable(
            f"this {what} cannot be read ({cause.strerror})",
            path=path,
            todo="Check that it exists and may be read",
        ) from cause
    try:
        content = tomllib.loads(text.replace("\r\n", "\n"))
    except tomllib.TOMLDecodeError as cause:
        raise FileUnreadable(
            f"this {what} is not valid TOML: {cause}",
            path=path,
            todo="Texts and times stand in quotes, numbers without, each key once, one key a line",
        ) from cause
    try:
        return model.model_validate(content)
    except ValidationError as cause:
        raise sentence_of(cause, path, model) from cause


def sentence_of(cause: ValidationError, path: Path | None, model: type[BaseModel]) -> FileUnreadable:
    """The first thing that is wrong, as a sentence in the project's own words."""
    first = cause.errors(include_url=False)[0]
    loc = first["loc"]
    place = "key " + _dotted(loc) if loc else ""
    tables, description = _along(model, loc)
    if first["type"] == "extra_forbidden":
        known = ", ".join(tables[-1].model_fields)
        return FileUnreadable(
            f"nothing by the name '{loc[-1]}' belongs here; expected one of: {known}",
            path=path,
            place=place,
            todo="Correct the name or take the line out",
        )
    if first["type"] == "missing":
        return FileUnreadable(
            f"'{loc[-1]}' is missing; expected {description or 'a value'}",
            path=path,
            place=place,
            todo="Add it",
        )
    own = first.get("ctx", {}).get("error")
    if isinstance(own, ValueError) and (not description or not str(own).startswith("found ")):
        return FileUnreadable(str(own), path=path, place=place, todo="Correct it")
    found = repr(first["input"]) if not isinstance(first["input"], dict | list) else "a table or list"
    return FileUnreadable(
        f"found {found}; expected {description or first['msg']}", path=path, place=place, todo="Correct it"
    )


def _dotted(loc: tuple[int | str, ...]) -> str:
    """``haemoglobin[2].time``, rows counted from 1 as people do."""
    text = ""
    for part in loc:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def _along(model: type[BaseModel], loc: tuple[int | str, ...]) -> tuple[list[type[BaseModel]], str]:
    """The tables on the way to `loc`, and the description of its last field."""
    tables = [model]
    description = ""
    named = False  # whether what comes next is a name that the file gives itself, as in [clocks.pump]
    for part in loc:
        if isinstance(part, int) or named:
            named = False
            continue
        field = tables[-1].model_fields.get(str(part))
        if field is None:
            break
        description = field.description or ""
        named = get_origin(field.annotation) is dict
        inner = _table_in(field.annotation)
        if inner is not None:
            tables.append(inner)
    return tables, description


def _table_in(annotation: Any) -> type[BaseModel] | None:
    """The table inside ``Table``, ``Table | None`` or ``tuple[Table, ...]``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in get_args(annotation):
        found = _table_in(part)
        if found is not None:
            return found
    return None
