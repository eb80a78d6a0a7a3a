"""How the log's words and numbers are written in print."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from assistant.errors import UnitError
from assistant.quantity import unit

# Print has the signs that speech and keyboards lack (IEC 80000, ISO 80000-1).
SIGNS = {
    "ohm": "Ω",
    "mohm": "mΩ",
    "kohm": "kΩ",
    "Mohm": "MΩ",
    "Gohm": "GΩ",
    "degC": "°C",
    "degF": "°F",
    "mm2": "mm²",
    "uH": "µH",
    "uF": "µF",
    "N.m": "N·m",
    "lbf.in": "lbf·in",
}
_SYMBOL = re.compile(rf"(?<![\w.])({'|'.join(map(re.escape, SIGNS))})(?!\w)")
STATES = {
    "unknown": "unknown (taken as live)",
    "isolated": "isolated",
    "locked": "locked",
    "proven-dead": "proven dead",
    "released": "released",
    "energised": "energised",
}
DOORS = {
    "high-speed-roll-up": "high-speed roll-up door",
    "sectional": "sectional door",
    "rolling-shutter": "rolling shutter",
    "sliding-gate": "sliding gate",
}
# `effects.Voided.cause`
CAUSES = {
    "lock-off": "somebody said that a lock is off",
    "power-on": "somebody said that the power is on",
    "person-joined": "a person joined without a lock",
    "crew-changed": "a new crew took over",
    "stop-work": "stop work was called",
    "emergency": "emergency was called",
    "restart": "the program was started again",
    "interruption": "the work was interrupted longer than the job allows",
    "voltage-found": "voltage was found where there must be none",
    "tester-failed": "the tester failed its second proof",
    "prove-again": "the crew asked to prove again",
}
# `effects.Refused.missing`, before the colon
MISSING = {
    "state": "energy state {}",
    "isolated": "the isolation",
    "lock": "the lock of the {}",
    "try-start": "the try-start",
    "tester-before": "the tester's first proof",
    "tester-after": "the tester's second proof",
    "dead": "the dead readings {}",
    "wait": "{} s of waiting time",
    "stored": "the stored-energy reading",
    "challenge-wrong": "the digits just spoken (others were said)",
    "challenge-old": "fresh digits (old ones were said)",
    "challenge-missing": "the digits just spoken",
    "affirm-needed": "AFFIRM",
    "restrained": "the restraint of {}",
    "grounds": "the temporary grounds",
    "grounds-on": "the temporary grounds taken off",
    "answer-from": "an answer of the {}",
    "affirm-from": "AFFIRM of the {}",
    "all-clear": "all clear of the {}",
    "device-lost": "the device of the {}",
    "alone": "a second person",
    "locks-on": "the lock of the {} taken off",
    "unsettled": "step “{}”",
    "failed": "reading {} within limits",
    "same-tag": "a tag that no other lock has",
    "wrong-tag": "the tag of the own lock",
    "lead-only": "the lead",
}
OPTIONS = {
    "drive": "drive",
    "brake": "brake",
    "safety-edge": "safety edge",
    "light-beam": "light beam",
    "second-light-beam": "second light beam",
    "loop": "induction loop",
    "motion-sensor": "motion sensor",
    "emergency-stop": "emergency stop",
    "push-button": "push button",
    "pull-cord": "pull cord",
    "auto-close": "automatic closing",
    "beam-disable": "beam disabled near the floor",
    "slack-cable": "slack-cable switch",
    "battery-backup": "battery back-up",
    "anti-roll-back": "anti-roll-back switch",
    "wireless-edge": "wireless edge",
    "four-wire-beam": "four-wire beam",
    "traffic-light": "traffic light",
    "fire-contact": "fire contact",
}


def spaced(name: Any) -> str:
    """ "high-speed-roll-up" as words."""
    return str(name or "").replace("-", " ").replace("_", " ")


def plain(text: str) -> str:
    """One line: runs of white space become a space."""
    return " ".join(text.split())


def first_up(text: str) -> str:
    """With a capital in front."""
    return text[:1].upper() + text[1:]


def sign(name: str) -> str:
    """Printed sign of a unit's name or symbol."""
    try:
        symbol = unit(name).symbol if name else ""
    except UnitError:  # a log of a newer version may know more
        symbol = name
    return SIGNS.get(symbol, symbol)


def signed(text: str) -> str:
    """A calculator's line with printed signs in place of its symbols and "x"."""
    return _SYMBOL.sub(lambda found: SIGNS[found[0]], text).replace(" x ", " × ")


def number(value: Any, significant: int = 0) -> str:
    """A number as it was said, or to `significant` digits; "" for None."""
    if value in (None, ""):
        return ""
    try:
        exact = Decimal(str(value))
    except InvalidOperation:
        return str(value)
    if not exact.is_finite():
        return str(value)
    if significant and not exact:
        return "0"
    if significant:
        exact = round(exact, significant - 1 - exact.adjusted())
        text = format(exact, "f")
        text = text.rstrip("0").rstrip(".") if "." in text else text
    else:
        text = format(exact, "f") if abs(exact.adjusted()) < 30 else str(exact)
    return text.replace("-", "−")


def quantity(value: Any, name: str, significant: int = 0) -> str:
    """A number with its sign: '24.10 V', '3 %'."""
    return f"{number(value, significant)} {sign(name)}".strip()


def written(text: Any) -> str:
    """A job's own quantity ("2.5 mm2") with printed signs."""
    value, _, name = str(text or "").partition(" ")
    return f"{value} {sign(name)}".strip()


def limits(bounds: Mapping[str, Any] | None) -> str:
    """Limits: '432 V to 528 V', '≤ 5 V', '≥ 1 MΩ', or an en dash where there are none."""
    if not bounds:
        return "–"
    low, high = (number(bounds.get(edge), 4) for edge in ("at_least", "at_most"))
    symbol = sign(str(bounds.get("unit") or ""))
    if low and high:
        return f"{low} to {high} {symbol}".strip()
    return (f"≥ {low} {symbol}" if low else f"≤ {high} {symbol}" if high else "–").strip()


def missing(kind: str, what: str) -> str:
    """A refusal's code in words."""
    return MISSING.get(kind, spaced(kind)).format(what).strip()


def when(wall: str) -> datetime | None:
    """Wall time of an entry, None if it can't be read."""
    try:
        return datetime.fromisoformat(wall)
    except ValueError:
        return None


def day_and_time(wall: str) -> str:
    """'2026-03-02 08:04 UTC+01:00', or the text as it is."""
    found = when(wall)
    return found.strftime("%Y-%m-%d %H:%M %Z").strip() if found else wall


def day(wall: str) -> str:
    """'2026-03-02'."""
    return wall[:10]


def clock(wall: str) -> str:
    """'08:04:12'."""
    found = when(wall)
    return found.strftime("%H:%M:%S") if found else wall
