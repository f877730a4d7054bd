"""One household document in, one line of JSON out; whatever goes wrong becomes a sentence in that line."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from engine.asking.questions import Asked
from engine.errors import InputError, Unreachable
from engine.house.household import read
from engine.json_answer import json_text


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A file as typed and what it holds, or in `fault` why it could not be read."""

    file: str
    content: bytes = b""
    fault: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A line of JSON; `error` is its sentence where there is no answer."""

    file: str
    text: str
    error: str = ""


def opened(file: str) -> Document:
    """Read a file here, so that workers elsewhere need none."""
    try:
        return Document(file=file, content=Path(file).read_bytes())
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or str(fault)
        return Document(file=file, fault=f"The file cannot be read: {why}.")


def answered(asked: Asked, document: Document) -> Line:
    """Answer a question for one document; never raises, so that the others go on."""
    if document.fault:
        return failed(document.file, document.fault)
    try:
        answer = asked.answer(read(document.content))
        return Line(file=document.file, text=json_text({"file": document.file, "answer": answer}))
    except InputError as fault:
        more = len(fault.others)
        also = f" (And {more} more {'fault' if more == 1 else 'faults'}.)" if more else ""
        return failed(document.file, f"{fault.field}: {fault.message}{also}")
    except Unreachable as fault:
        return failed(document.file, str(fault))
    except Exception as fault:
        return failed(document.file, f"This is a fault of Greyspell, not foreseen: {type(fault).__name__}: {fault}")


def failed(file: str, sentence: str) -> Line:
    """Return the line of a document without an answer."""
    return Line(file=file, text=json_text({"file": file, "error": sentence}), error=sentence)
