"""Compressed one-dimensional HDF5 data sets, written and read a chunk at a time off the lock.

HDF5 runs its filters on one thread under a lock that everything in the process shares. Here the
filters (shuffle, then deflate) run outside it: writing packs chunks on two threads, reading keeps the
decoded chunks in a small cache and reads the neighbours ahead. The files are plain HDF5 all the same.
"""

from __future__ import annotations

import zlib
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from threading import Lock
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .errors import CaseFolderUnreadable

if TYPE_CHECKING:
    import h5py

CHUNK = 16384
"""Samples in a chunk. Smaller than what packs best (30,000), so that a jump to a place that is not in
the cache waits for less: about 0.1 ms a chunk and channel."""

_DEFLATE = 1  # level: higher ones cost twice the time for 2 % less size on 16-bit pressures


def _pack(codes: NDArray[Any], chunk: int) -> bytes:
    if len(codes) < chunk:  # HDF5 stores the last chunk whole
        codes = np.concatenate([codes, np.zeros(chunk - len(codes), codes.dtype)])
    as_bytes = np.ascontiguousarray(codes).view(np.uint8).reshape(chunk, codes.dtype.itemsize)
    return zlib.compress(as_bytes.T.tobytes(), _DEFLATE)


def _unpack(packed: bytes, dtype: np.dtype[Any], chunk: int) -> NDArray[Any]:
    try:
        planes = np.frombuffer(zlib.decompress(packed), np.uint8).reshape(dtype.itemsize, chunk)
    except (zlib.error, ValueError) as cause:
        raise CaseFolderUnreadable(
            f"a stored block of samples is damaged ({cause})", todo="Bring the source in again"
        ) from cause
    codes: NDArray[Any] = np.ascontiguousarray(planes.T).view(dtype).reshape(-1)
    codes.flags.writeable = False
    return codes


class ChunkWriter:
    """Fills data sets in order, packing on the threads of `pool`.

    Parameters
    ----------
    pool : ThreadPoolExecutor
        Where packing runs.
    ahead : int
        How many packed chunks may wait to be written: bounds the memory.
    """

    def __init__(self, pool: ThreadPoolExecutor, ahead: int = 16) -> None:
        self._pool = pool
        self._ahead = ahead
        self._waiting: list[tuple[Any, int, Future[bytes]]] = []

    def create(self, group: h5py.Group, name: str, count: int, dtype: np.dtype[Any]) -> ChunkedTarget:
        """A new data set of ``count`` values in `group`."""
        packed = {
            "chunks": (min(CHUNK, count),),
            "shuffle": True,
            "compression": "gzip",
            "compression_opts": _DEFLATE,
        }
        dataset = group.create_dataset(name, (count,), dtype, **(packed if count else {}))
        return ChunkedTarget(self, dataset)

    def put(self, dataset: Any, first: int, codes: NDArray[Any]) -> None:
        """Queue one chunk that starts at index `first`."""
        self._waiting.append((dataset, first, self._pool.submit(_pack, codes, dataset.chunks[0])))
        if len(self._waiting) >= self._ahead:
            self._store(self._ahead // 2)

    def flush(self) -> None:
        """Write what is still waiting."""
        self._store(len(self._waiting))

    def _store(self, many: int) -> None:
        for dataset, first, packed in self._waiting[:many]:
            dataset.id.write_direct_chunk((first,), packed.result())
        del self._waiting[:many]


class ChunkedTarget:
    """One data set being filled from its start."""

    def __init__(self, writer: ChunkWriter, dataset: Any) -> None:
        self._writer = writer
        self._dataset = dataset
        self._rest: list[NDArray[Any]] = []
        self._held = 0
        self._next = 0

    def add(self, codes: NDArray[Any]) -> None:
        """Append values; full chunks go off to be packed."""
        self._rest.append(np.asarray(codes, self._dataset.dtype))
        self._held += len(codes)
        if self._held < CHUNK:
            return
        whole = np.concatenate(self._rest) if len(self._rest) > 1 else self._rest[0]
        full = self._held - self._held % CHUNK
        for start in range(0, full, CHUNK):
            self._writer.put(self._dataset, self._next, whole[start : start + CHUNK])
            self._next += CHUNK
        self._rest = [whole[full:]]
        self._held -= full

    def close(self) -> None:
        """Write the last, shorter chunk."""
        if self._held:
            self._writer.put(self._dataset, self._next, np.concatenate(self._rest))
        self._rest, self._held = [], 0


class ChunkCache:
    """Decoded chunks of all channels of a case, the least recently used given up first.

    Parameters
    ----------
    budget : int
        Bytes of decoded chunks to keep.
    """

    def __init__(self, budget: int = 48 << 20) -> None:
        self._budget = budget
        self._held = 0
        self._chunks: OrderedDict[tuple[str, int], NDArray[Any]] = OrderedDict()
        self._lock = Lock()
        self._ahead = ThreadPoolExecutor(1, thread_name_prefix="read-ahead")
        self._coming: set[tuple[str, int]] = set()

    def read(self, dataset: ChunkedSource, start: int, stop: int) -> NDArray[Any]:
        """Values ``start:stop`` of a data set (clipped to it); the neighbours are read ahead."""
        start, stop = max(start, 0), min(stop, dataset.count)
        if stop <= start:
            return np.empty(0, dataset.dtype)
        chunk = dataset.chunk
        first, last = start // chunk, (stop - 1) // chunk
        parts = [self._chunk(dataset, index) for index in range(first, last + 1)]
        for index in (last + 1, first - 1):
            self._fetch_ahead(dataset, index)
        parts[-1] = parts[-1][: stop - last * chunk]
        parts[0] = parts[0][start - first * chunk :]
        return parts[0] if len(parts) == 1 else np.concatenate(parts)

    def close(self) -> None:
        """Stop reading ahead."""
        self._ahead.shutdown(wait=True, cancel_futures=True)

    def _chunk(self, dataset: ChunkedSource, index: int) -> NDArray[Any]:
        key = (dataset.name, index)
        with self._lock:
            if key in self._chunks:
                self._chunks.move_to_end(key)
                return self._chunks[key]
        decoded = _unpack(dataset.packed(index), dataset.dtype, dataset.chunk)
        with self._lock:
            if key not in self._chunks:
                self._chunks[key] = decoded
                self._held += decoded.nbytes
                while self._held > self._budget:
                    self._held -= self._chunks.popitem(last=False)[1].nbytes
        return decoded

    def _fetch_ahead(self, dataset: ChunkedSource, index: int) -> None:
        key = (dataset.name, index)
        if not 0 <= index * dataset.chunk < dataset.count:
            return
        with self._lock:
            if key in self._chunks or key in self._coming:
                return
            self._coming.add(key)

        def fetch() -> None:
            try:
                self._chunk(dataset, index)
            finally:
                with self._lock:
                    self._coming.discard(key)

        self._ahead.submit(fetch)


class ChunkedSource:
    """One data set to be read by chunks.

    Parameters
    ----------
    dataset : h5py.Dataset
        One-dimensional, in chunks of `CHUNK`, shuffled and deflated (as `ChunkWriter` makes it).
    name : str
        Unique in the case.
    """

    def __init__(self, dataset: h5py.Dataset, name: str) -> None:
        self.name = name
        self.count: int = dataset.shape[0]
        self.chunk: int = dataset.chunks[0] if self.count else CHUNK
        self.dtype: np.dtype[Any] = dataset.dtype
        self._read: Callable[[tuple[int]], tuple[int, bytes]] = dataset.id.read_direct_chunk

    def packed(self, index: int) -> bytes:
        """The stored bytes of one chunk."""
        return self._read((index * self.chunk,))[1]
