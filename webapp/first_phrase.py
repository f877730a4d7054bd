"""The pass phrase at a start with --lan: out of a file or the environment, or asked for; never on the command line,
where every program of the machine could read it."""

from __future__ import annotations

import getpass
import os
import sys
from pathlib import Path

from webapp.sign_in import LONGEST, SHORTEST, SignIn

VARIABLE = "GREYSPELL_PASS_PHRASE"
MOST_BYTES = 4096


class NoPhrase(Exception):
    """Why there is no pass phrase, as a sentence."""


def agree(sign_in: SignIn, file: Path | None) -> None:
    """See that there is a pass phrase; one that is given and differs from the one kept takes its place.

    Raises
    ------
    NoPhrase
        If none is kept, none is given, and nobody can be asked.
    InputError
        If the given one is too short or too long.
    """
    given = _given(file)
    if given is None and sign_in.is_set:
        return
    phrase = _asked() if given is None else given
    if not sign_in.is_phrase(phrase):
        sign_in.set_phrase(phrase)


def _given(file: Path | None) -> str | None:
    """Return what the file or the environment holds; programs started from here do not inherit it."""
    from_environment = os.environ.pop(VARIABLE, None)
    if file is None:
        return from_environment
    try:
        return file.read_bytes()[:MOST_BYTES].decode("utf-8-sig")
    except OSError as fault:
        raise NoPhrase(f"The pass phrase file {file} cannot be read: {fault.strerror}.") from None
    except UnicodeDecodeError:
        raise NoPhrase(f"The pass phrase file {file} is no text in UTF-8.") from None


def _asked() -> str:
    if not sys.stdin.isatty():
        raise NoPhrase(
            "--lan needs a pass phrase, and none is set yet: start it once in a terminal, where it asks, or give "
            f"--pass-phrase-file FILE or the environment variable {VARIABLE}; or start without --lan and set it on the "
            "page Other devices."
        )
    print(f"Other devices are asked for a pass phrase of {SHORTEST} to {LONGEST} characters, such as five words.")
    phrase = getpass.getpass("Pass phrase: ")
    if getpass.getpass("The same again: ") != phrase:
        raise NoPhrase("The two pass phrases are not the same; start again.")
    return phrase
