"""Whether anything can be drawn or shown here, said before Qt ends the process without a word."""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
from pathlib import Path

from afterclamp.io.errors import CaseError

# Which Debian package brings which library; the names that differ on Debian 13 stand in .ci/setup.
PACKAGES = {
    "libGL.so.1": "libgl1",
    "libEGL.so.1": "libegl1",
    "libxkbcommon.so.0": "libxkbcommon0",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libgthread-2.0.so.0": "libglib2.0-0",
    "libdbus-1.so.3": "libdbus-1-3",
    "libfontconfig.so.1": "libfontconfig1",
    "libfreetype.so.6": "libfreetype6",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxcb-image.so.0": "libxcb-image0",
    "libxcb-render-util.so.0": "libxcb-render-util0",
    "libxcb-xkb.so.1": "libxcb-xkb1",
    "libxcb-randr.so.0": "libxcb-randr0",
    "libxcb-xinerama.so.0": "libxcb-xinerama0",
}


def missing_library(cause: Exception) -> CaseError:
    """The sentence for a system library that Qt needs and the machine has not.

    Parameters
    ----------
    cause : ImportError or OSError
        As raised by the loader: ``libGL.so.1: cannot open shared object file: ...``.
    """
    library = str(cause).split(":", 1)[0].strip()
    package = PACKAGES.get(library)
    if package is None:
        return CaseError(
            f"Qt could not be loaded: {cause}",
            todo="Run .ci/setup, or install the packages that the README names",
        )
    return CaseError(
        f"the system library {library} is missing, which drawing needs",
        todo=f"Install it with: apt-get install --no-install-recommends {package}",
    )


def drawing_ready() -> None:
    """Load what draws.

    Raises
    ------
    CaseError
        Naming the missing system library and the package that brings it.
    """
    try:
        import PySide6.QtGui
        import PySide6.QtWidgets  # noqa: F401
    except ImportError as cause:
        raise missing_library(cause) from cause


def why_no_window() -> str:
    """The reason that no window can be opened here, as half a sentence; empty when one can.

    Qt ends the whole process when its platform cannot be started, so it is tried in another one.

    Raises
    ------
    CaseError
        When a system library is missing that even drawing to a file needs.
    """
    platform = os.environ.get("QT_QPA_PLATFORM", "").split(":")[0].split(";")[0]
    if platform and platform not in ("xcb", "wayland"):
        return ""  # whoever set it knows what it shows
    if sys.platform.startswith("linux"):
        if not os.environ.get("DISPLAY") and not os.environ.get("WAYLAND_DISPLAY"):
            return "this machine has no display (neither DISPLAY nor WAYLAND_DISPLAY is set)"
        drawing_ready()
        missing = _missing_for_xcb() if os.environ.get("DISPLAY") and platform != "wayland" else None
        if missing is not None:
            return missing.sentence.rstrip(".").replace(". ", "; ")
        tried = subprocess.run(
            [sys.executable, "-c", "from PySide6.QtGui import QGuiApplication; QGuiApplication([])"],
            capture_output=True,
            timeout=60,
            check=False,
        )
        if tried.returncode != 0:
            return "the display that is set does not answer"
    return ""


def _missing_for_xcb() -> CaseError | None:
    import PySide6

    plugin = Path(PySide6.__file__).parent / "Qt" / "plugins" / "platforms" / "libqxcb.so"
    if not plugin.exists():
        return None
    try:
        ctypes.CDLL(str(plugin))
    except OSError as cause:
        return missing_library(cause)
    return None
