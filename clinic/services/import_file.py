"""A file's bytes in the database, and its lines as a stream: never the whole of it in memory."""

import codecs
import csv
import io
from collections.abc import Iterable, Iterator
from itertools import islice
from typing import NamedTuple

from clinic.models import ImportPart, PatientImport
from clinic.rules.csv_form import DELIMITERS, UnreadableFileError, is_separator_line

PART_BYTES = 512 * 1024
MOST_BYTES = 60 * 1024 * 1024
LONGEST_HEADING = 10_000
FEWEST_BETWEEN = 3
"""With fewer separators than this in a line any sentence may look like one."""


class _Parts(io.RawIOBase):
    """The parts as one stream, a part in memory at a time."""

    def __init__(self, of: PatientImport) -> None:
        self._of, self._next, self._left = of, 0, b""

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: object) -> int:
        target = memoryview(buffer)  # type: ignore[arg-type]
        if not self._left:
            part = ImportPart.objects.filter(of=self._of, position=self._next).first()
            if part is None:
                return 0
            self._left, self._next = bytes(part.content), self._next + 1
        taken = self._left[: len(target)]
        self._left = self._left[len(taken) :]
        target[: len(taken)] = taken
        return len(taken)


class Utf8Check:
    """Whether all bytes seen are UTF-8, a piece at a time."""

    def __init__(self) -> None:
        self._decoder = codecs.getincrementaldecoder("utf-8")()
        self.holds = True

    def look(self, piece: bytes, *, final: bool = False) -> None:
        if not self.holds:
            return
        try:
            self._decoder.decode(piece, final=final)
        except UnicodeDecodeError:
            self.holds = False


def text_of(of: PatientImport) -> io.TextIOWrapper:
    """The file's text. Bytes that the encoding does not have become U+FFFD, and their lines are refused later."""
    return io.TextIOWrapper(io.BufferedReader(_Parts(of)), encoding=of.codec, errors="replace", newline="")


def heading_line(of: PatientImport) -> str:
    """The first line that is not empty and names no separator.

    Raises UnreadableFileError where there is none, or it has no end.
    """
    with text_of(of) as text:
        while line := text.readline(LONGEST_HEADING):
            if line.strip() and not is_separator_line(line.lstrip("\ufeff")):
                if len(line) == LONGEST_HEADING:
                    raise UnreadableFileError("its first line is longer than any heading: is it a list at all?")
                return line.rstrip("\r\n").lstrip("\ufeff")
    raise UnreadableFileError("it is empty")


class Record(NamedTuple):
    """line: its number in the file. cut: the file ends in it, without a line end and before its last columns.

    torn: it runs over several lines that seem to be several people's, held together by a stray quotation mark.
    """

    line: int
    cells: list[str]
    cut: bool = False
    torn: bool = False


def records(of: PatientImport, *, after: int = 0) -> Iterator[Record]:
    """The lines about somebody: the heading and empty lines left out, the first `after` skipped.

    Raises UnreadableFileError where a quotation mark is never closed.
    """
    with text_of(of) as text:
        yield from islice(_records(text, of.delimiter), after, None)


class _Watched:
    """Lines on their way to the reader, which asks for no more of them than it needs. held: those of one record."""

    def __init__(self, text: Iterable[str]) -> None:
        self._text, self.held, self.ended = iter(text), list[str](), False

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        line = next(self._text, None)
        if line is None:
            self.ended = True
            raise StopIteration
        self.held.append(line)
        return line


def _torn(lines: list[str], cells: int, delimiter: str, width: int) -> bool:
    """Whether lines that were read as one record seem to be those of several people.

    A stray mark ends at the next one, which opens a cell and so has text after it, or none before it; or it ends in an
    inch sign and leaves too few cells or too many, or a last line as long as a whole one; or the lines together hold
    the separators of so many whole ones; or a whole one stands among them.
    """
    if len(lines) == 1:
        return False
    try:
        for _ in csv.reader(lines, delimiter=delimiter, strict=True):
            pass
    except csv.Error:
        return True
    between, counts = width - 1, [line.count(delimiter) for line in lines]
    if cells != width or (between and counts[-1] >= between):
        return True
    if between and sum(counts) == len(lines) * between:
        return True
    return between >= FEWEST_BETWEEN and between in counts[1:-1]


def _records(text: Iterable[str], delimiter: str) -> Iterator[Record]:
    lines, delimiter = _Watched(text), delimiter if delimiter in DELIMITERS else ","
    reader = csv.reader(lines, delimiter=delimiter)
    begins, width = 1, 0
    while True:
        lines.held.clear()
        try:
            cells = next(reader, None)
        except csv.Error as unreadable:
            words = f"line {begins} cannot be read: a quotation mark may never be closed ({unreadable})"
            raise UnreadableFileError(words) from unreadable
        if cells is None:
            return
        if lines.ended:  # the reader wanted more for this line: it still waits for the mark that closes it
            words = f"line {begins} opens a quotation mark that is never closed. The file may have been cut off"
            raise UnreadableFileError(words)
        if any(cell.strip() for cell in cells):
            if width:
                cut = len(cells) < width and not lines.held[-1].endswith(("\r", "\n"))
                yield Record(begins, cells, cut, _torn(lines.held, len(cells), delimiter, width))
            elif not is_separator_line(delimiter.join(cells).lstrip("\ufeff")):
                width = len(cells)
        begins = reader.line_num + 1
