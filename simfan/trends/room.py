"""Room for columns of any length: short ones in memory, long ones in a temporary file.

The file has no name, and is gone with the last array that shows it, or with the program. The array
is mapped from it, to be read only: the operating system keeps as much of it in memory as it can
spare. Whatever is made of long columns is made block by block, so that what is at work at one time
does not grow with their length.
"""

import tempfile
from collections.abc import Callable, Iterable, Iterator
from typing import IO, Any

import numpy as np

from simfan.errors import RunError

Array = np.ndarray
IN_MEMORY = 100_000
"""Rows up to which a column is an ordinary array: ten of them are 8 MB."""
BLOCK = 1 << 16
"""Rows that are at work at one time."""


class Room:
    """A column on its way, that grows block by block."""

    def __init__(self) -> None:
        self.blocks: list[Array] = []
        self.file: IO[bytes] | None = None
        self.rows = 0
        self.like = np.empty(0)

    def __len__(self) -> int:
        return self.rows

    def add(self, block: Array) -> None:
        """The next rows, of the type and width of the first. RunError, in words, where the disk
        has no room for them."""
        self.like = self.like if self.rows else block[:0].copy()
        self.rows += len(block)
        self.blocks.append(block)
        if self.rows > IN_MEMORY:
            self._to_disk()

    def whole(self) -> Array:
        """All rows; to be read only where they are many."""
        if self.file is not None and self.rows:
            shape = (self.rows, *self.like.shape[1:])
            return np.asarray(_mapped(self.file, self.like.dtype, shape))
        if len(self.blocks) == 1:
            return self.blocks[0]
        return np.concatenate(self.blocks) if self.blocks else self.like

    def _to_disk(self) -> None:
        try:
            if self.file is None:
                self.file = tempfile.TemporaryFile(prefix="simfan-", buffering=0)  # noqa: SIM115
            for block in self.blocks:
                left = memoryview(block.tobytes())
                while left:
                    left = left[self.file.write(left):]
        except OSError as why:
            raise _no_room(why) from None
        self.blocks.clear()


def _mapped(file: IO[bytes], of: Any, shape: tuple[int, ...]) -> Array:
    try:
        return np.memmap(file, of, "r", shape=shape)
    except OSError as why:
        raise _no_room(why) from None


def _no_room(why: OSError) -> RunError:
    where = tempfile.tempdir or "none can be written"
    return RunError(
        f"no room for a long trend in the folder for temporary files ({where}): "
        f"{why.strerror or why}; it takes 10 to 20 bytes for each value that is read. Free some, "
        "name another folder in the environment variable TMPDIR, or judge a file of a shorter time")


def kept(blocks: Iterable[Array]) -> Array:
    """All blocks as one column."""
    room = Room()
    for block in blocks:
        room.add(block)
    return room.whole()


def each(made: Callable[..., Array], *columns: Array) -> Array:
    """What is made of each row alone, of columns of one length."""
    return kept(made(*(column[rows] for column in columns)) for rows in slices(len(columns[0])))


def slices(rows: int) -> Iterator[slice]:
    """All rows, block by block."""
    return (slice(first, min(first + BLOCK, rows)) for first in range(0, rows, BLOCK))


def parts(column: Array) -> Iterator[Array]:
    """The column, block by block."""
    return (column[rows] for rows in slices(len(column)))


def finite(column: Array) -> Iterator[Array]:
    """The numbers of a column, block by block, without what is none."""
    return (block[np.isfinite(block)] for block in parts(column))


def steps(blocks: Iterable[Array]) -> Iterator[Array]:
    """From each number to the next, across the blocks."""
    before = np.empty(0)
    for block in blocks:
        joined = np.concatenate([before, block])
        yield np.diff(joined)
        before = joined[-1:]


def beside(column: Array) -> Iterator[tuple[int, Array]]:
    """(row of its first, the numbers) of each block, with the number before the block in front: the
    differences within are those across the blocks, of the rows from the first plus one on."""
    return ((max(rows.start - 1, 0), column[max(rows.start - 1, 0):rows.stop])
            for rows in slices(len(column)))


def median(blocks: Callable[[], Iterable[Array]]) -> float:
    """Of numbers at or above zero, however many; nan for none. Asks for the blocks several times.

    Numbers at or above zero are in the order of their bits, so sixteen bits at a time tell between
    which ones the middle lies: exact, without all of them in memory.
    """
    count = sum(len(block) for block in blocks())
    if not count:
        return float("nan")
    low, upto = _at(blocks, (count - 1) // 2)
    if upto > count // 2:
        return low
    high = min(float(np.min(block[block > low], initial=np.inf)) for block in blocks())
    return (low + high) / 2.0


def _at(blocks: Callable[[], Iterable[Array]], place: int) -> tuple[float, int]:
    """(the number at this place in rising order, how many are as small)."""
    found, below, here = 0, 0, 0
    for shift in (48, 32, 16, 0):
        counts = np.zeros(1 << 16, dtype=np.int64)
        for block in blocks():
            bits = (block + 0.0).view(np.uint64)
            bits = bits[bits >> np.uint64(shift + 16) == found] if shift < 48 else bits
            digits = (bits >> np.uint64(shift) & np.uint64(0xFFFF)).astype(np.int64)
            counts += np.bincount(digits, minlength=1 << 16)
        digit = int(np.searchsorted(np.cumsum(counts), place - below, side="right"))
        below += int(counts[:digit].sum())
        found, here = found << 16 | digit, int(counts[digit])
    return float(np.array(found, dtype=np.uint64).view(np.float64)), below + here
