"""What a form brings to be read: a file, or rows pasted into it; and the number of a kept file in an address.

Only the body is read on the event loop; files are taken apart in the server's threads.
"""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from pathlib import PurePath
from typing import Annotated

from fastapi import Depends, Request
from starlette.convertors import IntegerConvertor, register_url_convertor
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from engine.errors import InputError
from webapp.guard import MAX_BODY_BYTES
from webapp.numbers import LONGEST_WHOLE

PASTED = "Pasted rows"
MULTIPART = "multipart/form-data"
MOST_MB = MAX_BODY_BYTES // 1024**2
MOST_PASTED_MB = 8
"""Of pasted rows, some 200,000 of them (choice): a text field is held whole and several times over, a file is not."""


class Number(IntegerConvertor):
    """The number of a kept file in an address; what is longer than any number of ours is no address of ours."""

    regex = f"[0-9]{{1,{LONGEST_WHOLE}}}"


register_url_convertor("number", Number())
ONE = "/{file_id:number}"
"""The address of one kept file, below that of its page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Brought:
    """What a form brought: a file, or pasted rows; and the number of the household it was opened in."""

    file_name: str = ""
    content: bytes = b""
    pasted: str = ""
    pasted_too_long: bool = False
    household: str = ""

    @property
    def field(self) -> str:
        """The field that a fault of what was brought belongs to."""
        return "file" if self.file_name else "pasted"

    @property
    def name(self) -> str:
        """What it is called until somebody names it."""
        return PurePath(self.file_name).stem or PASTED

    def one_of(self) -> bytes:
        """Return the bytes to read: of the file, or of the pasted rows.

        Raises
        ------
        InputError
            If nothing was brought, or both, or more rows were pasted than are read.
        """
        if self.pasted_too_long:
            raise InputError(
                "pasted",
                f"The pasted rows are longer than {MOST_PASTED_MB} MB, the most that can be pasted: save them as a "
                f"file, of up to {MOST_MB} MB, and bring that. Go back a page to find them as you pasted them.",
            )
        if self.file_name and self.pasted.strip():
            raise InputError(
                "file", "A file was chosen and rows were pasted: bring one of the two, the other one after it."
            )
        if not self.file_name and not self.pasted.strip():
            raise InputError("pasted", "Nothing was brought: choose a file, or paste the rows of one.")
        return self.content if self.file_name else self.pasted.encode()


async def brought(request: Request) -> Brought:
    """Read the body; a file goes through the disk, a pasted text is held in memory.

    Only as the page sends it: taking a urlencoded text apart byte by byte would hold everybody else up.
    """
    if request.headers.get("Content-Type", "").partition(";")[0].strip().lower() != MULTIPART:
        raise HTTPException(
            HTTPStatus.UNSUPPORTED_MEDIA_TYPE, f"A file is sent as {MULTIPART}, as the form on its page does"
        )
    try:
        async with request.form(max_files=1, max_fields=10, max_part_size=MOST_PASTED_MB * 1024**2) as form:
            return await _taken(form)
    except HTTPException as fault:
        if "maximum size" not in fault.detail:
            raise
    while (await request.receive()).get("more_body"):
        pass
    return Brought(pasted_too_long=True)


async def _taken(form: FormData) -> Brought:
    sent, pasted, household = form.get("file"), str(form.get("pasted", "")), str(form.get("household", ""))
    if isinstance(sent, UploadFile) and sent.filename:
        content = await sent.read()
        return Brought(file_name=sent.filename, content=content, pasted=pasted, household=household)
    return Brought(pasted=pasted, household=household)


Upload = Annotated[Brought, Depends(brought)]
"""What a form brought, as a parameter of a route."""
