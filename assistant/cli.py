"""The command `thirdhand`: builds the parts and hands them over.

Exit status: 0 good, 1 found a fault, 2 bad use.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import shutil
import socket
import sys
import tempfile
import webbrowser
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

from assistant import __version__, cli_fault, cli_record, resources
from assistant.errors import FileError, ModelMissing, RangeError, ThirdhandError, UnitError

PORT = 8765
CAUTION = (
    "Thirdhand makes nothing safe. Local codes, the maker's instructions and your employer's "
    "energy-control procedure come first; qualified persons only."
)


def main(argv: list[str] | None = None) -> int:
    """Run a command line; returns the exit status."""
    arguments = _parser().parse_args(argv)
    run: Callable[[argparse.Namespace], int] = arguments.run
    try:
        return run(arguments)
    except (FileError, RangeError, UnitError) as problem:
        return _fault(arguments, problem, 2)
    except ThirdhandError as problem:
        return _fault(arguments, problem, 1)
    except BrokenPipeError:  # the reader had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        print("\nstopped", file=sys.stderr)
        return 130


def _fault(arguments: argparse.Namespace, problem: Exception, status: int) -> int:
    if getattr(arguments, "json", False):
        _print_json({"error": str(problem)})
    print(f"thirdhand: {problem}", file=sys.stderr)
    return status


def _print_json(data: Any) -> None:
    print(json.dumps(data, ensure_ascii=False, indent=2, default=str), flush=True)


# --- serve and demo ----------------------------------------------------------------------------


def _parts(arguments: argparse.Namespace, data: Path) -> dict[str, Any]:
    """The ear and the mouth, or a plain word on what goes on without them."""
    from assistant.speech import engines, workers
    from assistant.speech.espeak_voice import EspeakVoice

    parts: dict[str, Any] = {"recogniser": None, "voice": None}
    if arguments.engine != "none":
        try:
            make = partial(engines.load, arguments.engine, **_model_places())
            parts["recogniser"] = workers.Workers(make, workers.count())
        except ModelMissing as problem:
            if arguments.engine != "auto":
                raise
            print(f"No recogniser: {problem}\nAnswers by touch only.", file=sys.stderr)
    if not getattr(arguments, "no_voice", False):
        try:
            parts["voice"] = EspeakVoice(data / "speech")
            parts["voice"].speak("Radio check.")
        except ModelMissing as problem:
            print(f"No voice: {problem}\nThe browser's own voice speaks.", file=sys.stderr)
            parts["voice"] = None
    return parts


def _model_places() -> dict[str, Path]:
    """Where Vosk models may lie: what comes with the program, and the person's own folder."""
    return {"models_dir": resources.models_dirs()[-1], "data_dir": resources.data_dir()}


def _serve(arguments: argparse.Namespace) -> int:
    from assistant.job import Jobs

    data = arguments.data or resources.data_dir()
    jobs = Jobs(data, **_parts(arguments, data))
    job_id = None
    if arguments.job:
        known = {row["id"] for row in jobs.list()}
        session = jobs.open(arguments.job) if arguments.job in known else jobs.new(arguments.job)
        job_id = session.job_id
    if arguments.lan:
        return _run_lan(jobs, job_id, data, arguments.port)
    return _run_server(jobs, job_id, arguments.port, browse=False)


def _run_lan(jobs: Any, job_id: str | None, data: Path, port: int) -> int:
    from assistant.server.lan import Lan

    def say(text: str) -> None:
        print(text, flush=True)

    landing_port = port + 1 if 0 < port < 65_535 else 0
    with Lan(jobs, job_id, data / "lan", port=port, landing_port=landing_port, say=say) as served:
        heard = jobs.recogniser.model if jobs.recogniser else "touch only"
        say(f"{CAUTION}\nHearing: {heard}\n\n{served.invitation()}\n(Ctrl-C ends)")
        served.wait()
    return 0


def _demo(arguments: argparse.Namespace) -> int:
    from assistant.job import Jobs

    data = arguments.data or resources.data_dir() / "demo"
    jobs = Jobs(data, **_parts(arguments, data))
    session = jobs.new(arguments.job, *([] if arguments.whole else ["power-entry"]))
    print(f"Pinewharf Cold Store, door {session.plan.job.door}: {session.plan.pack.title}")
    print(CAUTION)
    port = arguments.port
    if port is None:
        port = PORT if _is_free(PORT) else 0
    return _run_server(jobs, session.job_id, port, browse=not arguments.no_browser)


def _is_free(port: int) -> bool:
    with socket.socket() as tried:
        return tried.connect_ex(("127.0.0.1", port)) != 0


def _run_server(jobs: Any, job_id: str | None, port: int, *, browse: bool) -> int:
    from assistant.server.app import create_app
    from assistant.server.serve import listen

    app = create_app(jobs, default_job=job_id)
    with listen(app, "127.0.0.1", port) as server:
        address = f"http://127.0.0.1:{server.port}/"
        heard = jobs.recogniser.model if jobs.recogniser else "touch only"
        print(f"Hearing: {heard}\nOpen {address} (Ctrl-C ends)", flush=True)
        if browse and not _opens(address):
            print(
                "No browser was found on this machine. Open the address above in one, or run\n"
                "    thirdhand rehearse --demo\n"
                "to hear the same job with spoken answers, without browser or microphone.",
                flush=True,
            )
        server.wait()
    return 0


def _opens(address: str) -> bool:
    """True if a browser took the address; a text browser would take over the terminal."""
    graphic = sys.platform in ("win32", "darwin") or bool(
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    )
    return graphic and webbrowser.open(address)


# --- rehearse ----------------------------------------------------------------------------------


def _rehearse(arguments: argparse.Namespace) -> int:
    from assistant import rehearse
    from assistant.clock import SetClock
    from assistant.job import Jobs

    spoken = bool(arguments.demo or arguments.audio)
    if not (arguments.script or spoken):
        raise FileError("rehearse", None, "needs --script FILE, --audio MANIFEST or --demo")
    with tempfile.TemporaryDirectory() as scratch:
        data = arguments.data or Path(scratch)
        arguments.no_voice = True
        parts = _parts(arguments, data) if spoken else {}
        clock = SetClock()
        # Not secret in a rehearsal, so the same run comes out the same each time.
        digits = itertools.cycle(("47", "62", "76", "24"))
        jobs = Jobs(data, clock=clock, challenge=lambda: next(digits), **parts)
        packs = arguments.packs or (["power-entry"] if arguments.demo else [])
        session = jobs.new(arguments.job, *packs)
        if arguments.audio:
            played = rehearse.play_files(session, clock, arguments.audio)
        elif arguments.script:
            text = _text(arguments.script)
            lines = rehearse.read_script(text, str(arguments.script))
            played = rehearse.play_text(session, clock, lines)
        else:
            played = _spoken_demo(session, clock, arguments)
        return _show_rehearsal(arguments, jobs, session, played)


def _spoken_demo(session: Any, clock: Any, arguments: argparse.Namespace) -> Iterator[Any]:
    """The demo job's script, answered by eSpeak voices with noise mixed in."""
    from assistant import rehearse

    file = resources.steps_dir() / "jobs" / f"{session.plan.job.job}.rehearsal.txt"
    lines = rehearse.read_script(_text(file), str(file))
    return rehearse.play_spoken(session, clock, lines, rehearse.Speakers(arguments.snr))


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except OSError as problem:
        raise FileError(str(path), None, f"can't be read: {problem.strerror}") from problem


def _show_rehearsal(
    arguments: argparse.Namespace, jobs: Any, session: Any, played: Iterable[Any]
) -> int:
    from assistant.records.log import verify
    from assistant.rehearse import as_dict, as_lines

    rows, first, lines = [], 0, set()
    if not arguments.json:
        print(f"{session.plan.job.site}, door {session.plan.job.door}: {session.plan.pack.title}")
        print(f"{len(session.plan.steps)} steps. {CAUTION}\n")
        for reply in session.prompt().replies:
            print(f"        replied     {reply}")
    for each in played:
        rows.append(as_dict(each))
        if each.line.number not in lines and not each.line.wait_s:
            lines.add(each.line.number)
            first += each.right
        if not arguments.json:
            print("\n".join(as_lines(each)), flush=True)
    verdict = verify(jobs.store, session.job_id)
    view = session.view()
    if arguments.json:
        _print_json(
            {
                "job": session.job_id,
                "turns": rows,
                "lines": len(lines),
                "understood_first_time": first,
                "finished": view["finished"],
                "readings": view["readings"],
                "open_points": view["open_points"],
                "record": {"good": verdict.ok, "head": verdict.head_hash},
            }
        )
    else:
        print(f"\nRecord of {session.job_id}")
        for row in view["readings"]:
            limits = f"  ({row['limits']})" if row["limits"] else ""
            print(f"  {row['name']:24} {row['written']:>12}  {row['verdict']}{limits}")
        for point in view["open_points"]:
            print(f"  open: {point['step']}: {point['cause']} {point['reason']}")
        print(f"{len(lines)} lines, {first} understood the first time.")
        print("Finished." if view["finished"] else f"Not finished: at step {view['step']['id']}.")
        print(f"Record {'verified' if verdict.ok else 'NOT VERIFIED: ' + verdict.why}.")
    return 0 if verdict.ok and (view["finished"] or not arguments.demo) else 1


# --- hear, check, calc ----------------------------------------------------------------------


def _hear(arguments: argparse.Namespace) -> int:
    from assistant.speech import engines, hear

    recogniser = engines.load(arguments.engine, **_model_places())
    result = hear.hear(
        arguments.manifest,
        arguments.phrases,
        recogniser,
        noise_dir=arguments.noise,
        snr_db=arguments.snr,
        details=arguments.details,
        normalise=_same_value,
        progress=sys.stderr,
        stride=arguments.stride,
        speakers=arguments.speakers,
    )
    if arguments.json:
        _print_json(result)
    else:
        for name, value in result.items():
            print(f"{name:16} {value}")
    return 0


def _same_value(words: str) -> str:
    """Number words brought to one form, so that "four sixty" counts as "four six zero"."""
    from assistant.dialogue.numbers import parse_value
    from assistant.quantity import spoken_units

    found = parse_value(words, tuple(spoken_units()))
    if len(found) != 1 or found[0].value is None:
        return words
    return f"{found[0].value} {found[0].unit or ''}".strip()


def _check(arguments: argparse.Namespace) -> int:
    from assistant.check import check

    if arguments.table:
        from assistant.phases import table

        print(table())
        return 0
    paths = arguments.path or [resources.steps_dir()]
    checked, faults = check(paths)
    if arguments.json:
        _print_json(
            {"checked": [asdict(c) for c in checked], "faults": [asdict(f) for f in faults]}
        )
    else:
        for each in checked:
            print(f"{each.name}: {each.steps} {each.what}")
            for note in each.notes:
                print(f"    {note}")
        for fault in faults:
            print(fault, file=sys.stderr)
        print(f"{len(faults)} fault{'s' * (len(faults) != 1)}")
    return 1 if faults else 0


def _calc(arguments: argparse.Namespace) -> int:
    from assistant.calc.base import CALCULATORS, calculate
    from assistant.calc.working import shown

    if arguments.list or not arguments.name:
        rows: dict[str, dict[str, Any]] = {
            name: {
                "title": each.title,
                "inputs": {
                    i.name: f"{i.help} [{i.unit or '/'.join(i.choices)}]" for i in each.inputs
                },
            }
            for name, each in sorted(CALCULATORS.items())
        }
        if arguments.json:
            _print_json(rows)
        else:
            for name, row in rows.items():
                print(f"{name}: {row['title']}")
                for key, text in row["inputs"].items():
                    print(f"    {key}: {text}")
        return 0
    given: dict[str, Any] = {}
    for pair in arguments.inputs:
        key, sign, value = pair.partition("=")
        if not sign:
            raise RangeError(f"'{pair}'", "not an input", "written as name=value, 'nominal=480 V'")
        many = tuple(part.strip() for part in value.split(","))
        given[key] = many if len(many) > 1 else value
    result = calculate(arguments.name, given)
    limits = {"at_least": result.at_least, "at_most": result.at_most}
    if arguments.json:
        _print_json(
            {
                "values": {
                    n: {"value": str(q.value), "unit": q.unit} for n, q in result.values.items()
                },
                **{
                    n: {"value": str(q.value), "unit": q.unit} if q else None
                    for n, q in limits.items()
                },
                "words": result.words,
                "working": result.working,
                "source": result.source,
                "kind": result.kind,
                "assumptions": result.assumptions,
                "warnings": result.warnings,
            }
        )
        return 0
    for line in result.working:
        print(line)
    for name, value in limits.items():
        if value:
            print(f"{name.replace('_', ' ')} {shown(value)}")
    for line in (*result.assumptions, *result.warnings):
        print(f"note: {line}")
    print(f"source: {result.source} ({result.kind})")
    return 0


def _ledger(arguments: argparse.Namespace) -> int:
    from assistant.procedure import drawing, energy

    if arguments.json:
        _print_json([asdict(rule) for rule in energy.RULES])
        return 0
    shown = {"table": drawing.table, "drawing": drawing.diagram, "duties": drawing.duties_table}
    print(shown[arguments.what]())
    return 0


def _plan(arguments: argparse.Namespace) -> int:
    """The parts of a job in order and what is left of each, of a job sheet or one on record."""
    from assistant.plans import find_job, on_record, plan_from_files
    from assistant.procedure.load import load_job
    from assistant.procedure.plan import progress
    from assistant.records.store import Store

    file = (arguments.data or resources.data_dir()) / "records.sqlite"
    run = None
    if file.exists():
        with Store.open(file) as store:
            if arguments.job in {row["id"] for row in store.jobs()}:
                plan, run = on_record(store, arguments.job)
    if run is None:
        job = load_job(find_job(arguments.job))
        plan = plan_from_files(arguments.packs or job.packs, job)
    rows = progress(plan, run)
    left = sum(each.minutes_left for each in rows)
    if arguments.json:
        parts = [each.part.model_dump() | {"done": each.done, "steps": each.steps,
                 "minutes_left": round(each.minutes_left, 1)} for each in rows]  # fmt: skip
        _print_json({"job": plan.job.job, "parts": parts, "minutes_left": round(left, 1)})
        return 0
    for each in rows:
        bar = ("#" * round(10 * each.done / each.steps)).ljust(10, ".")
        print(f"{bar} {each.done:>3} of {each.steps:>3}  {each.minutes_left:>4.0f} min  "
              f"{each.part.title}")  # fmt: skip
    print(f"About {left / 60:.1f} hours are left, by our estimate for one door.")
    return 0


# --- models, doctor --------------------------------------------------------------------------


def _models(arguments: argparse.Namespace) -> int:
    from assistant.speech import models

    folder = (arguments.data or resources.data_dir()) / "models"
    if arguments.what == "install":
        name = arguments.name or models.CATALOGUE[0].name
        print(f"installed in {models.install(name, folder)}")
        return 0
    if arguments.what == "list":
        rows = [
            {
                "name": model.name,
                "here": here,
                "detail": f"{model.about}, {model.licence}, {model.size_mb} MB",
            }
            for model, here in models.list_models(folder)
        ]
    else:
        found = models.check_models(**_model_places())
        rows = [{"name": name, "here": good, "detail": detail} for name, good, detail in found]
    if arguments.json:
        _print_json(rows)
    else:
        for row in rows:
            print(f"{row['name']:32} {'here' if row['here'] else 'not here':9} {row['detail']}")
    return 0 if arguments.what == "list" or any(row["here"] for row in rows) else 1


def _doctor(arguments: argparse.Namespace) -> int:
    from assistant.doctor import examine

    rows = list(examine(arguments.data or resources.data_dir()))
    if arguments.json:
        _print_json([asdict(row) for row in rows])
    else:
        width = shutil.get_terminal_size((100, 20)).columns
        for row in rows:
            mark = "good" if row.good else ("MISSING" if row.needed else "none")
            print(f"{mark:8}{row.part:20} {row.detail}"[: max(width, 100)])
    return 1 if any(row.needed and not row.good for row in rows) else 0


# --- the command line ------------------------------------------------------------------------


def _port(text: str) -> int:
    if not text.isdecimal() or not 0 <= int(text) <= 65_535:
        raise argparse.ArgumentTypeError(f"'{text}' is no port; give a number from 0 to 65535")
    return int(text)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="thirdhand", description="A hands-free assistant for the door technician.",
        epilog=CAUTION,
    )  # fmt: skip
    parser.add_argument("--version", action="version", version=f"thirdhand {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    def command(name: str, run: Any, text: str, *, data: bool = True) -> argparse.ArgumentParser:
        found = commands.add_parser(name, help=text, description=text)
        found.set_defaults(run=run)
        if data:
            found.add_argument("--data", type=Path, help="folder for records and cached speech")
        return found

    def engine(found: argparse.ArgumentParser) -> None:
        found.add_argument(
            "--engine", default="auto", choices=("auto", "whisper", "vosk", "sphinx", "none"),
            help="recogniser (auto: Vosk where a model is there, else Whisper)",
        )  # fmt: skip

    def as_json(found: argparse.ArgumentParser) -> None:
        found.add_argument("--json", action="store_true", help="print data as JSON")

    serve = command("serve", _serve, "the server and the page, on this machine or its network")
    serve.add_argument(
        "--lan", action="store_true",
        help="for the phones of the local network, by https and with a code to scan",
    )  # fmt: skip
    serve.add_argument(
        "--port", type=_port, default=PORT,
        help="of the page; with --lan the next one shows new phones how to trust this machine",
    )  # fmt: skip
    serve.add_argument("--job", help="job to open: an id on record, a job file, or a demo job")
    serve.add_argument("--no-voice", action="store_true", help="the browser speaks")
    engine(serve)

    demo = command("demo", _demo, "the Pinewharf job in the browser, ready to talk to")
    demo.add_argument("--job", default="pinewharf-d1", help="pinewharf-d1 or pinewharf-d2")
    demo.add_argument("--whole", action="store_true", help="all parts, not mains and earth alone")
    demo.add_argument("--port", type=_port, help=f"default: {PORT}, or a free one if it is taken")
    demo.add_argument("--no-browser", action="store_true", help="only print the address")
    demo.add_argument("--no-voice", action="store_true", help="the browser speaks")
    engine(demo)

    rehearse = command("rehearse", _rehearse, "play text or sound through the path of a live job")
    rehearse.add_argument("packs", nargs="*", help="packs (default: all of the job's)")
    rehearse.add_argument("--job", default="pinewharf-d1", help="job file or demo job")
    kind = rehearse.add_mutually_exclusive_group()
    kind.add_argument("--script", type=Path, help="text lines, 'lead: four six two volts'")
    kind.add_argument("--audio", type=Path, metavar="MANIFEST", help="sound files, JSON lines")
    kind.add_argument("--demo", action="store_true", help="spoken answers in noise, made here")
    rehearse.add_argument(
        "--snr", type=float, default=30.0, help="speech over noise in the demo [dB]"
    )
    engine(rehearse)
    as_json(rehearse)

    hear = command("hear", _hear, "recognise files against phrases and count", data=False)
    hear.add_argument("manifest", type=Path)
    hear.add_argument("--phrases", type=Path, required=True)
    hear.add_argument("--noise", type=Path, help="folder of noise to mix in")
    hear.add_argument("--snr", type=float, help="speech over noise [dB]")
    hear.add_argument("--details", type=Path, help="file for one line an utterance")
    hear.add_argument("--stride", type=int, default=1, help="take every n-th utterance")
    hear.add_argument(
        "--speakers", choices=("all", "tuned", "aside"), default="all",
        help="aside: the third of the speakers that nothing is tuned on",
    )  # fmt: skip
    engine(hear)
    as_json(hear)

    check = command("check", _check, "find faults in packs, jobs and terminal plans", data=False)
    check.add_argument("path", nargs="*", type=Path, help="default: all that come with it")
    check.add_argument("--table", action="store_true", help="what the packs cover, as a table")
    as_json(check)

    told = "from what a door does to its cause, by typed lines"
    cli_fault.add_arguments(command("fault", cli_fault.fault, told, data=False))

    calc = command("calc", _calc, "a calculator with its working", data=False)
    calc.add_argument("name", nargs="?")
    calc.add_argument("inputs", nargs="*", metavar="key=value", help="'nominal=480 V'")
    calc.add_argument("--list", action="store_true", help="the calculators and their inputs")
    as_json(calc)

    ledger = command("ledger", _ledger, "the moves of the energy ledger", data=False)
    ledger.add_argument(
        "what", nargs="?", default="table", choices=("table", "drawing", "duties"),
        help="moves as a table, as a Mermaid drawing, or which published rule is met where",
    )  # fmt: skip
    as_json(ledger)

    plan = command("plan", _plan, "the parts of a job and what is left of each")
    plan.add_argument("job", help="job file, demo job, or a job on record")
    plan.add_argument("packs", nargs="*", help="packs (default: all of the job's)")
    as_json(plan)

    cli_record.add_commands(command("record", cli_record.record, "the log and what comes of it"))

    models = command("models", _models, "speech models: what is here, what can be had")
    models.add_argument("what", choices=("list", "install", "check"))
    models.add_argument("name", nargs="?")
    as_json(models)

    doctor = command("doctor", _doctor, "is everything here that a job needs?")
    as_json(doctor)
    return parser


if __name__ == "__main__":
    sys.exit(main())
