"""Files broken in every way we know of: each is refused in a sentence or read as a draft, never a fault of ours."""

from __future__ import annotations

import io
import json
import random
import zipfile
from collections.abc import Callable
from typing import Any

import pytest

from tests.conftest import Client, soup
from webapp.uploads import MOST_MB, MOST_PASTED_MB

FILES = 200
ROWS = b"time;V;A\n" + b"".join(b"%d;3,%d;1,5\n" % (n, 200 + n % 100) for n in range(200))


def zipped(chance: random.Random) -> bytes:
    """A zip of a megabyte of nothing, under a name that a workbook has."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b"0" * chance.randrange(1, 10**6))
    return packed.getvalue()


KINDS: tuple[Callable[[random.Random], bytes], ...] = (
    lambda c: ROWS[: c.randrange(len(ROWS))],
    lambda c: c.randbytes(c.randrange(1, 5000)),
    zipped,
    lambda c: ROWS.decode().encode("utf-16"),
    lambda c: ROWS.decode().encode("utf-16")[: c.randrange(1, 300)],
    lambda c: b"\xef\xbb\xbf" + ROWS.decode().encode("utf-16-le"),
    lambda c: b"\xff\xfe" + ROWS,
    lambda c: ROWS.replace(b"\n", b"\0\n", c.randrange(1, 50)),
    lambda c: b"1;2" * c.randrange(100_000, 700_000),
    lambda c: b"1;" * c.randrange(201, 40_000) + b"\n",
    lambda c: b"[" * c.randrange(1000, 100_000),
    lambda c: b'{"a":' * c.randrange(1000, 50_000),
    lambda c: c.choice([b";", b",", b"\t", b"|", b"\n", b" ", b'"']) * c.randrange(1, 5000),
    lambda c: ROWS.replace(b"\n", c.choice([b"\r", b"\r\r\n", b"\n\r", b"\x0c\n"]), c.randrange(1, 200)),
    lambda c: ROWS.replace(b"3,2", c.choice([b"1e999", b"9" * 400, b"nan", b"-inf", b"1e-999"])),
    lambda c: json.dumps({"format": c.choice([-1, 0, 2, 10**30, "1"]), "name": [1]}).encode(),
    lambda c: b"2026-02-30;1\n" * c.randrange(2, 400),
    lambda c: b"=1+1;@x;-2+3\n" * c.randrange(2, 400),
)


@pytest.mark.parametrize(
    ("path", "how"),
    [(path, "file") for path in ("/cell-tests", "/records", "/log", "/files/upload")]
    + [(path, "pasted") for path in ("/cell-tests", "/records")],
)
def test_every_broken_file_or_paste_gets_a_sentence_or_is_read(client: Client, path: str, how: str) -> None:
    chance = random.Random(path)
    before = client.document()
    refused = 0
    for number in range(FILES):
        content = KINDS[number % len(KINDS)](chance)
        as_file = {"file": (f"broken{number}.csv", content, "text/csv"), "pasted": (None, "")}
        sent: dict[str, Any] = as_file if how == "file" else {"pasted": (None, content)}
        response = client.post(path, files=sent)
        assert response.status_code in (303, 422), (number, content[:60])
        if response.status_code == 422:
            refused += 1
            assert any(len(line.get_text()) > 15 for line in soup(response).select(".summary li")), (
                number,
                content[:60],
            )
            continue
        draft = client.get(response.headers["Location"])
        assert draft.status_code == 200, (number, content[:60])
    assert refused > FILES / 3
    assert client.document() == before


@pytest.mark.parametrize("path", ["/cell-tests", "/records", "/log"])
def test_a_workbook_is_refused_with_the_way_to_save_it(client: Client, path: str) -> None:
    content = zipped(random.Random(1))
    response = client.post(path, files={"file": ("log.xlsx", content), "pasted": (None, "")})
    assert response.status_code == 422
    assert "“Save as” and the type CSV" in soup(response).get_text()


@pytest.mark.parametrize("path", ["/cell-tests", "/records", "/log"])
def test_pasted_rows_that_are_too_many_are_refused_with_the_limit(client: Client, path: str) -> None:
    rows = b"1;2\n" * (MOST_PASTED_MB * 1024**2 // 4 + 1)
    response = client.post(path, files={"pasted": (None, rows)})
    assert response.status_code == 422
    told = soup(response).select_one(".summary li").get_text()
    assert f"longer than {MOST_PASTED_MB} MB" in told
    assert f"up to {MOST_MB} MB" in told
