"""Replies as sound files, found again by the digest of their content."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from pathlib import Path

KEPT = 2_000


class Sounds:
    """Maps a digest to a file that was given out before; nothing else can be asked for."""

    def __init__(self) -> None:
        self._paths: OrderedDict[str, Path] = OrderedDict()
        self._digests: dict[tuple[str, int, int], str] = {}
        self._lock = threading.Lock()

    def url(self, path: Path) -> str:
        """Path on this server under which a device gets the file, "" if it can't be read."""
        try:
            stat = path.stat()
            key = (str(path), stat.st_mtime_ns, stat.st_size)
            digest = self._digests.get(key)
            if digest is None:
                digest = hashlib.sha256(path.read_bytes()).hexdigest()[:40]
        except OSError:
            return ""
        with self._lock:
            self._digests[key] = digest
            self._paths[digest] = path
            self._paths.move_to_end(digest)
            while len(self._paths) > KEPT:
                self._paths.popitem(last=False)
            if len(self._digests) > 2 * KEPT:
                self._digests.clear()
        return f"/api/audio/{digest}.wav"

    def path(self, digest: str) -> Path | None:
        """The file of a digest, or None."""
        with self._lock:
            return self._paths.get(digest)
