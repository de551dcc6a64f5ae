"""What can go wrong with a case, as sentences for the person who can mend it.

Every error names the file and the place, says what was expected and what to do. Nothing in the
project catches one of these without showing it whole.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any


class CaseError(Exception):
    """Something about a case or a file that a person can act on.

    Parameters
    ----------
    what : str
        What was found and what was expected, as one plain sentence without a full stop.
    path : Path or str, optional
        The file or folder concerned.
    place : str, optional
        Where in the file: ``"line 14, column flow"``, ``"byte 184"``, ``"channel ABP"``.
    todo : str, optional
        What the person can do about it, as an imperative without a full stop.
    """

    def __init__(self, what: str, *, path: Path | str | None = None, place: str = "", todo: str = "") -> None:
        self.what = _in_one_line(what)
        self.path = Path(path) if path is not None else None
        self.place = _in_one_line(place)
        self.todo = todo
        super().__init__(self.sentence)

    @property
    def sentence(self) -> str:
        """The whole message: file, place, what, what to do."""
        where = ", ".join(part for part in (str(self.path) if self.path else "", self.place) if part)
        text = f"{where}: {self.what}" if where else self.what
        return f"{text}. {self.todo}." if self.todo else f"{text}."


def several(count: int, what: str) -> str:
    """A number of things: ``1 channel``, ``2 channels``.

    Examples
    --------
    >>> several(1, "other file"), several(2, "question")
    ('1 other file', '2 questions')
    """
    return f"{count} {what}{'' if count == 1 else 's'}"


def _in_one_line(text: str) -> str:
    """What is taken over from a file may hold line ends and signs that nobody can read."""
    return text if text.isprintable() else "".join(sign if sign.isprintable() else " " for sign in text)


class FileUnreadable(CaseError):
    """A source file that is damaged, cut, empty, or not what it claims to be."""


class UnitUnknown(CaseError):
    """A unit that is not in the table of units and is never guessed."""


class CaseFolderUnreadable(CaseError):
    """A case folder that is damaged, not a case, or of a newer format version."""


class CannotWrite(CaseError):
    """No permission, no space, or a place that already holds something else."""


class Cancelled(CaseError):
    """The person stopped a long piece of work; nothing was kept."""


class NoSuchChannel(CaseError):
    """A name that fits no channel of the case, or more than one."""


class EditRefused(CaseError):
    """An edit that the log cannot take: not the author's own, unknown, or malformed."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One way to answer a question.

    Attributes
    ----------
    words : str
        For people, with the values that would come of it where they are known.
    answers : mapping
        What an answers file would say for it.
    proposed : bool
        Whether it is what the question proposes.
    """

    words: str
    answers: Mapping[str, Any]
    proposed: bool = False


@dataclass(frozen=True, slots=True)
class Question:
    """Something that only a person can decide before a file is brought in.

    Attributes
    ----------
    id : str
        Stable key for an answers file, such as ``"unit:pump/flow"``.
    text : str
        The question, with the values before and after where a unit is in doubt.
    proposal : str
        What accepting the proposal means; never applied without being asked.
    choices : tuple of Choice
        Every way to answer it.
    """

    id: str
    text: str
    proposal: str
    choices: tuple[Choice, ...] = ()


class QuestionsOpen(CaseError):
    """Questions that need a person; the bring-in wrote nothing."""

    def __init__(self, questions: tuple[Question, ...], *, path: Path | str | None = None) -> None:
        self.questions = questions
        need = "needs" if len(questions) == 1 else "need"
        listing = "; ".join(f"[{q.id}] {q.text} (proposed: {q.proposal})" for q in questions)
        super().__init__(
            f"{several(len(questions), 'question')} {need} a person before this can be brought in: {listing}",
            path=path,
            todo="Answer them in a file given with --answers, or accept what is proposed with --accept-proposals",
        )
