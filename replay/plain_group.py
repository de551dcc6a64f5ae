"""How the command line speaks: whatever a person can act on is one plain sentence and an exit code."""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import Any

import click
from afterclamp.io.errors import Cancelled, CaseError, QuestionsOpen

PROGRAM = "afterclamp"
CANNOT, MISUSED, ASKED, STOPPED = 1, 2, 3, 130


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
        try:
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
            code = _say("Stopped; what was not finished was not kept.", STOPPED)
        sys.exit(code if isinstance(code, int) else 0)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the chosen command; whoever stops reading its output is no complaint."""
        try:
            outcome = super().invoke(ctx)
            sys.stdout.flush()
        except BrokenPipeError:
            _leave_quietly()
            return 0
        return outcome


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
    lines = [
        f"{len(asked.questions)} question(s) need a person before this can be brought in; nothing was written:"
    ]
    lines += [f"  [{q.id}] {q.text} (proposed: {q.proposal})" for q in asked.questions]
    lines.append(
        "Answer them in a TOML file given with --answers, or accept what is proposed with --accept-proposals."
    )
    return "\n".join(lines)
