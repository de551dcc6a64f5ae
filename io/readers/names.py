"""Names for sources and channels, made from file names and labels."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable


def slug(text: str, fallback: str) -> str:
    """ASCII letters, digits and ``_`` only; `fallback` where nothing of the text is left."""
    plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii")
    return re.sub(r"[^A-Za-z0-9]+", "_", plain).strip("_") or fallback


def unique_keys(labels: Iterable[str]) -> list[str]:
    """A key for each label, in order; a repeated one gets ``_2``, ``_3`` and so on."""
    taken: set[str] = set()
    keys: list[str] = []
    for number, label in enumerate(labels, 1):
        stem = slug(label, f"channel_{number}")
        key, copy = stem, 1
        while key in taken:
            copy += 1
            key = f"{stem}_{copy}"
        taken.add(key)
        keys.append(key)
    return keys
