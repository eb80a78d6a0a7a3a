"""The glue between flask-sock and a room: frames in, frames out, and nothing else."""

from __future__ import annotations

import contextlib
import logging
import threading
from socket import SHUT_RDWR
from ssl import SSLSocket
from typing import Any

from flask import Flask
from flask_sock import Sock
from simple_websocket import ConnectionClosed
from simple_websocket.ws import LocalProtocolError

from assistant.errors import ThirdhandError
from assistant.server.hub import Hub
from assistant.server.link import Link
from assistant.server.messages import (
    FRAME_MAX_BYTES,
    Error,
    Hello,
    MessageError,
    decode,
    encode,
)
from assistant.server.pairing import Pairing
from assistant.server.room import Room, Seat

log = logging.getLogger(__name__)

HELLO_WITHIN_S = 10.0
CLOSE_WITHIN_S = 2.0  # for the device's half of a close
FAULTS_MAX = 50  # frames in a row that are no messages; more of them is abuse
BACKLOG_MAX = 200  # frames read from the network and not yet looked at
GONE = (ConnectionClosed, LocalProtocolError, OSError)  # the connection has ended
GOING_AWAY, POLICY, TAKEN_OVER, NOT_JOINED = 1001, 1008, 4001, 4003


class _WholeSends:
    """A connection's socket that writes one frame at a time, and all of it.

    Two threads write to it: ours, and the library's, which answers pings. Under TLS reading
    excludes writing as well, since an SSL object is not to be used by two threads at once; the
    library reads only when there is something, so that doesn't keep a writer waiting.
    """

    def __init__(self, sock: Any):
        self._sock, self._lock = sock, threading.Lock()
        self._reading: Any = self._lock if isinstance(sock, SSLSocket) else contextlib.nullcontext()

    def recv(self, size: int) -> bytes:
        with self._reading:
            data: bytes = self._sock.recv(size)
        return data

    def send(self, data: bytes) -> int:
        with self._lock:
            self._sock.sendall(data)
        return len(data)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._sock, name)


class _PlainFrames:
    """WSGI middleware that declines compressed frames: sound doesn't shrink, it only costs time."""

    def __init__(self, app: Any):
        self._app = app

    def __call__(self, environ: dict[str, Any], start_response: Any) -> Any:
        environ.pop("HTTP_SEC_WEBSOCKET_EXTENSIONS", None)
        return self._app(environ, start_response)


def install(app: Flask, hub: Hub, pairing: Pairing | None) -> None:
    """Serve devices at /api/socket."""
    app.config["SOCK_SERVER_OPTIONS"] = {
        "max_message_size": FRAME_MAX_BYTES,
        "ping_interval": 20,
        "receive_bytes": 16_384,
    }
    app.wsgi_app = _PlainFrames(app.wsgi_app)  # type: ignore[method-assign]

    @Sock(app).route("/api/socket")
    def serve(ws: Any) -> None:
        raw, ws.sock = ws.sock, _WholeSends(ws.sock)
        with contextlib.suppress(*GONE):  # a device gone keeps its seat
            _serve(ws, hub, pairing)
        ws.thread.join(timeout=CLOSE_WITHIN_S)
        # The web server is about to answer the request that became this connection; that answer
        # would reach the device as a broken frame.
        with contextlib.suppress(OSError):
            raw.shutdown(SHUT_RDWR)


def _serve(ws: Any, hub: Hub, pairing: Pairing | None) -> None:
    entered = _greet(ws, hub, pairing)
    if entered is None:
        return
    room, seat, connection, last = entered
    sender = threading.Thread(
        target=_send_all, args=(ws, seat.link, connection, last), daemon=True, name="device out"
    )
    sender.start()
    try:
        _read_all(ws, room, seat, connection)
    finally:
        room.depart(seat, connection)
        sender.join(timeout=5)


def _close(ws: Any, code: int, reason: str) -> None:
    with contextlib.suppress(*GONE):
        ws.close(code, reason)


def _greet(ws: Any, hub: Hub, pairing: Pairing | None) -> tuple[Room, Seat, int, int] | None:
    """The seat that the device's hello asks for, or None if the connection was closed."""
    for _ in range(5):
        frame = ws.receive(timeout=HELLO_WITHIN_S)
        if frame is None:
            _close(ws, POLICY, "say hello first")
            return None
        try:
            if isinstance(frame, bytes):
                raise MessageError("sound came before hello", "say hello first")
            message, _n = decode(frame)
            if not isinstance(message, Hello):
                raise MessageError(f"'{message.type}' came before hello", "say hello first")
            if pairing and not pairing.admits(message.key, message.role):
                what = f"this device has not joined as {message.role}"
                ws.send(encode(Error(what, "scan the code that the server shows")))
                _close(ws, NOT_JOINED, what)
                return None
            room = _room(hub, message.job)
            seat, connection, welcome = room.enter(message)
        except MessageError as error:
            ws.send(encode(Error(error.what, error.do, error.about)))
            continue
        ws.send(encode(welcome))
        return room, seat, connection, message.last if welcome.resumed else 0
    _close(ws, POLICY, "no hello that can be met")
    return None


def _room(hub: Hub, job_id: str) -> Room:
    """The room of a job; MessageError if there is none, with the reason if it can't be opened."""
    try:
        return hub.room(job_id)
    except (ThirdhandError, KeyError, ValueError, OSError) as error:
        log.warning("job %r was asked for: %s", job_id, error)
        worded = isinstance(error, ThirdhandError)
        if worded and hub.on_record(job_id or hub.default_job or ""):
            raise MessageError(
                f"the job can't be opened: {error}", "put that right, then open it again"
            ) from error
        if isinstance(error, OSError):
            raise MessageError(
                f"the job can't be opened: {error.strerror}", "put that right, then open it again"
            ) from error
        raise MessageError("there is no such job here", "choose one from the list") from error


def _send_all(ws: Any, link: Link, connection: int, sent: int) -> None:
    """Send what the link has, until the connection ends or another takes over."""
    try:
        while ws.connected:
            due = link.due(connection, sent, timeout_s=1.0)
            if due is None:
                if link.connected:
                    _close(ws, TAKEN_OVER, "another connection of this device has taken over")
                else:
                    _close(ws, GOING_AWAY, "the server ends")
                return
            frames, sent = due
            for frame in frames:
                ws.send(frame)
    except GONE:
        pass


def _read_all(ws: Any, room: Room, seat: Seat, connection: int) -> None:
    """Take frames until the connection ends, or another of the device has taken over.

    What was stuck in the network meanwhile and comes now is old: it must not mix with the new.
    """
    faults = 0
    while True:
        frame = ws.receive(timeout=30)  # a close that the device never answers ends here
        if not seat.link.serves(connection):
            return
        if frame is None:
            continue
        if len(ws.input_buffer) > BACKLOG_MAX:
            _close(ws, POLICY, "frames come faster than they can be taken")
            return
        try:
            if isinstance(frame, bytes):
                room.hear(seat, frame)
            else:
                room.receive(seat, *decode(frame))
            faults = 0
        except MessageError as error:
            seat.link.sign(Error(error.what, error.do, error.about))
            faults += 1
            if faults > FAULTS_MAX:
                _close(ws, POLICY, f"{faults} frames in a row were no messages: {error.what}"[:120])
                return
        except Exception:
            log.exception("a frame could not be handled")
            seat.link.sign(Error("That could not be taken.", "Try it once more."))
