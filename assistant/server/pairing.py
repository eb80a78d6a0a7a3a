"""Who may join when the server can be reached from other machines: a code for each role."""

from __future__ import annotations

import hmac
import secrets
import threading
import time
from collections.abc import Callable

LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # none that is taken for another
LENGTH = 10  # 49 bits
TRIES, WITHIN_S = 10, 60.0


class Pairing:
    """The codes of a server that was started now, "lead" and "helper"."""

    def __init__(self, clock: Callable[[], float] = time.monotonic):
        self.codes = {
            role: "".join(secrets.choice(LETTERS) for _ in range(LENGTH))
            for role in ("lead", "helper")
        }
        self._clock = clock
        self._wrong: list[float] = []
        self._lock = threading.Lock()

    def admits(self, code: str, role: str | None = None) -> bool:
        """True if the code is the role's, or any role's; false too after many wrong ones."""
        given = code.strip().upper().encode()
        with self._lock:
            now = self._clock()
            self._wrong = [at for at in self._wrong if now - at < WITHIN_S]
            if len(self._wrong) >= TRIES:
                return False
            wanted = self.codes.values() if role is None else [self.codes.get(role, "")]
            fits = [hmac.compare_digest(given, each.encode()) for each in wanted if each]
            if not any(fits):
                self._wrong.append(now)
            return any(fits)
