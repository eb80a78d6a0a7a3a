"""Size and time of the record: a big job, and many jobs.

    python -m tests.benchmarks.bench_records [READINGS [PHOTOS [JOBS]]]

One job with so many readings (2000) and photos of 3 MB (50); then so many jobs (300) of 200 entries
at 40 doors. Prints seconds, megabytes and the highest memory of the process.
"""

from __future__ import annotations

import os
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

from assistant.records import attachments, bundle, history, retention, signing
from assistant.records.backup import back_up
from assistant.records.log import export_csv, export_json, verify
from assistant.records.store import Store
from tests.records.pinewharf import judged, turn

WALL = "2026-03-02T08:00:00+00:00"


@contextmanager
def timed(name: str) -> Iterator[None]:
    start = time.perf_counter()
    yield
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{name:44} {time.perf_counter() - start:8.3f} s   peak {peak_mb:6.0f} MB", flush=True)


def big_job(folder: Path, readings: int, photos: int) -> None:
    path = folder / "records.sqlite"
    with Store.open(path) as store:
        store.create_job("big", {"site": "Pinewharf Cold Store", "door": "D1", "texts": {}}, WALL)
        with timed(f"append {readings} readings, each synced"):
            for n in range(readings):
                body = turn("affirm", judged(f"reading.{n}", "0.2"))
                store.append("big", body, wall=WALL, mono_s=float(n))
        with timed(f"attach {photos} photos of 3 MB"):
            for n in range(photos):
                photo = b"\xff\xd8\xff" + os.urandom(3_000_000)
                attachments.attach(store, "big", photo, name=f"{n}.jpg", wall=WALL)
        with timed("verify"):
            assert verify(store, "big").ok
        with timed("export JSON"):
            text = export_json(store, "big")
        print(f"{'  JSON':44} {len(text) / 1e6:8.2f} MB")
        with timed("export CSV"):
            print(f"{'  CSV':44} {len(export_csv(store, 'big')) / 1e6:8.2f} MB")
        signing.sign(store, "big", signing.key_in(folder), WALL)
        with timed("zip"), (folder / "big.zip").open("wb") as file:
            bundle.write(store, "big", file)
        print(f"{'  zip':44} {(folder / 'big.zip').stat().st_size / 1e6:8.2f} MB")
        with timed("backup"):
            back_up(path, folder / "backup.sqlite")
        print(f"{'  record':44} {path.stat().st_size / 1e6:8.2f} MB")
    with Store.open(folder / "other.sqlite") as other, timed("verify zip and import"):
        bundle.take_in(other, folder / "big.zip")
    with Store.open(path) as store, timed("redact all words"):
        retention.redact(store, "big", "words", who="office", why="benchmark", wall=WALL)


def many_jobs(folder: Path, jobs: int) -> None:
    with Store.open(folder / "many.sqlite") as store:
        with timed(f"write {jobs} jobs of 200 entries"):
            for n in range(jobs):
                day = f"{2010 + n // 40}-03-{n % 28 + 1:02d}T08:00:00+00:00"
                head = {"site": "Pinewharf Cold Store", "door": f"D{n % 40}", "texts": {}}
                store.create_job(f"job-{n}", head, day)
                told = [turn("affirm", judged(f"r.{m}", f"{m + 1}.5")) for m in range(100)]
                bodies = [*told, *[turn("command") for _ in range(98)]]
                bodies.append(turn("done", {"kind": "finished", "open_points": 0}))
                store.append_all(f"job-{n}", bodies, wall=day, mono_s=1.0)
        with timed("history of a door"):
            print(f"{'  jobs':44} {len(history.jobs_of_door(store, 'D7')):8}")
        with timed("trend of a reading"):
            history.trend(store, "D7", "r.3")
        with timed("due, all doors"):
            history.due(store, date(2026, 3, 2))
        with timed("search a word in all jobs"):
            history.search(store, "nowhere to be found")
        with timed("verify all jobs"):
            assert all(verify(store, job["id"]).ok for job in store.jobs())


if __name__ == "__main__":
    given = [int(each) for each in sys.argv[1:]]
    readings, photos, jobs = [*given, *(2000, 50, 300)[len(given) :]]
    with tempfile.TemporaryDirectory() as scratch:
        big_job(Path(scratch), readings, photos)
        many_jobs(Path(scratch), jobs)
