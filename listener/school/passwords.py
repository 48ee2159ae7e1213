"""Passwords: what is accepted, how they are kept, and a check that takes as long for nobody as for somebody.

Kept as argon2id hashes with the parameters that RFC 9106 recommends second (3 passes, 64 MiB, 4 lanes), by
argon2-cffi. Length rather than rules of composition, and one spelling (NFKC), after NIST SP 800-63B, 5.1.1.2
(from memory).
"""

from __future__ import annotations

import secrets
import threading
import unicodedata
from dataclasses import dataclass, field

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from listener.errors import UsageError

SHORTEST, LONGEST = 12, 200
#: Checks that go on at the same time; each takes 64 MiB.
_AT_ONCE = 2


def accepted(password: str, name: str) -> str:
    """The password in its one spelling. Raises :class:`UsageError` for one that is too easy to guess."""
    one = _spelt(password)
    if not SHORTEST <= len(one) <= LONGEST:
        raise UsageError(f"A password has {SHORTEST} to {LONGEST} characters. Several words that you know are good.")
    if len(set(one)) < 5 or name.casefold() in one.casefold():
        raise UsageError("This password is too easy to guess: it repeats itself, or holds the name.")
    return one


def _spelt(password: str) -> str:
    return unicodedata.normalize("NFKC", password)


@dataclass(slots=True)
class Passwords:
    """Makes and checks hashes, a few at a time. Tests give a hasher that is quick."""

    hasher: PasswordHasher = field(default_factory=PasswordHasher)
    _nobody: str = ""
    _turn: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(_AT_ONCE))

    def __post_init__(self) -> None:
        self._nobody = self.hasher.hash(secrets.token_hex(16))

    def hashed(self, password: str) -> str:
        with self._turn:
            return self.hasher.hash(password)

    def fits(self, kept: str | None, password: str) -> bool:
        """Whether a password is the one that is kept. With None, or a hash that cannot be read, the same work is done
        in vain, so that the time tells nothing of who has an account.
        """
        with self._turn:
            try:
                return self.hasher.verify(kept or self._nobody, _spelt(password)[: LONGEST + 1]) and kept is not None
            except InvalidHashError:
                self._in_vain(password)
                return False
            except VerificationError:
                return False

    def is_old(self, kept: str) -> bool:
        """Whether a hash was made with other parameters than those of now."""
        return self.hasher.check_needs_rehash(kept)

    def _in_vain(self, password: str) -> None:
        try:
            self.hasher.verify(self._nobody, _spelt(password)[: LONGEST + 1])
        except VerificationError:
            """As it should be."""
