"""Reading a QR picture as a camera's program does, after ISO/IEC 18004: versions 1 to 3, in bytes.

Nothing is damaged here, so no error is corrected.
"""

from __future__ import annotations

import re
from itertools import cycle

Matrix = list[list[int]]

MASKS = (
    lambda r, c: (r + c) % 2 == 0,
    lambda r, c: r % 2 == 0,
    lambda r, c: c % 3 == 0,
    lambda r, c: (r + c) % 3 == 0,
    lambda r, c: (r // 2 + c // 3) % 2 == 0,
    lambda r, c: r * c % 2 + r * c % 3 == 0,
    lambda r, c: (r * c % 2 + r * c % 3) % 2 == 0,
    lambda r, c: ((r + c) % 2 + r * c % 3) % 2 == 0,
)
FORMAT_MASK = 0b101010000010010
TWO_BLOCKS = {(3, 0b11): 17, (3, 0b10): 13}
"""Version and level (Q, H) whose data lie in two blocks of so many bytes, a byte of each in turn; all others in one."""


def modules(svg: str) -> tuple[Matrix, int]:
    """Return the dark modules of a drawn QR picture, and the width of the white round them, in modules.

    It is drawn as strokes: M and m move, h goes to the right and paints.
    """
    found = re.search(r'viewBox="0 0 (\d+) \d+"', svg)
    assert found
    drawing = re.search(r'<path[^>]*stroke="#000"[^>]*\sd="([^"]+)"|<path[^>]*\sd="([^"]+)"[^>]*stroke="#000"', svg)
    assert drawing
    scale = re.search(r"scale\((\d+)\)", svg)
    width = int(found[1]) // (int(scale[1]) if scale else 1)
    dark: set[tuple[int, int]] = set()
    x = y = 0.0
    for step, numbers in re.findall(r"([Mmh])([-\d. ]+)", drawing[1] or drawing[2]):
        by = [float(number) for number in numbers.split()]
        if step == "h":
            dark |= {(int(y), int(x) + k) for k in range(int(by[0]))}
            x += by[0]
        else:
            x, y = (by[0], by[1]) if step == "M" else (x + by[0], y + by[1])
    border = min(column for _, column in dark)
    size = width - 2 * border
    return [[int((r + border, c + border) in dark) for c in range(size)] for r in range(size)], border


def read(matrix: Matrix) -> str:
    """Return the text of a QR picture."""
    size = len(matrix)
    version = (size - 17) // 4
    assert version in (1, 2, 3)
    shape = sum(matrix[8][c] << (14 - k) for k, c in enumerate((0, 1, 2, 3, 4, 5, 7, 8)))
    shape |= sum(matrix[r][8] << (6 - k) for k, r in enumerate((7, 5, 4, 3, 2, 1, 0)))
    shape ^= FORMAT_MASK
    level, mask = shape >> 13, MASKS[shape >> 10 & 0b111]
    bits = [matrix[r][c] ^ mask(r, c) for r, c in _path(size) if not _fixed(r, c, size, version)]
    block = TWO_BLOCKS.get((version, level), 0)
    if block:
        taken = [bits[8 * k : 8 * k + 8] for k in range(2 * block)]
        bits = [bit for part in taken[::2] + taken[1::2] for bit in part]
    assert _number(bits, 0, 4) == 0b0100, "bytes"
    return bytes(_number(bits, 12 + 8 * k, 8) for k in range(_number(bits, 4, 8))).decode()


def _number(bits: list[int], at: int, count: int) -> int:
    return int("".join(str(int(bit)) for bit in bits[at : at + count]), 2)


def _path(size: int) -> list[tuple[int, int]]:
    """Modules in the order of the data: columns in pairs from the right, up and down in turn, without column 6."""
    columns = [*range(size - 1, 6, -2), 5, 3, 1]
    found = []
    for column, up in zip(columns, cycle((True, False)), strict=False):
        rows = range(size - 1, -1, -1) if up else range(size)
        found += [(r, c) for r in rows for c in (column, column - 1)]
    return found


def _fixed(r: int, c: int, size: int, version: int) -> bool:
    """Whether a module is no data: the three eyes with what stands beside them, the two rulers, the small eye."""
    eyes = (r < 9 and c < 9) or (r < 9 and c >= size - 8) or (r >= size - 8 and c < 9)
    small = version > 1 and abs(r - (size - 7)) <= 2 and abs(c - (size - 7)) <= 2
    return eyes or small or r == 6 or c == 6
