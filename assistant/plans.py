"""The plan of a job: from its files, from the texts that its log keeps, and where it stands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from assistant import resources
from assistant.errors import JobError, ThirdhandError
from assistant.procedure import inputs, machine, past
from assistant.procedure.load import bind, job_texts, load_pack, pack_of, parse_job, parse_pack
from assistant.procedure.model import FRAMES, Job, Pack, Plan
from assistant.procedure.plan import plan as string_plan
from assistant.procedure.run import Run
from assistant.records.store import Store

PACK_FILES = ("pack.yaml", "steps.yaml")


def texts_of(pack_folders: Iterable[Path], job_file: Path) -> dict[str, str]:
    """The texts that make a plan, as the log's head keeps them.

    Keys: "job.yaml", the terminal plan by the name that the job gives it, "packs" (the names in
    order, one a line), and "NAME/pack.yaml" and "NAME/steps.yaml" for each of them and each frame.
    "people" stands there too (one a line) if the job was begun by others than its file names, and
    "history" (see `past.texts`) if a pack asks for what earlier jobs at the door left.
    """
    folders = {load_pack(folder).name: folder for folder in pack_folders}
    texts = {**job_texts(job_file), "packs": "\n".join(folders)}
    for name in FRAMES:
        folders.setdefault(name, find_pack(name))
    for name, folder in folders.items():
        for file in PACK_FILES:
            texts[f"{name}/{file}"] = (folder / file).read_text(encoding="utf-8")
    return texts


def plan_of(texts: dict[str, str]) -> Plan:
    """The plan of a log's head."""
    job = parse_job(texts["job.yaml"], "kept job", texts)
    if "people" in texts:
        job = job.model_copy(update={"people": tuple(texts["people"].split("\n"))})
    job = job.model_copy(update={"history": past.read(texts)})
    if "packs" not in texts:  # a log from before packs were strung together
        return bind(parse_pack({n: texts[n] for n in PACK_FILES}, "kept pack"), job)

    def kept(name: str) -> Pack:
        head, rows = (texts[f"{name}/{file}"] for file in PACK_FILES)
        return pack_of(head, rows, f"kept pack {name}")

    return string_plan([kept(name) for name in texts["packs"].split("\n")], kept, job)


def plan_if_readable(head: Mapping[str, Any]) -> Plan | None:
    """The plan of a log's head; None where this version can't read its texts any more."""
    try:
        return plan_of(head["texts"])
    except (ThirdhandError, KeyError, TypeError):
        return None


def plan_from_files(packs: Iterable[str | Path], job: Job) -> Plan:
    """The plan of packs given by name or folder, with the frames that come with the program."""
    found = [load_pack(find_pack(each)) for each in packs]
    return string_plan(found, lambda name: load_pack(find_pack(name)), job)


def events_of(store: Store, job_id: str) -> Iterable[inputs.Event]:
    """The events of a job's log, in order."""
    for entry in store.entries(job_id):
        if "event" in entry.body:
            yield inputs.Event.model_validate(entry.body["event"])


def on_record(store: Store, job_id: str) -> tuple[Plan, Run]:
    """A job's plan and where it stands by its log; nothing is opened and nothing written."""
    plan = plan_of(store.head(job_id)["texts"])
    return plan, machine.replay(plan, events_of(store, job_id))


def find_job(spec: str | Path) -> Path:
    """Path of a job file given by path or by name ("pinewharf-d1")."""
    path = Path(spec)
    if path.is_file():
        return path
    kept = resources.steps_dir() / "jobs" / f"{spec}.yaml"
    if kept.is_file():
        return kept
    names = sorted(each.stem for each in kept.parent.glob("*.yaml"))
    raise JobError(str(spec), None, f"is no job file; give a path or one of {', '.join(names)}")


def find_pack(name: str | Path) -> Path:
    """Folder of a pack given by path or by name ("power-entry")."""
    for path in (Path(name), resources.steps_dir() / str(name)):
        if (path / "pack.yaml").is_file():
            return path
    kept = resources.steps_dir()
    names = sorted(each.parent.name for each in kept.glob("*/pack.yaml"))
    raise JobError(str(name), None, f"is no pack; give a folder or one of {', '.join(names)}")
