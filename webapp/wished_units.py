"""Whose units a request is read and answered in: the open household's, or those of the engine.

Pages speak the units of the household. Answers as JSON and tables as CSV are for programs: they are asked and answered
in the units of the engine, whatever people chose; a link from a page to one carries the page's own question, typed in
the household's units, and says so by `units=shown`.
"""

from __future__ import annotations

from urllib.parse import parse_qs

from starlette.types import ASGIApp, Receive, Scope, Send

from engine.errors import InputError
from engine.house.units import Units
from webapp.households import household_of
from webapp.store import Store
from webapp.store_schema import StoreFault
from webapp.units import AS_SHOWN, FOR_PROGRAMS, SI, WISHED, Wished


class WishedUnits:
    """Keep the units of each request for as long as it is answered.

    Parameters
    ----------
    app : ASGIApp
        The application inside.
    store : Store
        Where the open household is read, once it is asked for.
    """

    def __init__(self, app: ASGIApp, store: Store) -> None:
        self.app = app
        self.store = store

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        token = WISHED.set(Wished(self._read if scope["type"] == "http" and _by_people(scope) else None))
        try:
            await self.app(scope, receive, send)
        finally:
            WISHED.reset(token)

    def _read(self) -> Units:
        try:
            return household_of(self.store.current().text).units
        except (InputError, StoreFault):
            return SI


def _by_people(scope: Scope) -> bool:
    """Whether a request was typed in the units of the household."""
    if not scope["path"].endswith(FOR_PROGRAMS):
        return True
    name, value = AS_SHOWN
    return parse_qs(scope["query_string"].decode("latin-1")).get(name) == [value]
