"""Who may join when the server can be reached from other machines.

A *join code* is short, to be scanned or typed, and works once: it lets in the *key* that a device
drew for itself, long and random, which the device shows from then on. The server keeps digests of
keys only.
"""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import json
import os
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # none that is taken for another
LENGTH = 10  # 49 bits
TRIES, TRIES_OF_ALL, WITHIN_S = 10, 50, 60.0
KEY_LENGTH = 32  # of 128 bits as hexadecimal figures
KEY_LIFE_S = 14 * 86_400.0
ROLES = ("lead", "helper")


@dataclass(frozen=True)
class _Device:
    """A device that has joined. digest: SHA-256 of its key. until: wall time. [s]"""

    digest: str
    role: str
    until: float


def _draw() -> str:
    return "".join(secrets.choice(LETTERS) for _ in range(LENGTH))


def _digest(key: str) -> str:
    return hashlib.sha256(key.encode("utf-8", "replace")).hexdigest()


class Pairing:
    """The join codes of a server that was started now, and the keys of the devices that joined.

    Parameters
    ----------
    clock, wall : callable
        Monotonic and wall time. [s]
    file : Path, optional
        Keeps the digests of keys, so that a server that is started again knows its devices.
    joined : callable, optional
        Told the role of a device that has just joined: its code is used up, another one stands.
    """

    def __init__(
        self,
        clock: Callable[[], float] = time.monotonic,
        *,
        wall: Callable[[], float] = time.time,
        file: Path | None = None,
        joined: Callable[[str], None] = lambda role: None,
    ):
        self.codes = {role: _draw() for role in ROLES}
        self._clock, self._wall, self._file, self._joined = clock, wall, file, joined
        self._wrong: list[tuple[float, str]] = []
        self._lock = threading.Lock()
        self._devices = self._read()

    def redeem(self, code: str, key: str, address: str = "") -> str | None:
        """The role in which a device with this key is let in; None if the code isn't one.

        The code is used up by it. A key of less than 32 characters isn't let in.

        After ten wrong ones from an address within a minute, or fifty from everywhere, none counts
        until the minute is over: at 49 bits that leaves nothing to guess.
        """
        given = "".join(each for each in code.upper() if each.isalnum()).encode()
        if len(key) < KEY_LENGTH:
            return None
        with self._lock:
            now = self._clock()
            self._wrong = [each for each in self._wrong if now - each[0] < WITHIN_S]
            own = sum(1 for _, where in self._wrong if where == address)
            if own >= TRIES or len(self._wrong) >= TRIES_OF_ALL:
                return None
            role = next(
                (r for r, each in self.codes.items() if hmac.compare_digest(given, each.encode())),
                None,
            )
            if role is None:
                self._wrong.append((now, address))
                return None
            device = _Device(_digest(key), role, self._wall() + KEY_LIFE_S)
            self._devices[device.digest, role] = device
            self._write()
            self.codes[role] = _draw()
        self._joined(role)
        return role

    def admits(self, key: str, role: str | None = None) -> bool:
        """True if the key is that of a device that joined in this role, or in any."""
        digest = _digest(key)  # how long it takes to find it tells nothing of the key
        with self._lock:
            found = [self._devices.get((digest, each)) for each in ([role] if role else ROLES)]
        return any(device is not None and device.until > self._wall() for device in found)

    def _read(self) -> dict[tuple[str, str], _Device]:
        # A file that can't be read costs a new scan of the code and opens nothing.
        with contextlib.suppress(OSError, ValueError, TypeError, KeyError):
            if self._file:
                rows = [_Device(**row) for row in json.loads(self._file.read_text("utf-8"))]
                return {(row.digest, row.role): row for row in rows if row.until > self._wall()}
        return {}

    def _write(self) -> None:
        if self._file is None:
            return
        text = json.dumps([asdict(device) for device in self._devices.values()])
        with contextlib.suppress(OSError):  # full disk: the device is known until the server ends
            handle = os.open(self._file, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8") as out:
                out.write(text)
