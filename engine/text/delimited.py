"""Delimited text of any make: how it is laid out, and its columns as numbers or words.

`sniff` finds coding, delimiter, decimal sign, the header under a preamble and a row of units under the header; the
rest read the file by that layout. Columns come back as arrays, NaN where a cell is no finite number. Not modelled:
cells that run over several lines, columns of fixed width, a delimiter that changes within the file.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from engine.errors import InputError
from engine.text.layouts import SPACES, Layout, lay_out, split, tidy
from engine.text.plain_text import FIELD, encoding_of, plain
from engine.text.steps import RowsRead, finished

Array = NDArray[np.float64]
Parser = Callable[[NDArray[np.object_]], Array]
"""Makes numbers of one column's texts."""

MOST_ROWS = 1_000_000
MOST_COLUMNS = 200
MOST_CHARACTERS = 100_000
_SLACK_ROWS = 10_000
"""Lines beside the rows that the first count allows: preamble, header, blanks."""
_CHUNK = 25_000
_PIECE = 4 * 1024**2
_HEAD_LINES, _SPREAD_LINES = 300, 300
_FILLS = ~np.isin(np.arange(256), list(b' \t;,|"\n'))
"""By byte: whether it makes a line more than blanks and delimiters."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Columns that were asked for: values (n, k) and the line of the file, from 1, that each row stands on."""

    values: Array
    lines: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class _Text:
    """A file as plain text and where its lines begin."""

    data: bytes
    starts: NDArray[np.int64]

    def line(self, at: int) -> str:
        stop = self.starts[at + 1] if at + 1 < len(self.starts) else len(self.data)
        return self.data[self.starts[at] : stop].decode("utf-8", "replace").rstrip("\n")


def sniff(content: bytes) -> Layout:
    """Find out how a file is laid out.

    Parameters
    ----------
    content : bytes
        The whole file.

    Returns
    -------
    Layout

    Raises
    ------
    InputError
        If it is no text of at least two columns with numbers in one of them, or longer or wider than is read.

    Examples
    --------
    >>> layout = sniff(b"made by hand;\\nt;U\\ns;V\\n0,5;3,65\\n1,0;3,66\\n")
    >>> layout.delimiter, layout.decimal, layout.header, layout.first_row
    (';', ',', ('t [s]', 'U [V]'), 3)
    """
    encoding = encoding_of(content)
    text = _opened(content, encoding)
    total = len(text.starts)
    head = [text.line(at) for at in range(min(total, _HEAD_LINES))]
    rest = np.unique(np.linspace(len(head), total - 1, _SPREAD_LINES).astype(int)) if total > len(head) else ()
    layout = lay_out(head, [text.line(at) for at in rest], encoding)
    if layout.columns > MOST_COLUMNS:
        raise InputError(FIELD, f"The file has {layout.columns} columns; the most that are read are {MOST_COLUMNS}.")
    if total - layout.first_row > MOST_ROWS:
        raise _too_long(total - layout.first_row)
    return layout


def preview(content: bytes, layout: Layout, rows: int) -> tuple[tuple[str, ...], ...]:
    """Return the first `rows` rows under the header as they are written, one text a column."""
    text = _opened(content, layout.encoding)
    lines = (text.line(at) for at in range(layout.first_row, len(text.starts)))
    return tuple(_rows(lines, layout, rows))


def spread(content: bytes, layout: Layout, rows: int) -> tuple[tuple[str, ...], ...]:
    """Return about `rows` rows from all over the file, in its order, as they are written."""
    text = _opened(content, layout.encoding)
    last = len(text.starts) - 1
    at = np.unique(np.linspace(min(layout.first_row, last), last, rows).astype(int))
    return tuple(_rows((text.line(n) for n in at), layout, rows))


def numbers(content: bytes, layout: Layout, wanted: Sequence[int]) -> Array:
    """Return columns as numbers.

    Parameters
    ----------
    content : bytes
    layout : Layout
        As `sniff` found it.
    wanted : sequence of int
        Columns, from 0.

    Returns
    -------
    (n, k) array
        NaN where a cell is no finite number; blank lines and comments are left out.

    Raises
    ------
    InputError
        If the file cannot be read by that layout.

    Examples
    --------
    >>> content = b"t;U\\n0,5;3,65\\n1,0;bad\\n"
    >>> numbers(content, sniff(content), (1, 0)).tolist()
    [[3.65, 0.5], [nan, 1.0]]
    """
    return columns(content, layout, [(at, None) for at in wanted]).values


def columns(content: bytes, layout: Layout, wanted: Sequence[tuple[int, Parser | None]]) -> Columns:
    """Return columns as numbers, each by its own parser; None reads plain numbers. See `numbers`."""
    return finished(columns_in_steps(content, layout, wanted))


def columns_in_steps(
    content: bytes, layout: Layout, wanted: Sequence[tuple[int, Parser | None]]
) -> Generator[RowsRead, None, Columns]:
    """Do as `columns`, and say after each piece of the file how many rows are read."""
    text = _opened(content, layout.encoding)
    blank = _blank(text, layout.first_row)
    values = np.full((len(blank), len(wanted)), np.nan)
    texts = {at for at, parser in wanted if parser is not None}
    row = 0
    for frame in _frames(text, layout, sorted({at for at, _ in wanted}), texts):
        for k, (at, parser) in enumerate(wanted):
            parsed = parser(_words(frame[at])) if parser else as_numbers(frame[at], layout)
            values[row : row + len(frame), k] = parsed[: len(blank) - row]
        row += len(frame)
        yield RowsRead(rows=min(row, len(blank)), of=len(blank))
    values[~np.isfinite(values)] = np.nan
    return Columns(values=values[~blank], lines=np.flatnonzero(~blank) + layout.first_row + 1)


def texts(content: bytes, layout: Layout, column: int) -> tuple[str, ...]:
    """Return one column as it is written, row by row as `numbers` does."""
    text = _opened(content, layout.encoding)
    blank = _blank(text, layout.first_row)
    words = [word for frame in _frames(text, layout, [column], {column}) for word in _words(frame[column])]
    return tuple(word for word, empty in zip(words, blank, strict=False) if not empty)


def as_numbers(cells: pd.Series, layout: Layout) -> Array:
    """Return one column's cells as numbers, NaN where they are none."""
    if pd.api.types.is_bool_dtype(cells.dtype):
        return np.full(len(cells), np.nan)
    if pd.api.types.is_numeric_dtype(cells.dtype):
        return cells.to_numpy(dtype=float, na_value=np.nan)
    plainly = cells.astype("str").str.strip()
    if layout.thousands:
        plainly = plainly.str.replace(layout.thousands, "", regex=False)
    if layout.decimal != ".":
        plainly = plainly.str.replace(layout.decimal, ".", regex=False)
    return pd.to_numeric(plainly, errors="coerce").to_numpy(dtype=float, na_value=np.nan)


def _opened(content: bytes, encoding: str) -> _Text:
    data = plain(content, encoding)
    count = data.count(b"\n")
    if count > MOST_ROWS + _SLACK_ROWS:
        raise _too_long(count)
    ends = _line_ends(data)
    starts = np.concatenate(([0], ends[:-1] + 1))
    lengths = ends - starts
    if lengths.max() > MOST_CHARACTERS:
        at = int(np.argmax(lengths > MOST_CHARACTERS))
        raise InputError(FIELD, f"Line {at + 1:,} is {lengths[at]:,} characters long; the most is {MOST_CHARACTERS:,}.")
    return _Text(data, starts)


def _line_ends(data: bytes) -> NDArray[np.int64]:
    """Where the lines end, looked for piece by piece: a mark for each byte would take as much as the file."""
    whole = np.frombuffer(data, dtype=np.uint8)
    pieces = range(0, len(whole), _PIECE)
    return np.concatenate([np.flatnonzero(whole[at : at + _PIECE] == ord("\n")) + at for at in pieces])


def _too_long(rows: int) -> InputError:
    return InputError(
        FIELD, f"The file has {rows:,} rows; the most that are read are {MOST_ROWS:,}. Thin it, or cut it."
    )


def _rows(lines: Iterator[str], layout: Layout, most: int) -> Iterator[tuple[str, ...]]:
    found = 0
    for line in lines:
        if found == most:
            return
        cells = split(line, layout.delimiter)
        if not any(cells) or cells[0].startswith("#"):
            continue
        found += 1
        yield tuple((*cells, *[""] * layout.columns)[: layout.columns])


def _blank(text: _Text, first_row: int) -> NDArray[np.bool_]:
    """Which lines from `first_row` on hold no row: nothing, delimiters only, or a comment."""
    data = np.frombuffer(text.data, dtype=np.uint8)
    filled = _FILLS[data]
    starts = text.starts[first_row:]
    if not len(starts):
        return np.zeros(0, dtype=bool)
    empty = ~np.logical_or.reduceat(filled, starts)
    return empty | _comments(data, starts)


def _comments(data: NDArray[np.uint8], starts: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which lines begin with #, blanks before it aside."""
    at, last = starts.copy(), len(data) - 1
    for _ in range(8):
        at += (data[at] == ord(" ")) & (at < last)
    marked: NDArray[np.bool_] = data[at] == ord("#")
    return marked


def _frames(text: _Text, layout: Layout, wanted: list[int], as_text: set[int]) -> Iterator[pd.DataFrame]:
    """The rows in pieces, one for each line of the file; rows may be longer or shorter than the header."""
    if not wanted or layout.first_row >= len(text.starts):
        return
    source, quoted = _body(text.data, int(text.starts[layout.first_row]))
    options: dict[str, object] = {
        "sep": r"\s+" if layout.delimiter == SPACES else layout.delimiter,
        "header": None,
        "names": list(range(layout.columns)),
        "usecols": wanted,
        "index_col": False,
        "dtype": dict.fromkeys(as_text, "str"),
        "decimal": layout.decimal,
        "thousands": layout.thousands or None,
        "quoting": csv.QUOTE_MINIMAL if quoted else csv.QUOTE_NONE,
        "skip_blank_lines": False,
        "skipinitialspace": True,
        "low_memory": False,
        "encoding_errors": "replace",
    }
    try:
        yield from _pieces(source, len(text.starts) - layout.first_row, options)
    except (pd.errors.ParserError, pd.errors.EmptyDataError, OverflowError) as fault:
        raise InputError(FIELD, f"The rows cannot be told apart: {tidy(str(fault))}.") from None


def _body(data: bytes, start: int) -> tuple[io.BytesIO, bool]:
    """The text from a place on, and whether quotation marks mean something in it; where they do not, without them."""
    if data.find(b'"', start) < 0:
        whole = io.BytesIO(data)
        whole.seek(start)
        return whole, False
    body = data[start:]
    quoted = body.count(b'"') % 2 == 0 and not _runs_over(body)
    return io.BytesIO(body if quoted else body.replace(b'"', b"")), quoted


def _pieces(source: io.BytesIO, total: int, options: dict[str, object]) -> Iterator[pd.DataFrame]:
    with pd.read_csv(source, chunksize=_CHUNK, nrows=total, **options) as reader:  # type: ignore[call-overload]
        yield from reader


def _runs_over(body: bytes) -> bool:
    """Whether some line holds an odd number of quotation marks, so that a cell would run on into the next."""
    data = np.frombuffer(body, dtype=np.uint8)
    ends = _line_ends(body)
    counts = np.diff(np.searchsorted(np.flatnonzero(data == ord('"')), ends, side="right"), prepend=0)
    return bool((counts % 2).any())


def _words(cells: pd.Series) -> NDArray[np.object_]:
    words: NDArray[np.object_] = cells.fillna("").to_numpy(dtype=object)
    return words
