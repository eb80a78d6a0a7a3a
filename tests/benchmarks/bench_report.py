"""Time and memory of the printed record of a long job; prints one table.

    python tests/benchmarks/bench_report.py --readings 2000 --photos 50

Each photo has 12 megapixels, as a phone takes them; they lie in the record itself. Each line is
measured in a process of its own, so that the peak is that of one record.
"""

from __future__ import annotations

import argparse
import io
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def build(folder: Path, readings: int, photos: int) -> None:
    """A job of door D1 with many readings and photos, in a file."""
    import numpy as np
    from PIL import Image

    from assistant.clock import SetClock
    from assistant.job import Jobs
    from assistant.records.attachments import attach
    from tests.records.pinewharf import judged, turn

    clock = SetClock()
    jobs = Jobs(folder, clock=clock)
    session = jobs.new("pinewharf-d1", "power-entry")
    spread = [step.id for step in session.plan.steps if step.expects.reading]
    for place in range(readings):
        clock.pass_s(2.0)
        step = spread[place % len(spread)]
        reading = judged(f"reading-{place}", f"{0.001 * place:.3f}", step=step, instrument="M-1")
        wall, mono_s = clock.wall(), clock.mono_s()
        jobs.store.append(session.job_id, turn("affirm", reading), wall=wall, mono_s=mono_s)
    rng = np.random.default_rng(1)
    for _ in range(photos):
        small = rng.integers(0, 256, (150, 200, 3), dtype=np.uint8)
        picture = Image.fromarray(small).resize((4000, 3000), Image.Resampling.BICUBIC)
        out = io.BytesIO()
        picture.save(out, "JPEG", quality=88)
        step = session.plan.steps[0].id
        attach(
            jobs.store,
            session.job_id,
            out.getvalue(),
            name="photo.jpg",
            wall=clock.wall(),
            step=step,
        )
    jobs.store.close()


def most_mb() -> float:
    """Peak of this process. [MB] (getrusage would count the parent's size at the fork.)"""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM"))


def render(folder: Path, paper: str) -> None:
    """Render it once and say what it took."""
    from assistant.plans import plan_of
    from assistant.records.report import commissioning_record
    from assistant.records.store import Store

    with Store.open(folder / "records.sqlite") as store:
        job = store.jobs()[0]["id"]
        plan = plan_of(store.head(job)["texts"])
        before_mb = most_mb()
        start_s = time.perf_counter()
        pdf = commissioning_record(store, job, plan, paper=paper)  # type: ignore[arg-type]
        took_s = time.perf_counter() - start_s
    peak_mb = most_mb()
    pages = pdf.count(b"/Type /Page\n")
    print(
        f"{paper:8} {took_s:6.1f} s   peak {peak_mb:5.0f} MB (before {before_mb:.0f})   "
        f"{pages} pages   {len(pdf) / 1e6:.1f} MB",
        flush=True,
    )


def main() -> None:
    """Build the job, then render it on each paper."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=2000)
    parser.add_argument("--photos", type=int, default=50)
    parser.add_argument("--render", nargs=2, metavar=("FOLDER", "PAPER"), help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.render:
        render(Path(given.render[0]), given.render[1])
        return
    with tempfile.TemporaryDirectory() as folder:
        build(Path(folder), given.readings, given.photos)
        print(f"{given.readings} readings, {given.photos} photos of 12 megapixels", flush=True)
        for paper in ("A4", "Letter"):
            subprocess.run(
                [sys.executable, __file__, "--render", folder, paper], check=True, cwd=ROOT
            )


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main()
