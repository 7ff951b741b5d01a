"""Passwords: what is asked of one, and the slow hash that is kept of it (RFC 9106, Argon2id).

Decision (2026-11-29). 19 MiB, two passes, one lane (the OWASP cheat sheet's figures): 25 ms on two cores, where the library's
defaults take ten times as long and 64 MiB. Two are worked out at a time at most: a hundred tries at once cost 38 MiB and not
2 GB. Cost: with a stolen file of credentials guessing is as many times cheaper.
"""

import unicodedata
from functools import cache
from threading import BoundedSemaphore

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

SHORTEST_PASSWORD, LONGEST_PASSWORD = 12, 256  # signs (NIST SP 800-63B asks for 8 at least)
_NO_CHANCE = 5  # signs of a name that stand in a password on purpose
_HASHER = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)
_AT_ONCE = BoundedSemaphore(2)


def expected_password(password: str, person: str) -> str | None:
    """What would have been right where a new password is none; None: it is good."""
    if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        return f"{SHORTEST_PASSWORD} to {LONGEST_PASSWORD} signs: a few words that belong to nothing else are a good password"
    if len(set(password.casefold())) < 5:
        return "more than four different signs"
    if len(person) >= _NO_CHANCE and person.casefold() in password.casefold():
        return "a password without your name in it"
    return None


def hash_of(password: str) -> str:
    """The hash to keep."""
    with _AT_ONCE:
        return _HASHER.hash(_plain(password))


def is_password(password: str, kept_hash: str | None) -> bool:
    """Whether a password is the one of a hash. Without a hash as much is worked out: nobody learns by the time who is enrolled."""
    with _AT_ONCE:
        try:
            return _HASHER.verify(kept_hash or _nobodys(), _plain(password)) and kept_hash is not None
        except (VerificationError, InvalidHashError):
            return False


@cache
def _nobodys() -> str:
    return _HASHER.hash("the password of nobody")


def _plain(password: str) -> str:
    """The same signs however a keyboard composes them; cut first to what any that was ever kept may be typed as.

    To put marks in order takes time that grows with the square of their number.
    """
    return unicodedata.normalize("NFC", password[: 4 * LONGEST_PASSWORD])
