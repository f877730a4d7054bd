"""Bringing files to the pages that keep them, as their forms do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from bs4 import BeautifulSoup

from tests.conftest import Client, form_of, soup
from webapp import bench_store, meter_store, sky_store
from webapp.kept_files import FileTable


@dataclass(frozen=True, kw_only=True)
class Pages:
    """The pages of one kind of kept files: the address of their list, and the table they lie in."""

    path: str
    files: FileTable

    def bring(self, client: Client, content: str | bytes, name: str = "brought.csv") -> Any:
        """Send a file as the form does."""
        return client.post(self.path, files={"file": (name, content, "text/csv"), "pasted": (None, "")})

    def draft_at(self, client: Client, content: str | bytes, name: str = "brought.csv") -> str:
        """Bring a file and return the address of its draft."""
        response = self.bring(client, content, name)
        assert response.status_code == 303, soup(response).get_text()
        return str(response.headers["Location"])

    def read_so(self, client: Client, content: str | bytes, name: str = "brought.csv", **choices: str) -> str:
        """Bring a file, accept it with some choices and return the address of what it tells."""
        address = self.draft_at(client, content, name)
        sent = form_of(soup(client.get(address)), "read-form") | choices | {"act": "read"}
        response = client.post(f"{address}/read", sent)
        assert response.status_code == 303, [line.get_text() for line in soup(response).select(".summary li")]
        return address

    def counted(self, client: Client) -> tuple[int, ...]:
        """What would change if anything changed: rows kept, those read, and the household's version."""
        rows = client.store.rows(f"SELECT count(*) AS n, total(accepted) AS read FROM {self.files.table}")[0]
        return rows["n"], rows["read"], client.store.current().revision


def text_of(page: BeautifulSoup) -> str:
    """The words of a page, without the data of its charts."""
    main = page.main
    assert main is not None
    return " ".join(main.get_text(" ", strip=True).replace("\u00a0", " ").split())


CELL_TESTS = Pages(path="/cell-tests", files=bench_store.FILES)
RECORDS = Pages(path="/records", files=sky_store.FILES)
LOG = Pages(path="/log", files=meter_store.FILES)
