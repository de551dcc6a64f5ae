"""What a file says, put into a message: one line, printable, and no longer than a person reads."""

from __future__ import annotations

from typing import Final

MOST: Final = 60
"""Signs of a file that a message quotes."""

_LOOKED_AT: Final = 4096  # signs of a text that are looked at, however long it is


def shown(found: object, most: int = MOST) -> str:
    r"""A text, or what a library said of it, without anything that would break a message apart.

    Parameters
    ----------
    found : object
        Bytes are taken as Latin-1, so that each shows as one sign; of anything else its `str`.
    most : int
        Signs of it at most; ``...`` stands for the rest.

    Returns
    -------
    str
        One line; what cannot be printed is written as an escape such as ``\x00``.

    Examples
    --------
    >>> shown(b"ab\n\x00"), shown("0" * 100, 5)
    ('ab \\x00', '00000...')
    """
    text = found.decode("latin-1") if isinstance(found, bytes | bytearray) else str(found)
    long = len(text) > _LOOKED_AT
    words = " ".join(text[:_LOOKED_AT].split(None, most)[: most + 1])
    plain = "".join(sign if sign.isprintable() else _escaped(sign) for sign in words[: most + 1])
    return plain[:most] + "..." if len(plain) > most or long else plain


def quoted(found: object, most: int = MOST) -> str:
    """The same between quotation marks, unless it is no text.

    Examples
    --------
    >>> quoted("12,5")
    "'12,5'"
    """
    return f"'{shown(found, most)}'" if isinstance(found, str | bytes | bytearray) else shown(found, most)


def _escaped(sign: str) -> str:
    return sign.encode("unicode_escape", "backslashreplace").decode("ascii")
