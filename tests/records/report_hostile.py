"""A log with the worst that can stand in one: written through the store, as a damaged or foreign
program might, and as people do."""

from __future__ import annotations

import io
import random
from typing import Any

from PIL import Image

from assistant.clock import SetClock
from assistant.records.store import Store

JOB = "hostile"
LONG = "the gland at the top of the panel is loose and somebody has to look at it again " * 40
DEVICE = "Limit-switch-" + "x" * 287
RIGHT_TO_LEFT = "קו ראשון של המתח ثم الخط الثاني 480 V"
EMOJI = "done 👍🏽 🚪 ⚠️ 漢字 ok"
CONTROLS = (
    "bell\a null\0 escape\x1b[31m tab\t vertical\v override\u202e isolate\u2066 zero\u200bwidth"
)
UNBROKEN = "W" * 900
NAMES = (LONG, DEVICE, RIGHT_TO_LEFT, EMOJI, CONTROLS, UNBROKEN, "\n" * 40, "")

HEAD: dict[str, Any] = {
    "title": UNBROKEN,
    "pack": DEVICE,
    "version": CONTROLS,
    "thirdhand": "0.1.0",
    "texts": {DEVICE: "text", "job.yaml": CONTROLS},
    "job": {
        "job": JOB,
        "site": LONG,
        "door": DEVICE,
        "door_type": RIGHT_TO_LEFT,
        "supply": {"system": DEVICE, "nominal": UNBROKEN, "frequency": EMOJI},
        "options": [*NAMES, "emergency-stop", "safety-edge", "light-beam", "auto-close"],
        "energy_sources": list(NAMES),
        "stored_energy": {"present": True, "wait": LONG},
        "hazards": [{"name": each, "kind": each, "restraint": each} for each in NAMES],
        "people": list(NAMES),
        "instruments": [
            {"id": each, "kind": each, "calibration_due": "2020-01-01"} for each in NAMES
        ],
        "terminals": [
            {"device": each, "conductor": each, "terminal": each, "torque": each, "core": each}
            for each in NAMES
        ],
    },
}


def fill(store: Store) -> None:
    """Write the job: every text of `NAMES` in every place that holds one."""
    clock = SetClock()
    store.create_job(JOB, HEAD, clock.wall())

    def put(kind: str, *effects: dict[str, Any], heard: str = "") -> None:
        clock.pass_s(3.0)
        event = {
            "input": {"kind": kind}, "at_s": clock.mono_s(), "who": DEVICE, "device": DEVICE,
            "via": "voice", "heard": heard, "confidence": random.Random(heard).random(),
        }  # fmt: skip
        body = {"event": event, "effects": list(effects), "energy": "unknown"}
        store.append(JOB, body, wall=clock.wall(), mono_s=clock.mono_s())

    for place, text in enumerate(NAMES):
        value = ("1e300", "-0", "NaN", "12.5", "0." + "3" * 200, None, "", "7")[place]
        bounds = {"at_least": "-1e-9", "at_most": value, "unit": "parsec", "source": text,
                  "working": [text, UNBROKEN], "warnings": ["unverified " + text]}  # fmt: skip
        put(
            "affirm",
            {"kind": "judged", "step": text, "name": f"reading-{place}-{text}", "value": value,
             "unit": text, "special": text, "bounds": bounds, "working": [text],
             "verdict": ("pass", "fail", "none", text)[place % 4], "derived": place % 2 == 0,
             "warnings": [text], "instrument": text},
            {"kind": "taken", "step": "lock", "tag": text, "person": text},
            {"kind": "open-point", "step": text + str(place), "cause": "unable", "reason": text},
            {"kind": "refused", "step": text, "missing": [text, "dead:" + text, "wait:3"]},
            {"kind": "voided", "cause": text, "was": text},
            {"kind": "energy-now", "state": text},
            {"kind": "held", "cause": text, "who": text},
            {"kind": "noted", "text": text},
            {"kind": text},
            heard=text,
        )  # fmt: skip
    put("note", {"kind": "noted", "text": None}, {"kind": "judged"}, {"kind": "taken"})


def photo(seed: int, size: tuple[int, int] = (640, 480)) -> bytes:
    """A JPEG that doesn't compress to nothing."""
    noise = random.Random(seed).randbytes(size[0] * size[1] // 64 * 3)
    small = Image.frombytes("RGB", (size[0] // 8, size[1] // 8), noise)
    out = io.BytesIO()
    small.resize(size, Image.Resampling.BICUBIC).save(out, "JPEG", quality=85)
    return out.getvalue()
