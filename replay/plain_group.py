"""How the command line speaks: whatever a person can act on is one plain sentence and an exit code."""

from __future__ import annotations

import errno
import os
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Any

import click
from afterclamp.io.errors import Cancelled, CaseError, QuestionsOpen, several

PROGRAM = "afterclamp"
CANNOT, MISUSED, ASKED, STOPPED = 1, 2, 3, 130
_ENDING = (signal.SIGINT, signal.SIGTERM)


class PlainGroup(click.Group):
    """A group of commands that says what is in the way in one sentence, without a usage block."""

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,
    ) -> Any:
        """Run, and turn everything that a person can act on into a sentence and an exit code."""
        if not standalone_mode:
            return super().main(args, prog_name, complete_var, standalone_mode=False, **extra)
        _speak_utf8()
        told: list[int] = []
        try:
            with _ends_when_told(told):
                code = super().main(args, prog_name or PROGRAM, complete_var, standalone_mode=False, **extra)
        except OSError as cause:
            code = _say(_os_sentence(cause), CANNOT)
        except QuestionsOpen as asked:
            code = _say(_questions(asked), ASKED)
        except Cancelled as stopped:
            code = _say(stopped.sentence, STOPPED)
        except CaseError as said:
            code = _say(said.sentence, CANNOT)
        except click.exceptions.NoArgsIsHelpError as empty:
            click.echo(empty.format_message(), err=True)
            code = MISUSED
        except click.ClickException as misuse:
            code = _say(_usage_sentence(misuse), misuse.exit_code)
        except (KeyboardInterrupt, click.Abort):
            code = _say("Stopped; what was not finished was not kept.", 128 + told[0] if told else STOPPED)
        sys.exit(code if isinstance(code, int) else 0)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the chosen command; whoever stops reading its output is no complaint."""
        try:
            outcome = super().invoke(ctx)
            with _output():
                sys.stdout.flush()
        except BrokenPipeError:
            _leave_quietly()
            return 0
        return outcome


def put(text: str, *, err: bool = False) -> None:
    """Print a result.

    Raises
    ------
    CaseError
        When the output does not take it.
    BrokenPipeError
        When whoever read it has gone.
    """
    with _output():
        click.echo(text, err=err)


@contextmanager
def _output() -> Iterator[None]:
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as cause:
        _leave_quietly()
        raise CaseError(
            f"the output could not be written ({(cause.strerror or 'no reason given').lower()})",
            todo="Free some space where it goes, or send it elsewhere",
        ) from cause


@contextmanager
def _ends_when_told(told: list[int]) -> Iterator[None]:
    """Ctrl-C and being told to end go the same way, so that nothing half-written stays; `told` keeps the signals."""

    def end(number: int, _frame: FrameType | None) -> None:
        told.append(number)
        if len(told) == 1:
            raise KeyboardInterrupt
        if len(told) > 2:  # the second does not break off what is cleared away; whoever insists is heard
            os._exit(128 + number)

    if threading.current_thread() is not threading.main_thread():
        yield  # only there may it be asked for
        return
    before = {number: signal.signal(number, end) for number in _ENDING}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, signal.SIG_DFL if handler is None else handler)


def end_at_once() -> None:
    """From here on signals do what they do without us: a window's loop would not come to hear of them."""
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, signal.SIG_DFL)
        signal.signal(signal.SIGINT, signal.default_int_handler)


def _say(sentence: str, code: int) -> int:
    with suppress(OSError):
        click.echo(sentence, err=True)
    return code


def _speak_utf8() -> None:
    """Print the same bytes wherever it runs: ± and ° would stop a console with an older code page."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8", errors="backslashreplace")


def _leave_quietly() -> None:
    """Whoever read our output has gone: let the interpreter's last flush go nowhere."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _os_sentence(cause: OSError) -> str:
    what = cause.strerror or str(cause)
    todo = {
        errno.ENOSPC: "Free some space, or choose another place",
        errno.EFBIG: "Choose a place where larger files are allowed",
        errno.EACCES: "Choose a place that you may read and write, or change the permission",
        errno.EPERM: "Choose a place that you may read and write, or change the permission",
        errno.EROFS: "Choose a place that can be written to",
    }.get(cause.errno or 0, "Check the place and try again")
    return CaseError(what[:1].lower() + what[1:], path=cause.filename, todo=todo).sentence


def _usage_sentence(misuse: click.ClickException) -> str:
    message = misuse.format_message().rstrip(".")
    context = getattr(misuse, "ctx", None)
    path = context.command_path if context is not None else "afterclamp"
    return f"{message}{'' if message.endswith('?') else '.'} See: {path} --help"


def _questions(asked: QuestionsOpen) -> str:
    need = "needs" if len(asked.questions) == 1 else "need"
    lines = [
        f"{several(len(asked.questions), 'question')} {need} a person before this can be brought in; "
        "nothing was written:"
    ]
    lines += [f"  [{q.id}] {q.text} (proposed: {q.proposal})" for q in asked.questions]
    lines.append(
        "Answer them in a TOML file given with --answers, or accept what is proposed with --accept-proposals."
    )
    return "\n".join(lines)
