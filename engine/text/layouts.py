"""How delimited text is laid out, told from some of its lines: delimiter, decimal sign, header, first row.

A line counts for a delimiter by how many of its cells are numbers, clocks or dates, and against it where a cell still
holds two of them.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain, pairwise
from statistics import median

from engine.errors import InputError
from engine.text.plain_text import FIELD

SPACES = " "
DELIMITERS = ("\t", ";", "|", ",", SPACES)
_CLEAN_SHARE = 0.9
_NUMBER = re.compile(r"[+-]?(?:\d{1,3}(?:[ ']\d{3})+(?:[.,]\d+)?|\d+(?:[.,]\d+)*[.]?|[.,]\d+)(?:[eE][+-]?\d+)?")
_TIME = r"\d+:\d{1,2}(?::\d{1,2}(?:[.,]\d+)?)?(?:\s?[aApP]\.?[mM]\.?)?"
_CLOCK = re.compile(rf"(?:\d+\s?d?[ ,-]\s?)?{_TIME}")
_DATE = re.compile(rf"\d{{1,4}}([-./])\d{{1,2}}\1\d{{1,4}}(?:[T ]+{_TIME}(?:\s?Z|\s?[+-]\d\d:?\d\d)?)?")
_RULE = re.compile(r"[-=:_]+")
_RUN_ON = re.compile(r"\d(?:\s*+[;|,]\s*+|\s++)[-+.]?\d|\d[;|\t,]\s*+$|^\s*[;|\t,]")
_BEFORE_UNIT = re.compile(r"(?<!\s)\s++(?=[\[(/])|(?<=/)\s+")
_UNIT_ROW = re.compile(
    r"|s|sec|[mu]s|min|hr?|d|hh?:mm?:ss?|h:m|[mu]?v|[mu]?a|m?ah|m?wh|[mk]?w|(?:°|deg\.?)?[cf]|k|(?:m|milli)?(?:ohm|ω)|%|-"
)
_TWO_SIGNS = (
    (re.compile(r"[+-]?\d{1,3}(?:,\d{3})+\.\d+|[+-]?\d{1,3}(?:,\d{3}){2,}"), ".", ","),
    (re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+,\d+|[+-]?\d{1,3}(?:\.\d{3}){2,}"), ",", "."),
)
_SPACED = re.compile(r"[+-]?\d{1,3}(?:([ '])\d{3})+(?:[.,]\d+)?")
_MAYBE_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}(?:[.,]\d{3})+")
_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?")
_POINT = re.compile(r"[+-]?(?:\d+\.\d*|\.\d+)(?:[eE][+-]?\d+)?")
_CLOCK_COMMA = re.compile(r".*:\d\d,\d+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """How a file is laid out; `first_row` counts lines from 0, `header` has one text a column, or none."""

    encoding: str
    delimiter: str
    decimal: str
    thousands: str = ""
    header: tuple[str, ...]
    first_row: int
    columns: int
    sign_doubt: str = ""

    def name(self, column: int) -> str:
        """Return what a column is called."""
        written = self.header[column] if column < len(self.header) else ""
        return written or f"Column {column + 1}"


def lay_out(head: Sequence[str], rest: Sequence[str], encoding: str) -> Layout:
    """Return the layout of a file from its first lines and some of its others.

    Parameters
    ----------
    head, rest : sequence of str
    encoding : str

    Returns
    -------
    Layout

    Raises
    ------
    InputError
        If there are not two columns, or no numbers.
    """
    lines = [*head, *rest]
    delimiter, columns = _delimiter(lines)
    first = _first_row(head, delimiter, columns)
    header, columns = _header(head[:first], delimiter, columns, [split(line, delimiter) for line in head[first:]])
    cells = list(chain.from_iterable(split(line, delimiter) for line in chain(head[first:], rest)))
    decimal, thousands, doubt = _signs(cells, delimiter)
    return Layout(
        encoding=encoding,
        delimiter=delimiter,
        decimal=decimal,
        thousands=thousands,
        header=header,
        first_row=first,
        columns=columns,
        sign_doubt=doubt,
    )


def split(line: str, delimiter: str) -> list[str]:
    """Return a line's cells without the blanks around them.

    Examples
    --------
    >>> split('"a, b", 2,', ",")
    ['a, b', '2', '']
    """
    if delimiter == SPACES:
        return _split_spaces(line)
    if '"' not in line or line.count('"') % 2:
        return [cell.strip() for cell in line.replace('"', "").split(delimiter)]
    return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])]


def _split_spaces(line: str) -> list[str]:
    if '"' not in line or line.count('"') % 2:
        return line.replace('"', "").split()
    return [
        cell for cell in next(csv.reader([line.replace("\t", " ")], delimiter=" ", skipinitialspace=True), []) if cell
    ]


def is_value(cell: str) -> bool:
    """Whether a cell is a number, a clock or a date."""
    return bool(_NUMBER.fullmatch(cell) or is_clock(cell) or is_date(cell))


def is_clock(cell: str) -> bool:
    """Whether a cell is a clock, with or without days before it."""
    return bool(_CLOCK.fullmatch(cell))


def is_date(cell: str) -> bool:
    """Whether a cell is a date, with or without a time of day."""
    return bool(_DATE.fullmatch(cell))


def tidy(text: str) -> str:
    """Return a text on one line, without the stop at its end."""
    return " ".join(text.split()).rstrip(".")


def _delimiter(lines: Sequence[str]) -> tuple[str, int]:
    """The first delimiter under which cells are clean, else the best; and the number of columns."""
    tried = [(*_tried(lines, delimiter), delimiter) for delimiter in DELIMITERS]
    usable = [(score, clean, width, delimiter) for score, clean, width, delimiter in tried if width >= 2]
    if not usable:
        values = any(is_value(cell) for line in lines for cell in line.split())
        raise InputError(FIELD, _ONE_COLUMN if values else _NO_NUMBERS)
    clean = [one for one in usable if one[1] >= _CLEAN_SHARE]
    best = clean[0] if clean else max(usable, key=lambda one: one[0])
    return best[3], best[2]


_ONE_COLUMN = "The file has only one column: at least two are needed, for example time and volts."
_NO_NUMBERS = "The file holds no rows of numbers."


def _tried(lines: Sequence[str], delimiter: str) -> tuple[float, float, int]:
    """Score, share of clean cells, and columns under one delimiter."""
    widths: Counter[int] = Counter()
    cells = dirty = 0
    for line in lines:
        row = split(line, delimiter)
        values = sum(map(is_value, row))
        if not values or line.lstrip().startswith("#"):
            continue
        widths[len(row)] += values
        cells += values
        dirty += sum(1 for cell in row if not is_value(cell) and _RUN_ON.search(cell))
    width = max(widths, key=lambda n: (widths[n], n), default=0)
    return cells - 2.0 * dirty, cells / (cells + dirty) if cells else 0.0, width


def _first_row(head: Sequence[str], delimiter: str, columns: int) -> int:
    """The first line with as many numbers as the usual row, or about as many and a like line after it."""
    rows = [split(line, delimiter) for line in head]
    values = [0 if row[:1] and row[0].startswith("#") else sum(map(is_value, row)) for row in rows]
    wide = [n for n, row in zip(values, rows, strict=True) if n and len(row) == columns]
    usual = median(wide) if wide else 1
    fits = [at for at, row in enumerate(rows) if values[at] >= max(1, usual / 2) and len(row) >= columns - 1]
    full = {at for at in fits if values[at] >= usual}
    filled = [at for at, row in enumerate(rows) if any(row)]
    like = set(fits)
    followed = {at for at, after in pairwise(filled) if after in like}
    first = next((at for at in fits if at in full or at in followed), fits[0] if fits else None)
    if first is None:
        raise InputError(FIELD, _NO_NUMBERS)
    return first


def _header(
    above: Sequence[str], delimiter: str, columns: int, below: Sequence[Sequence[str]]
) -> tuple[tuple[str, ...], int]:
    """Names of the columns, units from a row below joined on; and the columns without an empty last one."""
    rows = [_names(line, delimiter, columns) for line in above]
    near = [cells for cells in rows if any(_RULE.sub("", cell) for cell in cells)][-2:]
    names = near[-1] if near and _may_name(near[-1], columns) else []
    if len(near) == 2 and names and _are_units(names) and _may_name(near[0], columns):
        names = [_joined(*pair) for pair in zip(_padded(near[0], columns), _padded(names, columns), strict=True)]
    empty_last = columns > 2 and not any(row[columns - 1] for row in below if len(row) >= columns)
    if empty_last and not (len(names) >= columns and names[columns - 1]):
        columns -= 1
    return tuple(_padded(names, columns)) if names else (), columns


def _names(line: str, delimiter: str, columns: int) -> list[str]:
    """The cells of a line that may be a header; between spaces, units stay with their names."""
    line = re.sub(r"^\s*#+\s*", "", line)
    if delimiter != SPACES:
        return split(line, delimiter)
    if '"' in line:
        return _split_spaces(line)
    tries = (re.split(r"\s{2,}|\t", line.strip()), line.split(), _BEFORE_UNIT.sub("", line).split())
    return next((cells for cells in tries if len(cells) == columns), [])


def _may_name(cells: Sequence[str], columns: int) -> bool:
    filled = [cell for cell in cells if cell]
    return len(filled) >= 2 and len(cells) <= columns + 1 and 2 * sum(map(is_value, filled)) < len(filled)


def _are_units(cells: Iterable[str]) -> bool:
    bare = [cell.strip("[](){} ").lower() for cell in cells]
    return all(map(_UNIT_ROW.fullmatch, bare))


def _joined(name: str, unit: str) -> str:
    bare = unit.strip("[](){} ")
    return f"{name} [{bare}]" if name and bare and bare != "-" else name or unit


def _padded(cells: Sequence[str], columns: int) -> list[str]:
    return [*cells, *[""] * columns][:columns]


def _signs(cells: Sequence[str], delimiter: str) -> tuple[str, str, str]:
    """Decimal sign, thousands sign, and what is in doubt about them."""
    for pattern, decimal, thousands in _TWO_SIGNS:
        if any(pattern.fullmatch(cell) and not is_date(cell) for cell in cells):
            return decimal, thousands, ""
    spaced = next((found[1] for cell in cells if (found := _SPACED.fullmatch(cell))), "")
    commas, points = _with(cells, _COMMA), _with(cells, _POINT)
    if commas and points:
        return _both_signs(commas, points, spaced, delimiter)
    clocks = any(_CLOCK_COMMA.fullmatch(cell) for cell in cells)
    if not commas:
        return "," if clocks and not points else ".", spaced, ""
    read = commas[0].replace(",", ".")
    doubt = f"Is the comma in “{commas[0]}” the decimal sign? It is read as {read}."
    return ",", spaced, doubt if _all_grouped(commas) and not clocks else ""


def _both_signs(commas: Sequence[str], points: Sequence[str], spaced: str, delimiter: str) -> tuple[str, str, str]:
    """Signs where some cells have a comma and others a point: one parts thousands if all its cells may be grouped."""
    if _all_grouped(commas):
        doubt = f"Does the comma in “{commas[0]}” part thousands, and is the point in “{points[0]}” the decimal sign?"
        thousands = spaced or ("," if delimiter != "," else "")
        return ".", thousands, f"{doubt} They are read so." if _all_grouped(points) else ""
    sure = next(cell for cell in commas if not _MAYBE_GROUPED.fullmatch(cell))
    if _all_grouped(points) and not spaced:
        read = points[0].replace(".", "")
        doubt = f"Does the point in “{points[0]}” part thousands, as the comma in “{sure}” is the decimal sign?"
        return ",", ".", f"{doubt} It is read as {read}."
    odd = next((cell for cell in points if not _MAYBE_GROUPED.fullmatch(cell)), points[0])
    return (
        ",",
        spaced,
        f"The file has commas (“{sure}”) and points (“{odd}”): is each a decimal sign? They are read so.",
    )


def parts_thousands(cells: Iterable[str], sign: str) -> bool:
    """Whether every cell with a comma, or with a point, may have it between thousands; cells with none do.

    Examples
    --------
    >>> parts_thousands(["1.310", "104.500", "24,5"], "."), parts_thousands(["1.310", "24,5"], ",")
    (True, False)
    """
    return _all_grouped(_with(cells, _COMMA if sign == "," else _POINT))


def _with(cells: Iterable[str], pattern: re.Pattern[str]) -> list[str]:
    return [cell for cell in cells if pattern.fullmatch(cell)]


def _all_grouped(cells: Iterable[str]) -> bool:
    return all(map(_MAYBE_GROUPED.fullmatch, cells))
