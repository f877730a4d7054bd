"""Bytes somebody brought, made into plain text: UTF-8, one kind of line end, one kind of minus and space.

Not modelled: text that says nowhere what it is coded in is taken for UTF-8, and where it is not that, for Western
European.
"""

from __future__ import annotations

import codecs
import io
from collections.abc import Iterator

from engine.errors import InputError

FIELD = "file"
MOST_BYTES = 64 * 1024**2
_WORKBOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")
_PACKED = (b"\x1f\x8b", b"BZh", b"\xfd7zXZ", b"7z\xbc\xaf", b"Rar!", b"%PDF", b"\x89PNG", b"\xff\xd8\xff", b"GIF8")
_PIECE = 1024**2
_CONTROL = bytes(n for n in range(32) if n not in b"\t\n\r\f\x1a")
_CONTROL_SHARE = 0.005
"""Assumed: a text holds next to no control characters; anything else holds many."""
_SPELT = ((b"\r\n", b"\n"), (b"\r", b"\n"), (b"\f", b""), (b"\x1a", b""))
_SPELT_WIDE = (("\u2212", "-"), ("\u00a0", " "), ("\u202f", " "), ("\u2009", " "), ("\ufeff", ""), ("\u2028", "\n"))


def encoding_of(content: bytes) -> str:
    """Return what the text is coded in.

    Parameters
    ----------
    content : bytes

    Returns
    -------
    str
        A name Python knows.

    Raises
    ------
    InputError
        If it is empty, too long, or no text.

    Examples
    --------
    >>> encoding_of("Kapazität".encode("cp1252"))
    'cp1252'
    """
    _refuse_size(content)
    _refuse_kind(content)
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    _refuse_binary(content)
    if content.startswith(codecs.BOM_UTF8):
        return "utf-8-sig"
    if content.isascii():
        return "utf-8"
    return next(name for name in ("utf-8", "cp1252", "latin-1") if _decodes(content, name))


def plain(content: bytes, encoding: str) -> bytes:
    """Return the text as UTF-8, every line closed by one line feed.

    Parameters
    ----------
    content : bytes
    encoding : str
        As `encoding_of` returned it.

    Returns
    -------
    bytes

    Raises
    ------
    InputError
        If it cannot be read in that coding, or holds nothing but blanks.

    Examples
    --------
    >>> plain(b"a;b" + bytes([13, 10]) + b"1;2", "utf-8")
    b'a;b\\n1;2\\n'
    """
    text = content if content.isascii() else _spelt_wide(content, encoding)
    for old, new in _SPELT:
        if old in text:
            text = text.replace(old, new)
    if b"\0" in text:
        raise not_text()
    if text.isspace():
        raise InputError(FIELD, "The file holds nothing but blank lines.")
    return text if text.endswith(b"\n") else text + b"\n"


def not_text() -> InputError:
    """Return the refusal of something that is no text."""
    return InputError(FIELD, "This is not a text file: save the rows as delimited text (CSV) and bring that.")


def _spelt_wide(content: bytes, encoding: str) -> bytes:
    """Decode, spell minus signs and spaces plainly, and code as UTF-8."""
    spelt = io.BytesIO()
    try:
        for text in _decoded(content, encoding):
            for old, new in _SPELT_WIDE:
                text = text.replace(old, new)
            spelt.write(text.encode("utf-8", "replace"))
    except UnicodeError:
        raise not_text() from None
    return spelt.getvalue()


def _decoded(content: bytes, encoding: str) -> Iterator[str]:
    """The text in pieces: whole, a long file takes four times its bytes."""
    decoder = codecs.getincrementaldecoder(encoding)()
    for at in range(0, len(content), _PIECE):
        yield decoder.decode(content[at : at + _PIECE], final=at + _PIECE >= len(content))


def _refuse_size(content: bytes) -> None:
    if not content:
        raise InputError(FIELD, "The file is empty.")
    if len(content) > MOST_BYTES:
        size_mb, most_mb = len(content) / 1024**2, MOST_BYTES // 1024**2
        raise InputError(FIELD, f"The file is {size_mb:.0f} MB long; the most that is read is {most_mb} MB.")


def _refuse_kind(content: bytes) -> None:
    if content.startswith(_WORKBOOKS):
        raise InputError(
            FIELD,
            "This is a spreadsheet workbook or an archive, not text: there choose “Save as” and the type CSV, then "
            "bring that file; or save it as CSV by “Export”.",
        )
    if content.startswith(_PACKED):
        raise not_text()


def _refuse_binary(content: bytes) -> None:
    head = content[:65536]
    controls = len(head) - len(head.translate(None, _CONTROL))
    if b"\0" in content or controls > _CONTROL_SHARE * len(head) + 1:
        raise not_text()


def _decodes(content: bytes, encoding: str) -> bool:
    try:
        for _ in _decoded(content, encoding):
            pass
    except UnicodeDecodeError:
        return False
    return True
