"""Damaged files of every format against every reader: a sentence or a right answer, never anything else.

    python tests/mutations.py --count 5000 [--first 0] [--workers 2] [--only WFDB] [--show 17]

Each case takes a small sound file (`mutation_seeds`), damages it in one to three ways (bits turned over, cut, lengths
lied about, storms of NaN, time running backwards, huge claimed sizes ...) and brings it in, in a process whose
memory is limited to 1 GB more than it begins with and which has 10 s for each case. The number of a case decides
everything about it. What counts as a find:

- an exception other than `CaseError`, a crash, more than 10 s, more than 1 GB;
- a recording that does not add up: samples, segments, stamps, or codes of another type than announced;
- a unit that stands nowhere in the file, or that became another one on the way into the case without being asked.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

MEMORY = 1 << 30
LONGEST_S = 10
_DEAF_S = LONGEST_S + 20  # a process that says nothing for so long cannot be interrupted from within
_SEED = 20310314

Bytes = bytes
Rng = np.random.Generator


# -- ways to damage a file ---------------------------------------------------------------------------


def _place(rng: Rng, size: int) -> int:
    """Somewhere; half the time in the first part, where headers are."""
    return int(rng.integers(0, max(1, min(size, 600) if rng.random() < 0.5 else size)))


def _stretch(rng: Rng, size: int) -> tuple[int, int]:
    first = _place(rng, size)
    return first, min(size, first + int(rng.integers(1, max(2, size // 4))))


def turn_bits(data: Bytes, rng: Rng) -> Bytes:
    changed = bytearray(data)
    for _ in range(int(rng.choice([1, 1, 2, 5, 20]))):
        changed[_place(rng, len(data))] ^= 1 << int(rng.integers(8))
    return bytes(changed)


def cut(data: Bytes, rng: Rng) -> Bytes:
    first, last = _stretch(rng, len(data))
    kinds = (data[:first], data[first:], data[:first] + data[last:], data[:last] + data[first:])
    return kinds[int(rng.choice(4, p=[0.55, 0.1, 0.2, 0.15]))]


def fill(data: Bytes, rng: Rng) -> Bytes:
    first, last = _stretch(rng, len(data))
    last = min(last, first + 64) if rng.random() < 0.5 else last
    kinds = (b"\0", b"\xff", b" ", b"\n", b'"', b"9")
    pick = int(rng.integers(len(kinds) + 1))
    put = rng.bytes(last - first) if pick == len(kinds) else kinds[pick] * (last - first)
    return data[:first] + put + data[last:]


_LIES = (
    b"0", b"-1", b"1", b"2", b"65536", b"2147483647", b"4294967295", b"99999999", b"9" * 20, b"1e308", b"1e-320",
    b"nan", b"inf", b"-0", b"0.0", b"1e9", b"00000000000", b"",
)  # fmt: skip


def lie_in_digits(data: Bytes, rng: Rng) -> Bytes:
    """Another number in place of one that is written in digits; of the same width half the time."""
    numbers = list(re.finditer(rb"-?\d+(?:\.\d+)?", data[:20_000]))
    if not numbers:
        return turn_bits(data, rng)
    early = rng.random() < 0.5
    found = numbers[int(rng.integers(min(len(numbers), 40) if early else len(numbers)))]
    lie = _LIES[int(rng.integers(len(_LIES)))]
    if rng.random() < 0.5:
        width = found.end() - found.start()
        lie = lie[:width].ljust(width)
    return data[: found.start()] + lie + data[found.end() :]


def lie_in_bytes(data: Bytes, rng: Rng) -> Bytes:
    """Another whole number of 2, 4 or 8 bytes, as lengths and counts are stored."""
    width = int(rng.choice([2, 4, 4, 8]))
    at = _place(rng, len(data))
    if rng.random() < 0.7:
        at -= at % 2
    values = (
        0,
        1,
        -1,
        2 ** (8 * width - 1) - 1,
        -(2 ** (8 * width - 1)),
        int(rng.integers(0, 2**15)),
        1 << (8 * width - 4),
    )
    value = values[int(rng.integers(len(values)))] % 2 ** (8 * width)
    put = value.to_bytes(width, "little" if rng.random() < 0.7 else "big")
    return data[:at] + put + data[at + width :]


def storm(data: Bytes, rng: Rng) -> Bytes:
    """Values that are none, one after the other."""
    first, last = _stretch(rng, len(data))
    if _is_text(data):
        words = (b"nan", b"inf", b"-inf", b"---", b"1e999", b"1e39", b"", b"0x1p3", b"-1e-400")
        word = words[int(rng.integers(len(words)))]
        return data[:first] + re.sub(rb"-?\d+(?:[.,]\d+)?", word, data[first:last]) + data[last:]
    form, value = [("<f8", np.nan), ("<f4", np.nan), (">f8", np.inf), ("<f8", 1e300), ("<i2", -32768)][
        int(rng.integers(5))
    ]
    put = np.full((last - first) // np.dtype(form).itemsize + 1, value, form).tobytes()[: last - first]
    return data[:first] + put + data[last:]


def turn_back(data: Bytes, rng: Rng) -> Bytes:
    """Lines or stretches in another order: time that runs backwards."""
    if _is_text(data):
        lines = data.splitlines(keepends=True)
        first, last = sorted(int(n) for n in rng.integers(0, len(lines) + 1, 2))
        middle = lines[first:last]
        kinds = (
            middle[::-1],
            sorted(middle),
            middle * 2,
            middle[len(middle) // 2 :] + middle[: len(middle) // 2],
        )
        return b"".join(lines[:first] + kinds[int(rng.integers(4))] + lines[last:])
    first, last = _stretch(rng, len(data))
    middle = (first + last) // 2
    return data[:first] + data[middle:last] + data[first:middle] + data[last:]


def swell(data: Bytes, rng: Rng) -> Bytes:
    """One stretch many times over."""
    first, last = _stretch(rng, len(data))
    last = min(last, first + 200)
    return data[:last] + data[first:last] * int(rng.integers(2, 5000)) + data[last:]


def slip_in(data: Bytes, rng: Rng) -> Bytes:
    """Signs that have a meaning of their own."""
    signs = (
        b'"',
        b"\0",
        b",",
        b";",
        b"\r",
        b"\n\n",
        b"\xef\xbb\xbf",
        b"\xe9",
        b"../",
        b"\x14\x14\0",
        b"~",
        b"/",
        b"::",
        b"\t",
    )
    at = _place(rng, len(data))
    return data[:at] + signs[int(rng.integers(len(signs)))] * int(rng.integers(1, 4)) + data[at:]


def _is_text(data: Bytes) -> bool:
    return b"\0" not in data[:2000]


WAYS: tuple[Callable[[Bytes, Rng], Bytes], ...] = (
    turn_bits, cut, fill, lie_in_digits, lie_in_digits, lie_in_bytes, storm, turn_back, swell, slip_in,
)  # fmt: skip


# -- one case ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Mutant:
    """A damaged file: what it was, what was done to it, and what it is now."""

    seed: Any
    done: str
    files: dict[str, Bytes]


class Mutants:
    """All cases; each by its number alone."""

    def __init__(self, only: str = "") -> None:
        from mutation_seeds import MAKERS, made

        groups = [[seed for seed in made(make) if only.lower() in seed.name.lower()] for make in MAKERS]
        self.groups = [group for group in groups if group]

    def __getitem__(self, number: int) -> Mutant:
        rng = np.random.default_rng([_SEED, number])
        group = self.groups[number % len(self.groups)]
        seed = group[int(rng.integers(len(group)))]
        files = dict(seed.files)
        done = []
        for _ in range(int(rng.choice([1, 1, 2, 3]))):
            name = list(files)[0 if rng.random() < 0.6 else int(rng.integers(len(files)))]
            way = WAYS[int(rng.integers(len(WAYS)))]
            if files[name]:
                files[name] = way(files[name], rng)
                done.append(f"{way.__name__} {name}")
        return Mutant(seed, ", ".join(done), files)


class TooLong(BaseException):
    """The time for one case is over."""


def judge(mutant: Mutant, folder: Path) -> tuple[str, str]:
    """Bring a case in: ("refused" | "read" | "find", what is to be said of it)."""
    from afterclamp.io.errors import CaseError, QuestionsOpen

    for name, data in mutant.files.items():
        (folder / name).write_bytes(data)
    columns = None
    if mutant.seed.columns:
        columns = folder.parent / f"{folder.name}.toml"
        columns.write_text(mutant.seed.columns, "utf-8")
    path = folder / mutant.seed.main
    try:
        recordings = _read(path, columns)
        told = " ".join([mutant.seed.columns, *mutant.seed.units])
        for trouble in (line for recording in recordings for line in _troubles(recording, mutant, told)):
            return "find", trouble
    except CaseError as cause:
        return (
            ("refused", cause.sentence)
            if _is_sentence(cause.sentence)
            else ("find", f"not a sentence: {cause!r}")
        )
    try:
        trouble = _brought_in(path, folder.parent / f"{folder.name}-case", columns)
    except QuestionsOpen as cause:
        return "read", f"asked: {len(cause.questions)} questions"
    except CaseError as cause:
        return "refused", f"on bringing in: {cause.sentence}"
    return ("find", trouble) if trouble else ("read", "")


def _read(path: Path, columns: Path | None) -> list[Any]:
    from afterclamp.io.readers.registry import read

    return list(read(path, {"columns": columns}))


def _is_sentence(text: str) -> bool:
    return bool(text.strip()) and "\n" not in text and len(text) < 2000


def _troubles(recording: Any, mutant: Mutant, told: str) -> Iterator[str]:
    """What does not add up in a recording."""
    for channel in recording.channels:
        where = f"channel {channel.key}"
        count = 0
        for block in channel.blocks():
            count += len(block.codes)
            if block.codes.dtype != channel.dtype:
                yield f"{where}: block of {block.codes.dtype}, announced {channel.dtype}"
            if block.valid is not None and (
                block.valid.shape != block.codes.shape or block.valid.dtype != bool
            ):
                yield f"{where}: valid of shape {block.valid.shape} for {block.codes.shape} codes"
        if count != channel.count:
            yield f"{where}: {count} samples in blocks, {channel.count} announced"
        yield from (f"{where}: {trouble}" for trouble in _untimely(channel))
        if not _stands_in(channel.unit_as_written, mutant.files, told):
            yield f"{where}: unit {channel.unit_as_written!r} stands nowhere in the file"
    for note in recording.notes:
        if not np.isfinite([note.start_s, note.end_s, note.sd_s]).all() or note.end_s < note.start_s:
            yield f"note {note.text[:30]!r} from {note.start_s} to {note.end_s}"


def _untimely(channel: Any) -> Iterator[str]:
    if channel.times is not None:
        if len(channel.times) != channel.count or not np.isfinite(channel.times).all():
            yield f"{len(channel.times)} stamps for {channel.count} samples, or not finite"
        if channel.runs is not None and len(channel.runs) != channel.count:
            yield f"{len(channel.runs)} runs for {channel.count} samples"
        return
    after, run, first = -np.inf, -1, 0
    for segment in channel.segments:
        numbers = (segment.start_s, segment.rate_hz, segment.scale, segment.offset)
        if not np.isfinite(numbers).all() or segment.rate_hz <= 0 or segment.count <= 0:
            yield f"segment {segment}"
        if segment.first != first:
            yield f"segment begins at sample {segment.first}, expected {first}"
        if segment.run < run or (segment.run == run and segment.start_s < after - 1e-6 - 1e-9 * abs(after)):
            yield f"segment at {segment.start_s} s of run {segment.run} begins before {after} s of run {run}"
        after, run, first = segment.end_s, segment.run, first + segment.count
    if first != channel.count:
        yield f"{first} samples in segments, {channel.count} announced"


def _stands_in(unit: str, files: dict[str, Bytes], told: str) -> bool:
    """Whether a unit is written somewhere; spaces, folded lines and doubled quotation marks make no difference."""
    plain = "".join(unit.split())
    texts = [told] + [
        data.decode(encoding, "ignore")
        for data in files.values()
        for encoding in ("utf-8", "latin-1", "utf-16")
    ]
    without = ("".join(text.split()) for text in texts)
    return any(plain in text or plain in text.replace('""', '"') for text in without)


def _brought_in(path: Path, into: Path, columns: Path | None) -> str:
    """Bring it in without an answer to anything; says which unit became another one."""
    from afterclamp.io import bring_in
    from afterclamp.io.terms import parse_unit

    try:
        with bring_in([path], into, columns=columns) as case:
            for channel in case.channels:
                channel.read(case.span.start, case.span.end)
                if channel.unit not in ("", parse_unit(channel.unit_as_written)):
                    return (
                        f"channel {channel.key}: {channel.unit_as_written!r} became {channel.unit!r} unasked"
                    )
        return ""
    finally:
        shutil.rmtree(into, ignore_errors=True)


# -- many cases -----------------------------------------------------------------------------------------


def work(numbers: range, only: str) -> None:
    """Judge cases, one line of JSON before and one after each; run in a process of its own."""
    import resource

    import afterclamp.io.readers.registry  # noqa: F401
    import pandas  # noqa: F401

    mutants = Mutants(only)
    limit = _address_space() + MEMORY
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
    signal.signal(signal.SIGALRM, _out_of_time)
    os.environ["TZ"] = "UTC"
    with tempfile.TemporaryDirectory() as base:
        for number in numbers:
            print(json.dumps({"begin": number}), flush=True)
            mutant = mutants[number]
            folder = Path(base) / str(number)
            folder.mkdir()
            begun = time.perf_counter()
            signal.setitimer(signal.ITIMER_REAL, LONGEST_S)
            try:
                outcome, what = judge(mutant, folder)
            except TooLong:
                outcome, what = "find", f"more than {LONGEST_S} s"
            except BaseException as cause:
                outcome, what = "find", _told(cause)
            finally:
                signal.setitimer(signal.ITIMER_REAL, 0)
            line = {
                "number": number, "seed": mutant.seed.name, "done": mutant.done, "outcome": outcome, "what": what[:600],
                "seconds": round(time.perf_counter() - begun, 3),
            }  # fmt: skip
            print(json.dumps(line), flush=True)
            shutil.rmtree(folder, ignore_errors=True)


def _told(cause: BaseException) -> str:
    """Name and place of an exception: the innermost line that is the project's."""
    place = ""
    trace = cause.__traceback__
    while trace is not None:
        name = trace.tb_frame.f_code.co_filename
        if f"{os.sep}io{os.sep}" in name and "site-packages" not in name and "lib/python" not in name:
            place = f"{Path(name).name}:{trace.tb_lineno}"
        trace = trace.tb_next
    return f"{type(cause).__name__}: {cause} at {place or 'nowhere in the project'}"


def _address_space() -> int:
    return int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")


def _out_of_time(_number: int, _frame: Any) -> None:
    raise TooLong


def run(
    count: int,
    first: int = 0,
    workers: int = 1,
    only: str = "",
    heard: Callable[[dict[str, Any]], None] | None = None,
) -> list[dict[str, Any]]:
    """Judge cases in processes of their own, and say what became of each.

    Parameters
    ----------
    count, first : int
        How many cases, and the number of the first.
    workers : int
        Processes at once.
    only : str
        Only seeds whose name holds this.
    heard : callable, optional
        Told each result as it comes.
    """
    results: list[dict[str, Any]] = []
    lock = threading.Lock()

    def take(line: dict[str, Any]) -> None:
        with lock:
            results.append(line)
            if heard is not None:
                heard(line)

    share = -(-count // workers)
    threads = [
        threading.Thread(target=_attend, args=(range(begin, min(begin + share, first + count)), only, take))
        for begin in range(first, first + count, share)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sorted(results, key=lambda line: line["number"])


def _attend(numbers: range, only: str, take: Callable[[dict[str, Any]], None]) -> None:
    """Keep a process at work on `numbers`; one that dies or falls silent is replaced after the case it was at."""
    while numbers:
        command = [sys.executable, __file__, "--work", str(numbers.start), str(numbers.stop), only]
        environment = os.environ | {
            "OPENBLAS_NUM_THREADS": "1",
            "OMP_NUM_THREADS": "1",
            "PYTHONWARNINGS": "ignore",
        }
        at = -1
        silent = threading.Event()
        with (
            tempfile.TemporaryFile("w+") as said,
            subprocess.Popen(
                command, stdout=subprocess.PIPE, stderr=said, text=True, env=environment
            ) as process,
        ):
            assert process.stdout is not None
            watch = _Watchdog(process, silent)
            for text in process.stdout:
                watch.fed()
                line = json.loads(text)
                if "begin" in line:
                    at = line["begin"]
                else:
                    take(line)
                    numbers = range(line["number"] + 1, numbers.stop)
            watch.stop()
            code = process.wait()
            said.seek(0)
            trouble = said.read().strip().splitlines()[-1:]
        if at < 0:
            raise RuntimeError(f"the process never began ({code}): {trouble}")
        if numbers:
            what = (
                f"fell silent for {_DEAF_S} s"
                if silent.is_set()
                else f"the process ended with {code}: {trouble}"
            )
            take({"number": at, "seed": "?", "done": "?", "outcome": "find", "what": what, "seconds": 0.0})
            numbers = range(at + 1, numbers.stop)


class _Watchdog:
    """Ends a process that says nothing for too long: it hangs where no signal reaches it."""

    def __init__(self, process: subprocess.Popen[str], silent: threading.Event) -> None:
        self._process = process
        self._silent = silent
        self._timer = threading.Timer(0, lambda: None)
        self.fed()

    def fed(self) -> None:
        self._timer.cancel()
        self._timer = threading.Timer(_DEAF_S, self._bite)
        self._timer.daemon = True
        self._timer.start()

    def stop(self) -> None:
        self._timer.cancel()

    def _bite(self) -> None:
        self._silent.set()
        self._process.kill()


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--count", type=int, default=5000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", default="", help="only seeds whose name holds this")
    parser.add_argument(
        "--show", type=int, help="leave the files of this case in a folder and say where it is"
    )
    chosen = parser.parse_args()
    if chosen.show is not None:
        mutant = Mutants(chosen.only)[chosen.show]
        folder = Path(tempfile.mkdtemp(prefix=f"mutant-{chosen.show}-"))
        for name, data in mutant.files.items():
            (folder / name).write_bytes(data)
        if mutant.seed.columns:
            (folder / "columns.toml").write_text(mutant.seed.columns, "utf-8")
        print(f"{mutant.seed.name}: {mutant.done}\n{folder / mutant.seed.main}")
        return
    begun = time.perf_counter()

    def heard(line: dict[str, Any]) -> None:
        if line["outcome"] == "find":
            print(f"{line['number']} {line['seed']} ({line['done']}): {line['what']}", flush=True)

    results = run(chosen.count, chosen.first, chosen.workers, chosen.only, heard)
    outcomes = Counter(line["outcome"] for line in results)
    slowest = max(results, key=lambda line: line["seconds"])
    print(f"{len(results)} cases in {time.perf_counter() - begun:.0f} s: {dict(outcomes)}")
    print(f"slowest {slowest['seconds']} s: {slowest['number']} {slowest['seed']}")
    sys.exit(1 if outcomes["find"] else 0)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--work"]:
        work(range(int(sys.argv[2]), int(sys.argv[3])), sys.argv[4])
    else:
        main()
