"""One device's line to a job: what was posted, what was taken. Outlives its connections.

A device that lost its connection comes back with its session and the last number it has, and
gets what it missed, in order and once. The buffer is bounded; states supersede each other, so
only the newest is kept.
"""

from __future__ import annotations

import secrets
import threading
from collections import deque
from dataclasses import dataclass
from typing import Literal

from assistant.server.messages import Message, State, encode

KEPT_POSTS = 256
KEPT_SIGNS = 32


@dataclass(frozen=True)
class _Post:
    n: int
    type: str
    text: str


class Link:
    """The numbered traffic of one device in one session. Safe to use from any thread."""

    def __init__(self, device: str, role: str):
        self.session = secrets.token_urlsafe(16)
        self.device, self.role = device, role
        self.taken = 0  # highest input number that arrived
        # Highest post that the device says it has shown; 0 if it never says. What it had when it
        # came back isn't that: a device that never says would be deaf from then on.
        self.acknowledged = 0
        self._posts: deque[_Post] = deque()
        self._signs: deque[tuple[str, str]] = deque()
        self._number = 0
        self._lost = 0  # highest number that was dropped before the device had it
        self._connection = 0  # the one that serves now, 0 for none
        self._connections = 0
        self._changed = threading.Condition()

    # --- outwards ------------------------------------------------------------------------------

    def post(self, message: Message) -> int:
        """Number of a message that will reach the device once, now or after a lost link."""
        with self._changed:
            self._number += 1
            if isinstance(message, State):
                self._posts = deque(p for p in self._posts if p.type != State.type)
            self._posts.append(_Post(self._number, message.type, encode(message, self._number)))
            while len(self._posts) > KEPT_POSTS:
                self._lost = self._posts.popleft().n
            self._changed.notify_all()
            return self._number

    def sign(self, message: Message) -> None:
        """Send a message of the moment; the newest of its type, and none to an absent device."""
        with self._changed:
            if not self.connected:
                return
            if message.type != "error":
                self._signs = deque(s for s in self._signs if s[0] != message.type)
            self._signs.append((message.type, encode(message)))
            while len(self._signs) > KEPT_SIGNS:
                self._signs.popleft()
            self._changed.notify_all()

    def acknowledge(self, last: int, shown: bool = True) -> None:
        """Forget the posts that the device says it has; `shown`: it says so as it shows them."""
        with self._changed:
            if shown or self.acknowledged:
                self.acknowledged = max(self.acknowledged, min(last, self._number))
            while self._posts and self._posts[0].n <= min(last, self._number):
                self._posts.popleft()

    def missed(self, last: int) -> bool:
        """True if posts after `last` are no longer kept."""
        with self._changed:
            return last < self._lost

    def due(self, connection: int, sent: int, timeout_s: float) -> tuple[list[str], int] | None:
        """Frames to send on a connection after number `sent`, and the new `sent`.

        Waits up to `timeout_s` for one. None if another connection has taken over.
        """
        with self._changed:
            self._changed.wait_for(
                lambda: self._connection != connection or self._ready(sent), timeout_s
            )
            if self._connection != connection:
                return None
            frames = [text for _, text in self._signs]
            self._signs.clear()
            for post in self._posts:
                if post.n > sent:
                    frames.append(post.text)
                    sent = post.n
            return frames, sent

    def _ready(self, sent: int) -> bool:
        return bool(self._signs) or bool(self._posts and self._posts[-1].n > sent)

    # --- inwards -------------------------------------------------------------------------------

    def take(self, n: int) -> Literal["new", "again", "early"]:
        """Whether an input is new (and now counts as arrived), known, or ahead of a lost one."""
        with self._changed:
            if n <= self.taken:
                return "again"
            if n != self.taken + 1:
                return "early"
            self.taken = n
            return "new"

    # --- connections ---------------------------------------------------------------------------

    @property
    def connected(self) -> bool:
        """True while a connection serves this link."""
        return self._connection > 0

    def serves(self, connection: int) -> bool:
        """True while that connection is the one that serves."""
        return self._connection == connection

    def connect(self) -> int:
        """Id of a new connection; one that served before is told to end."""
        with self._changed:
            self._connections += 1
            self._connection = self._connections
            self._signs.clear()
            self._changed.notify_all()
            return self._connection

    def disconnect(self, connection: int) -> bool:
        """True if that connection was the one that served."""
        with self._changed:
            if self._connection != connection:
                return False
            self._connection = 0
            self._signs.clear()
            self._changed.notify_all()
            return True
