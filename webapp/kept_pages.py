"""What the pages of all kept files do alike: one of the open household found, renamed, deleted and brought back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from engine.errors import InputError
from engine.house.household import Household
from webapp.editing import Sent, Typed, opened, store_of
from webapp.kept_files import FileTable, KeptFile
from webapp.kept_words import Row
from webapp.uploads import ONE

Show = Callable[[Request, KeptFile, Household, dict[str, str], int, Typed], Response]
"""Shows the page of an accepted file with what to mend, by field, a status, and what was typed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPages:
    """The pages of the files of one table; `path` is the address of their list."""

    files: FileTable
    path: str

    def address(self, kept: KeptFile) -> str:
        """Return the address of a file's page."""
        return f"{self.path}/{kept.id}"

    def find(self, request: Request, file_id: int) -> tuple[KeptFile, Household]:
        """Return a file or draft of the open household, or answer that there is none."""
        saved, house = opened(request)
        try:
            return self.files.find(store_of(request), saved.household_id, file_id), house
        except InputError as fault:
            raise HTTPException(HTTPStatus.NOT_FOUND, fault.message) from fault

    def standing(self, request: Request, file_id: int) -> tuple[KeptFile, Household]:
        """Return a file or draft that is not deleted, or answer that it has to be brought back first."""
        kept, house = self.find(request, file_id)
        if kept.deleted:
            raise HTTPException(
                HTTPStatus.NOT_FOUND,
                f"“{kept.name}” is deleted; bring it back from the list of {self.files.thing}s first.",
            )
        return kept, house

    def accepted(self, request: Request, file_id: int) -> tuple[KeptFile, Household]:
        """Return a file that tells something: one whose reading was accepted and that is not deleted."""
        kept, house = self.standing(request, file_id)
        if not kept.accepted:
            raise HTTPException(
                HTTPStatus.NOT_FOUND, f"“{kept.name}” is not read yet: say on its page how its columns are read first."
            )
        return kept, house

    def lists(self, request: Request, row: Callable[[KeptFile, str], Row]) -> dict[str, Any]:
        """Return the files, drafts and deleted files of the open household, as their list shows them.

        Parameters
        ----------
        row : callable
            Of a file and the household's time zone.
        """
        saved, house = opened(request)
        store, zone, files = store_of(request), house.site.time_zone, self.files
        lists = {"files": files.accepted, "drafts": files.drafts, "deleted": files.deleted}
        return {name: [row(one, zone) for one in those(store, saved.household_id)] for name, those in lists.items()}

    def content(self, request: Request, kept: KeptFile) -> bytes:
        """Return a file as it was brought."""
        return self.files.content(store_of(request), kept.id)

    def accept(self, request: Request, kept: KeptFile, kind: str, choices: dict[str, object]) -> Response:
        """Keep how a file is to be read, and go to what it tells."""
        self.files.accept(store_of(request), kept.id, kind, choices)
        return RedirectResponse(self.address(kept), HTTPStatus.SEE_OTHER)


def add_keeping(router: APIRouter, pages: KeptPages, show: Show) -> None:
    """Add the routes that rename a file, delete it and bring it back.

    Parameters
    ----------
    router : APIRouter
        Its prefix is the path of the pages.
    pages : KeptPages
    show : callable
        Shows the page again when the new name is refused.
    """

    @router.post(f"{ONE}/rename")
    def rename(request: Request, file_id: int, sent: Sent) -> Response:
        """Give an accepted file another name."""
        kept, house = pages.accepted(request, file_id)
        try:
            pages.files.rename(store_of(request), kept.id, sent.get("name", ""))
        except InputError as fault:
            errors = {"name": fault.message}
            return show(request, kept, house, errors, HTTPStatus.UNPROCESSABLE_ENTITY, sent)
        return RedirectResponse(pages.address(kept), HTTPStatus.SEE_OTHER)

    @router.post(f"{ONE}/delete")
    def delete(request: Request, file_id: int, sent: Sent) -> Response:
        """Delete a file or a draft; it can be brought back from the list."""
        kept, _ = pages.find(request, file_id)
        pages.files.delete(store_of(request), kept.id)
        return RedirectResponse(f"{pages.path}#deleted", HTTPStatus.SEE_OTHER)

    @router.post(f"{ONE}/undelete")
    def undelete(request: Request, file_id: int, sent: Sent) -> Response:
        """Bring a deleted file or draft back."""
        kept, _ = pages.find(request, file_id)
        pages.files.undelete(store_of(request), kept.id)
        return RedirectResponse(pages.address(kept), HTTPStatus.SEE_OTHER)
