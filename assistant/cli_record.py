"""`thirdhand record ...`: the log, what comes of it, and what is done with it."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import cli_office, resources
from assistant.cli_office import print_json, write
from assistant.clock import Clock
from assistant.errors import FileError, RecordError

if TYPE_CHECKING:
    from assistant.records.store import Store

Run = Callable[["Store", argparse.Namespace], int]


def record(arguments: argparse.Namespace) -> int:
    """Run a sub-command of `record` on the record of the data folder."""
    from assistant.records.store import Store

    if arguments.what == "schema":
        return _schema(arguments)
    if arguments.what == "verify" and arguments.job and _is_zip(arguments.job):
        return _verify_zip(arguments)
    file = _file(arguments)
    if not file.exists() and arguments.what != "import":
        raise FileError(str(file), None, "there is no record here yet; name the folder with --data")
    if arguments.what == "backup":
        return _backup(file, arguments)
    with Store.open(file) as store:
        return _RUN[arguments.what](store, arguments)


def _data(arguments: argparse.Namespace) -> Path:
    return arguments.data or resources.data_dir()


def _file(arguments: argparse.Namespace) -> Path:
    return _data(arguments) / "records.sqlite"


def _is_zip(name: str) -> bool:
    """A job's id has neither; so a file that happens to be called like a job is no zip."""
    return name.endswith(".zip") or os.sep in name


def _out(arguments: argparse.Namespace, text: str, encoding: str = "utf-8") -> int:
    if arguments.out:
        data = text.encode(encoding)
        write(arguments.out, lambda file: file.write(data))
    else:
        print(text, end="" if text.endswith("\n") else "\n")
    return 0


# --- the log -----------------------------------------------------------------------------------


def _list(store: Store, arguments: argparse.Namespace) -> int:
    rows = store.jobs()
    if arguments.json:
        print_json(rows)
    for row in [] if arguments.json else rows:
        print(f"{row['id']}  {row['started_wall']}  {row['count']} entries  {row['title']}")
    return 0


def _show(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import log

    if arguments.json:
        print(log.export_json(store, arguments.job))
        return 0
    for line in log.show(store, arguments.job):
        print(line)
    return 0


def _verify(store: Store, arguments: argparse.Namespace) -> int:
    jobs = [arguments.job] if arguments.job else [row["id"] for row in store.jobs()]
    found = {job: _checked(store, job, arguments) for job in jobs}
    if arguments.json:
        print_json(found[arguments.job] if arguments.job else found)
    else:
        for job, each in found.items():
            _tell_checked(each, "" if arguments.job else f"{job}: ")
    return 0 if all(each["good"] for each in found.values()) else 1


def _verify_zip(arguments: argparse.Namespace) -> int:
    from assistant.records import bundle

    store, job = bundle.read(Path(arguments.job))
    with store:
        found = _checked(store, job, arguments) | {"job": job}
    if arguments.json:
        print_json(found)
    else:
        _tell_checked(found, f"{job}: ")
    return 0 if found["good"] else 1


def _checked(store: Store, job: str, arguments: argparse.Namespace) -> dict[str, Any]:
    from assistant.records import signing
    from assistant.records.verify import clock_jumps, verify

    verdict = verify(store, job, arguments.anchor)
    signed = signing.check(store, job)
    found = asdict(verdict) | {"signature": asdict(signed)}
    found["clock_jumps"] = [asdict(jump) for jump in clock_jumps(store, job)]
    wanted = "".join(arguments.signer.split()).lower()
    other = wanted and (signed.state != "good" or "".join(signed.fingerprint.split()) != wanted)
    found["good"] = verdict.ok and signed.state != "bad" and not other
    found["signer_missing"] = bool(other)
    return found


def _tell_checked(found: dict[str, Any], before: str) -> None:
    signed = found["signature"]
    if found["ok"]:
        print(f"{before}good: the chain holds, its head is {found['head_hash']}")
    elif found["first_bad_seq"] is None:
        print(f"{before}NOT GOOD: {found['why']}")
    else:
        print(f"{before}NOT GOOD at entry {found['first_bad_seq']}: {found['why']}")
    name = f"key {signed['fingerprint']}, entries 1 to {signed['count']}"
    if signed["state"] == "none":
        print("  signature: none")
    elif signed["state"] == "good":
        print(f"  signature: good, {name}")
    else:
        print(f"  signature: BAD, {name}: {signed['why']}")
    if found["signer_missing"]:
        print("  signature: NOT by the key that was asked for")
    for jump in found["clock_jumps"]:
        print(f"  clock: {jump['why']}")
    if found["redacted"]:
        print(f"  redacted: {len(found['redacted'])} entries, each named by a redaction entry")


def _sign(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import signing
    from assistant.records.verify import verify

    verdict = verify(store, arguments.job)
    if not verdict.ok:
        raise RecordError(f"job '{arguments.job}' isn't whole: {verdict.why}; nothing was signed")
    key = signing.key_in(_data(arguments))
    told = signing.sign(store, arguments.job, key, Clock().wall())
    name = signing.fingerprint(told["public_key"])
    if arguments.json:
        print_json({**told, "fingerprint": name})
    else:
        print(f"signed: entries 1 to {told['count']}, key {name}")
    return 0


# --- exports and imports -----------------------------------------------------------------------


def _export(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import log

    if arguments.csv:
        # The mark at the start tells spreadsheets that a CSV file is UTF-8.
        return _out(arguments, log.export_csv(store, arguments.job), "utf-8-sig")
    return _out(arguments, log.export_json(store, arguments.job))


def _schema(arguments: argparse.Namespace) -> int:
    from assistant.records import bundle

    return _out(arguments, bundle.schema())


def _ics(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import ics

    text = ics.export_ics(store, arguments.job, days=arguments.days)
    out = arguments.out or Path(f"{arguments.job}.ics")
    write(out, lambda file: file.write(text))
    return 0


def _zip(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import bundle, signing

    store.job(arguments.job)
    if arguments.sign:
        key = signing.key_in(_data(arguments))
        signing.sign(store, arguments.job, key, Clock().wall())
    write(arguments.out, lambda file: bundle.write(store, arguments.job, file))
    return 0


def _import(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import bundle

    job, count = bundle.take_in(store, arguments.file)
    if arguments.json:
        print_json({"job": job, "entries": count})
    elif count:
        print(f"taken in: {job}, {count} entries")
    else:
        print(f"{job} is here already, entry for entry; nothing was changed")
    return 0


def _attach(store: Store, arguments: argparse.Namespace) -> int:
    from assistant.records import attachments

    for path in arguments.file:
        entry = attachments.attach_file(
            store, arguments.job, path, wall=Clock().wall(), step=arguments.step
        )
        print(f"entry {entry.seq}: {entry.body['attachment']['kind']} {path.name}")
    return 0


def _report(store: Store, arguments: argparse.Namespace) -> int:
    """The commissioning record, or the customer's page, as a PDF file."""
    from assistant.finding import searches
    from assistant.plans import plan_if_readable
    from assistant.records.report import commissioning_record, customer_page

    head = store.head(arguments.job)
    named = dict(each.partition("=")[::2] for each in arguments.name)
    plan = plan_if_readable(head)
    if arguments.customer:
        pdf = customer_page(store, arguments.job, plan, paper=arguments.paper)
    else:
        found = searches(store, arguments.job)
        pdf = commissioning_record(
            store, arguments.job, plan, paper=arguments.paper, names=named, faults=found
        )
    kind = "customer" if arguments.customer else "record"
    out = arguments.out or Path(f"{arguments.job}-{kind}.pdf")
    write(out, lambda file: file.write(pdf))
    return 0


# --- backup --------------------------------------------------------------------------------------


def _backup(file: Path, arguments: argparse.Namespace) -> int:
    from assistant.records.backup import back_up

    def tell(done: int, total: int) -> None:
        if not arguments.json and sys.stderr.isatty():
            print(f"\r{100 * done // max(total, 1):3d} %", end="", file=sys.stderr, flush=True)

    made = back_up(file, arguments.file, tell)
    if arguments.json:
        print_json(asdict(made))
    else:
        print(f"{made.path}: {made.jobs} jobs, {made.entries} entries, {made.size} bytes, verified")
        for job, why in made.damaged:
            print(f"  {job} was NOT GOOD in the record already: {why}")
    return 1 if made.damaged else 0


_RUN: dict[str, Run] = {
    "list": _list,
    "show": _show,
    "verify": _verify,
    "sign": _sign,
    "export": _export,
    "ics": _ics,
    "zip": _zip,
    "import": _import,
    "attach": _attach,
    "report": _report,
    "history": cli_office.history,
    "search": cli_office.search,
    "trend": cli_office.trend,
    "due": cli_office.due,
    "privacy": cli_office.privacy,
    "redact": cli_office.redact,
    "retention": cli_office.retention,
}


# --- the command line ------------------------------------------------------------------------


def add_commands(parser: argparse.ArgumentParser) -> None:
    """The sub-commands of `record`."""
    commands = parser.add_subparsers(dest="what", required=True, metavar="WHAT")

    def command(name: str, text: str, *positional: str, data: bool = True) -> Any:
        found = commands.add_parser(name, help=text, description=text)
        for each in positional:
            found.add_argument(each)
        if data:  # SUPPRESS: what was given before the sub-command stays
            found.add_argument(
                "--data", type=Path, default=argparse.SUPPRESS, help="folder for records"
            )
            found.add_argument("--json", action="store_true", help="print data as JSON")
        return found

    def out(found: Any) -> None:
        found.add_argument("--out", type=Path, help="file to write")

    def door(found: Any) -> None:
        found.add_argument("--site", default="", help="where doors of several sites share a name")

    def who(found: Any) -> None:
        found.add_argument("of", choices=("words", "clips", "photos", "everything"))
        found.add_argument("--who", required=True, help="who decides it; a role is better")
        found.add_argument("--yes", action="store_true", help="do it: it can't be undone")

    command("list", "all jobs on record, the latest first")
    command("show", "a job's log, entry by entry", "job")
    verify = command("verify", "does a log (all, without JOB) or a zip hold?")
    verify.add_argument("job", nargs="?", metavar="JOB|FILE.zip")
    verify.add_argument("--anchor", default="", help="chain head from a printed report")
    verify.add_argument("--signer", default="", help="fingerprint of the key that must have signed")
    command("sign", "sign a job's chain with this machine's key, made on first use", "job")
    export = command("export", "a job's log as JSON, or its readings as CSV", "job")
    export.add_argument("--csv", action="store_true", help="the readings as CSV")
    out(export)
    schema = command("schema", "the JSON Schema of the exports", data=False)
    out(schema)
    ics = command("ics", "the next service as a calendar file", "job")
    ics.add_argument("--days", type=_days, default=365, help="interval where the job says none")
    out(ics)
    packed = command("zip", "everything of a job in one file", "job")
    packed.add_argument("out", type=Path, metavar="OUT.zip")
    packed.add_argument("--sign", action="store_true", help="sign it first")
    taken = command("import", "take a job in from a zip; never overwrites")
    taken.add_argument("file", type=Path, metavar="FILE.zip")
    attach = command("attach", "keep photos or sound clips with a job", "job")
    attach.add_argument("file", type=Path, nargs="+")
    attach.add_argument("--step", default="", help="id of the step they belong to")
    report = command("report", "the commissioning record as a PDF", "job")
    out(report)
    report.add_argument("--paper", choices=("A4", "Letter"), default="A4")
    report.add_argument("--customer", action="store_true", help="the customer's page")
    report.add_argument(
        "--name", action="append", default=[], metavar="ROLE=NAME",
        help="a name to print, 'lead=...'; none is kept",
    )  # fmt: skip
    door(command("history", "all jobs of a door, oldest first", "door"))
    command("search", "entries in which words stand", "words")
    trend = command("trend", "a reading of a door over the years", "door", "reading")
    trend.add_argument("--svg", type=Path, help="file for a plot")
    door(trend)
    due = command("due", "which doors are due, the most urgent first")
    due.add_argument("--within", type=int, metavar="DAYS", help="only those due in so many days")
    due.add_argument("--days", type=_days, default=365, help="interval where no job says another")
    command("privacy", "what a job keeps of people", "job")
    redact = command("redact", "take something out of a job for good; the chain holds", "job")
    who(redact)
    redact.add_argument("--why", required=True, help="the reason, kept for ever")
    redact.add_argument("--entry", type=int, action="append", help="only from this entry")
    kept = command("retention", "take something out of all jobs older than so many years")
    who(kept)
    kept.add_argument("--years", type=_days, required=True)
    backup = command("backup", "a verified copy of the whole record, also while a job runs")
    backup.add_argument("file", type=Path)


def _days(text: str) -> int:
    if not text.isdecimal() or not 1 <= int(text) <= 36_500:
        raise argparse.ArgumentTypeError(f"'{text}' is no whole number from 1 to 36500")
    return int(text)
