"""The pass phrase of other devices: kept as a hash alone, and the signed cookie of a device that knew it.

Both lie in one file of the data folder that only its owner may read. A cookie holds when it was made and a random
part, signed by a key; another key signs every device out. Nothing here is ever logged or shown.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import hmac
import json
import os
import re
import secrets
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from engine.errors import InputError
from webapp.store_schema import StoreFault

FILE_NAME = "sign-in.json"
COOKIE = "greyspell"
SHORTEST, LONGEST = 12, 200
"""Characters of a pass phrase (judgement): four or five words; the waits of `sign_in_limits` are long for whoever tries
a list of usual ones."""
LASTS_S = 365 * 24 * 3600
"""A device stays signed in so long (choice): browsers keep no cookie longer than 400 days."""
FAULT_LENGTH = f"The pass phrase must be {SHORTEST} to {LONGEST} characters long, such as five words of your own"
_TOKEN = re.compile(r"([0-9]{1,12})\.([0-9a-f]{32})\.([0-9a-f]{64})")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What one try costs: scrypt's parameters (RFC 7914).

    Published: OWASP’s Password Storage Cheat Sheet names n = 2^15, r = 8, p = 3 among its equal choices; it takes
    32 MiB.
    """

    n: int = 2**15
    r: int = 8
    p: int = 3


USUAL_COST = Cost()


def plain(phrase: str) -> str:
    r"""Return a pass phrase as it is compared, however a keyboard or a file wrote it.

    Examples
    --------
    >>> plain(" caf\u0065\u0301 by the byre \n") == "caf\u00e9 by the byre"
    True
    """
    return unicodedata.normalize("NFKC", phrase).strip()


def scrypt(phrase: str, salt: bytes, cost: Cost, length: int = 32) -> bytes:
    """Return the hash of a pass phrase."""
    room = 128 * cost.r * (cost.n + cost.p + 2) + 2**20
    return hashlib.scrypt(plain(phrase).encode(), salt=salt, n=cost.n, r=cost.r, p=cost.p, maxmem=room, dklen=length)


class SignIn:
    """Who may come in from another device.

    Parameters
    ----------
    folder : Path
        The data folder.
    clock : callable
        Returns the time now, aware.
    cost : Cost
        Of a pass phrase that is set from now on; one that is kept has its own.
    """

    def __init__(self, folder: Path, clock: Callable[[], datetime], cost: Cost = USUAL_COST) -> None:
        self._path = folder / FILE_NAME
        self._clock = clock
        self._cost = cost
        self._kept = self._read()

    @property
    def is_set(self) -> bool:
        """Whether there is a pass phrase at all; without one nobody comes in."""
        return bool(self._kept)

    def set_phrase(self, phrase: str) -> None:
        """Keep another pass phrase, as its hash; every device is signed out by it.

        Raises
        ------
        InputError
            If it is too short or too long.
        """
        length = len(plain(phrase))
        if not SHORTEST <= length <= LONGEST:
            raise InputError("phrase", f"{FAULT_LENGTH}; got {length}.")
        salt = secrets.token_bytes(16)
        self._write(
            {
                "n": self._cost.n, "r": self._cost.r, "p": self._cost.p, "salt": salt.hex(),
                "hash": scrypt(phrase, salt, self._cost).hex(), "key": secrets.token_hex(32),
            }
        )  # fmt: skip

    def is_phrase(self, phrase: str) -> bool:
        """Tell whether this is the pass phrase; takes as long for a wrong one as for the right one."""
        if not self._kept or len(phrase) > 4 * LONGEST:
            return False
        kept = bytes.fromhex(self._kept["hash"])
        cost = Cost(n=self._kept["n"], r=self._kept["r"], p=self._kept["p"])
        return hmac.compare_digest(scrypt(phrase, bytes.fromhex(self._kept["salt"]), cost, len(kept)), kept)

    def token(self) -> str:
        """Return a new signed cookie."""
        body = f"{int(self._clock().timestamp())}.{secrets.token_hex(16)}"
        return f"{body}.{self._signed(body)}"

    def holds(self, token: str) -> bool:
        """Tell whether a cookie is one of ours that still holds."""
        found = _TOKEN.fullmatch(token)
        if not found or not self._kept:
            return False
        if not hmac.compare_digest(found[3], self._signed(f"{found[1]}.{found[2]}")):
            return False
        return int(found[1]) + LASTS_S > self._clock().timestamp()

    def sign_all_out(self) -> None:
        """Sign with another key from now on, so that no cookie holds any more."""
        if self._kept:
            self._write({**self._kept, "key": secrets.token_hex(32)})

    def _signed(self, body: str) -> str:
        return hmac.new(bytes.fromhex(self._kept["key"]), f"greyspell {body}".encode(), hashlib.sha256).hexdigest()

    def _read(self) -> dict[str, Any]:
        try:
            kept = json.loads(self._path.read_text(encoding="utf-8"))
            for name in ("salt", "hash", "key"):
                bytes.fromhex(kept[name])
            whole = all(isinstance(kept[name], int) for name in ("n", "r", "p")) and len(kept["key"]) == 64
        except FileNotFoundError:
            return {}
        except OSError as fault:
            raise InputError(
                "sign-in", f"The file {self._path} cannot be opened ({fault.strerror}): let Greyspell read it."
            ) from None
        except (ValueError, KeyError, TypeError):
            whole = False
        if not whole:
            again = "Delete it and set the pass phrase again; nothing else of Greyspell is in it."
            raise InputError("sign-in", f"The file {self._path} cannot be read. {again}")
        found: dict[str, Any] = kept
        return found

    def _write(self, kept: dict[str, Any]) -> None:
        """Replace the file in one step; only its owner may ever read it (on Windows: as the folder allows).

        Raises
        ------
        StoreFault
            If it cannot be written; what stood before still holds.
        """
        draft = self._path.with_name(f"{FILE_NAME}.{secrets.token_hex(4)}")
        try:
            with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
                json.dump(kept, file)
                file.flush()
                os.fsync(file.fileno())
            draft.replace(self._path)
        except OSError as fault:
            raise _not_written(self._path.parent, fault) from fault
        finally:
            with contextlib.suppress(OSError):
                draft.unlink()
        self._kept = kept


def _not_written(folder: Path, fault: OSError) -> StoreFault:
    """Say that nothing of the sign-ins changed, which matters most where a device was lost."""
    full = fault.errno in (errno.ENOSPC, errno.EDQUOT)
    remedy = "make room on its disk" if full else "let Greyspell write there"
    return StoreFault(
        f"Nothing was changed: in the folder {folder} nothing could be written ({fault.strerror}). The pass phrase is "
        f"the one of before, and every device that was signed in still is: {remedy} and try again, or stop Greyspell "
        "and start it without --lan, and no other device gets an answer.",
        507 if full else 503,
    )


def own_path(text: str) -> str:
    r"""Return where somebody wanted to go if that is a page of ours, else the start.

    Examples
    --------
    >>> own_path("/today?charge=80"), own_path("//elsewhere.example/"), own_path("https://elsewhere.example/")
    ('/today?charge=80', '/', '/')
    >>> own_path("/\\elsewhere.example"), own_path("/\t/elsewhere.example"), own_path("/sign-in?to=/sign-in")
    ('/', '/', '/')
    """
    safe = re.fullmatch(r"/(?![/\\])[!-\[\]-~]{0,2000}", text) is not None
    return text if safe and not re.match(r"/sign-(in|out)\b", text) else "/"
