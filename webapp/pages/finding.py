"""What each page answers: the list of pages again, each with a line of its own."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import Response

from webapp.render import Page, render

PAGE = Page("Find", "What each page answers", "/pages", "All pages on one, with what they are for")
router = APIRouter()


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show every page by its group, with what it answers."""
    return render(request, "finding.html")
