"""Reads files and brings them in while every path that is opened and every word with the network is noted.

    python tests/watched_reading.py '[{"path": ..., "warm": ..., "columns": ..., "into": ..., "folders": [...]}, ...]'

Two witnesses: Python's own audit events, and inotify, which also sees what C libraries open. The file `warm` is read
first, so that modules that are imported only when they are needed are there. Prints a list in JSON.
"""

from __future__ import annotations

import ctypes
import json
import os
import struct
import sys
from pathlib import Path
from typing import Any

IN_OPEN = 0x20
HDF5_APART = [sys.executable, "-P", "-m", "afterclamp.io.readers.hdf5_child"]
_EVENT = struct.Struct("iIII")

opened: list[str] = []
spoken: list[str] = []
listening = False


def hear(event: str, arguments: tuple[Any, ...]) -> None:
    if event.startswith("socket."):
        # A library makes one when it is imported, to see which families of addresses the system knows: no word yet.
        if event != "socket.__new__":
            spoken.append(event)
        raise PermissionError("no word with the network")
    if not listening:
        return
    if event == "open" and isinstance(arguments[0], (str, bytes)):
        opened.append(os.fsdecode(arguments[0]))
    elif event == "subprocess.Popen" and list(arguments[1]) == HDF5_APART:
        pass  # foreign HDF5 is read there; what it opens, the other witness sees
    elif event.startswith(("subprocess.", "os.system", "os.exec", "os.posix_spawn", "os.fork")):
        spoken.append(event)


class Openings:
    """What is opened in some folders, by whatever means."""

    def __init__(self, folders: list[str]) -> None:
        libc = ctypes.CDLL(None, use_errno=True)
        self._file = libc.inotify_init1(os.O_NONBLOCK)
        self._folders = {
            libc.inotify_add_watch(self._file, folder.encode(), IN_OPEN): folder for folder in folders
        }
        assert self._file >= 0
        assert min(self._folders) >= 0

    def seen(self) -> list[str]:
        found = []
        while True:
            try:
                data = os.read(self._file, 1 << 16)
            except BlockingIOError:
                return sorted(set(found))
            at = 0
            while at < len(data):
                watch, _, _, length = _EVENT.unpack_from(data, at)
                name = data[at + _EVENT.size : at + _EVENT.size + length].rstrip(b"\0").decode()
                if name:
                    found.append(str(Path(self._folders[watch]) / name))
                at += _EVENT.size + length


def read(path: Path, columns: Path | None) -> str:
    from afterclamp.io.errors import CaseError
    from afterclamp.io.readers import registry

    try:
        for recording in registry.read(path, {"columns": columns}):
            for channel in recording.channels:
                for _ in channel.blocks():
                    pass
    except CaseError as cause:
        return cause.sentence
    return ""


def watched(told: dict[str, Any]) -> dict[str, Any]:
    """What one file is read to, and what was opened and spoken meanwhile."""
    global listening
    from afterclamp.io import bring_in
    from afterclamp.io.errors import CaseError

    columns = Path(told["columns"]) if told["columns"] else None
    if told["warm"]:
        read(Path(told["warm"]), columns)
        bring_in([told["warm"]], f"{told['into']}-warm", columns=columns, accept_proposals=True).close()
    openings = Openings(told["folders"])
    opened.clear()
    listening = True
    refused = read(Path(told["path"]), columns)
    reading = len(opened)
    try:
        bring_in([told["path"]], told["into"], columns=columns, accept_proposals=True).close()
    except CaseError as cause:
        refused = refused or cause.sentence
    listening = False
    return {
        "refused": refused,
        "reading": opened[:reading],
        "bringing_in": opened[reading:],
        "seen": openings.seen(),
        "spoken": list(spoken),
    }


def main() -> None:
    sys.addaudithook(hear)
    print(json.dumps([watched(told) for told in json.loads(sys.argv[1])]))


if __name__ == "__main__":
    main()
