"""The rooms of all jobs that are open on this server."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from assistant.errors import ThirdhandError
from assistant.plans import plan_of
from assistant.procedure.model import Plan
from assistant.server.room import Room
from assistant.server.sounds import Sounds

if TYPE_CHECKING:
    from assistant.job import Jobs, JobSession
    from assistant.speech.endpoint import Endpointer


class Hub:
    """Opens a job's room when it is first asked for."""

    def __init__(
        self, jobs: Jobs, default_job: str | None, make_endpointer: Callable[[], Endpointer]
    ):
        self.jobs, self.default_job = jobs, default_job
        self.sounds = Sounds()
        self._make_endpointer = make_endpointer
        self._rooms: dict[str, Room] = {}
        self._lock = threading.Lock()
        self.closed = False

    def room(self, job_id: str) -> Room:
        """The room of a job, "" for the default one.

        Raises
        ------
        ThirdhandError, KeyError
            If there is no such job, or it can't be opened.
        """
        name = job_id or self.default_job
        if not name:
            raise KeyError("no job was named, and this server has no default one")
        with self._lock:
            return self._rooms.get(name) or self._place(self.jobs.open(name))

    def view(self, job_id: str) -> dict[str, Any] | None:
        """The view of a job at work; None for one that rests, since to open it is an entry."""
        session = self.jobs.at_work(job_id)
        return session.view() if session else None

    def plan(self, job_id: str) -> Plan:
        """The plan of a job on record, at work or not; nothing is opened."""
        session = self.jobs.at_work(job_id)
        return session.plan if session else plan_of(self.jobs.store.head(job_id)["texts"])

    def on_record(self, job_id: str) -> bool:
        """True if the record has the job, or can't be asked: then that is what is wrong."""
        try:
            return any(row["id"] == job_id for row in self.jobs.list())
        except ThirdhandError:
            return True

    def new(self, spec: str, packs: Sequence[str] = (), people: Sequence[str] = ()) -> Room:
        """The room of a job that is begun now, see `Jobs.new`."""
        with self._lock:
            return self._place(self.jobs.new(spec, *packs, people=people))

    def _place(self, session: JobSession) -> Room:
        room = self._rooms.get(session.job_id)
        if room is None:
            room = Room(session, self._make_endpointer, self.sounds)
            self._rooms[session.job_id] = room
        return room

    def close(self) -> None:
        """End all rooms and their connections."""
        self.closed = True
        with self._lock:
            for room in self._rooms.values():
                room.close()
            self._rooms.clear()
