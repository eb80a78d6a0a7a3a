"""The energy ledger: what is known of the hazardous energy at the door. Unknown is live.

A pure, listable table: `RULES` names every move, what it needs and the published rule behind
it. A move without a rule is a `Denied` that says what is missing. The ledger never infers that
power is off: every move is something a person said and affirmed.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from assistant.procedure.model import EnergyState

# Proof states in rising order; a step that needs one of them accepts any later one.
DEAD_SIDE: tuple[EnergyState, ...] = ("isolated", "locked", "proven-dead")


@dataclass(frozen=True)
class Ledger:
    """What is known. `people`: who is on the job; `pairs`: points to prove dead; `hazards`:
    stored mechanical energy to be held.

    locks: (person, tag) of every lock that is on. releasing: the work is over and locks come
    off. was_live: last heard of as closed and live (released, or found in service). induced: the
    job expects induced or back-fed voltage; left: a few volts were left at a pair. Either asks for
    grounds, temporary protective ones, and these stay on until they are said to be off, whatever
    becomes of the proof. times in [s].
    """

    people: tuple[str, ...]
    pairs: tuple[str, ...]
    hazards: tuple[str, ...] = ()
    restrained: frozenset[str] = field(default_factory=frozenset)
    stored: bool = True  # a drive's DC bus must be waited for and measured
    wait_s: float = 300.0
    state: EnergyState = "unknown"
    locks: tuple[tuple[str, str], ...] = ()
    tried: bool = False
    tester_before: bool = False
    dead: frozenset[str] = field(default_factory=frozenset)
    waited: bool = False
    bus_dead: bool = False
    tester_after: bool = False
    isolated_at_s: float | None = None
    releasing: bool = False
    was_live: bool = False
    induced: bool = False
    left: bool = False
    grounds: bool = False

    def lock_of(self, person: str) -> str | None:
        """The tag on a person's lock, or None."""
        return dict(self.locks).get(person)

    def next_without_lock(self) -> str | None:
        """The first person on the job whose lock isn't on."""
        return next((p for p in self.people if self.lock_of(p) is None), None)

    def next_with_lock(self) -> str | None:
        """The first person whose lock is still on."""
        return next((p for p in self.people if self.lock_of(p) is not None), None)

    def wait_left_s(self, at_s: float) -> float:
        """Waiting time for stored energy that is left. [s]"""
        if not self.stored:
            return 0.0
        if self.isolated_at_s is None:
            return self.wait_s
        return max(0.0, self.isolated_at_s + self.wait_s - at_s)


@dataclass(frozen=True)
class Denied:
    """A move that may not be made; `missing` are the codes of `effects.Refused`."""

    missing: tuple[str, ...]


@dataclass(frozen=True)
class Rule:
    """One row of the table."""

    move: str
    from_states: tuple[EnergyState, ...]
    to: EnergyState | None  # None: the state stays
    needs: str
    source: str


ANY: tuple[EnergyState, ...] = (
    "unknown",
    "isolated",
    "locked",
    "proven-dead",
    "released",
    "energised",
)

RULES: tuple[Rule, ...] = (
    Rule("disconnect-off", ANY, "isolated", "", "29 CFR 1910.147(d)(3); EN 50110-1 rule 1"),
    Rule("lock", ("isolated", "locked"), None, "own tag", "29 CFR 1910.147(d)(4), (f)(3)(ii)(D)"),
    Rule(
        "try-start",
        ("isolated", "locked"),
        "locked",
        "a lock of every person",
        "29 CFR 1910.333(b)(2)(iv)(A)",
    ),
    Rule(
        "restrained",
        ("isolated", "locked"),
        None,
        "",
        "29 CFR 1910.147(d)(5)(i); 1910.333(b)(2)(ii)(D)",
    ),
    Rule("tester-before", ("locked",), None, "", "NFPA 70E 120.5; EN 50110-1 rule 3"),
    Rule(
        "grounds-on",
        ("locked",),
        None,
        "tester-before",
        "NFPA 70E 120.5; EN 50110-1 rule 4",
    ),
    Rule("source-found", ("locked",), None, "tester-before", "NFPA 70E 120.5"),
    Rule("dead", ("locked",), None, "tester-before", "29 CFR 1910.333(b)(2)(iv)(B); NFPA 70E"),
    Rule("stored-wait", ("locked",), None, "waiting time over", "29 CFR 1910.147(d)(5)"),
    Rule("stored", ("locked",), None, "stored-wait, tester-before", "29 CFR 1910.333(b)(2)(ii)(C)"),
    Rule("tester-after", ("locked",), None, "every pair dead, bus dead", "NFPA 70E 120.5"),
    Rule(
        "lockout-confirmed",
        ("locked",),
        "proven-dead",
        "all locks, try-start, hazards held, tester before and after, all pairs, bus; grounds, "
        "if they are due",
        "29 CFR 1910.147(d)(6)",
    ),
    Rule("grounds-off", ("proven-dead",), None, "", "NFPA 70E 120.5; EN 50110-1"),
    Rule(
        "work-over",
        ("proven-dead", "isolated"),
        "isolated",
        "the release has come to the locks",
        "29 CFR 1910.147(e)(1), (e)(3)",
    ),
    Rule("lock-off", ("proven-dead", "isolated"), "isolated", "own tag", "29 CFR 1910.147(e)(3)"),
    Rule(
        "clear-to-energise",
        ("isolated", "unknown"),
        "released",
        "every lock and ground off; from unknown only after an earlier release",
        "29 CFR 1910.147(e)(1), (e)(2)",
    ),
    Rule("power-on", ("released",), "energised", "", "29 CFR 1910.333(b)(2)(v)"),
    Rule("void", ANY, "unknown", "", "29 CFR 1910.147(d)(5)(ii), (f)(4)"),
)
LAST = "lockout-confirmed"
RULE: dict[str, Rule] = {rule.move: rule for rule in RULES}


def start(
    people: tuple[str, ...],
    pairs: tuple[str, ...],
    stored: bool,
    wait_s: float,
    hazards: tuple[str, ...] = (),
    *,
    in_service: bool = False,
    induced: bool = False,
) -> Ledger:
    """A ledger that knows nothing yet.

    in_service: the panel is found closed and live. induced: grounds are fitted in any case.
    """
    return Ledger(
        people=people,
        pairs=pairs,
        hazards=hazards,
        stored=stored,
        wait_s=wait_s,
        was_live=in_service,
        induced=induced,
    )


def satisfies(state: EnergyState, need: EnergyState) -> bool:
    """True if a step that needs `need` may be entered in `state`."""
    if need in DEAD_SIDE and state in DEAD_SIDE:
        return DEAD_SIDE.index(state) >= DEAD_SIDE.index(need)
    return state == need


def missing_for(ledger: Ledger, move: str, at_s: float, tag: str = "") -> tuple[str, ...]:
    """Codes of what `move` lacks now; () if it may be made."""
    rule = RULE[move]
    unproven = _unproven(ledger, move, at_s, tag)
    if ledger.state in rule.from_states:
        return unproven
    if ledger.state == "unknown" and rule.move != "power-on":
        return ("state:isolated", *unproven)  # what comes first is told first
    return unproven or (f"state:{_first_needed(rule)}",)


def _first_needed(rule: Rule) -> EnergyState:
    return next((s for s in rule.from_states if s != "unknown"), "unknown")


def _unproven(ledger: Ledger, move: str, at_s: float, tag: str = "") -> tuple[str, ...]:
    missing: list[str] = []
    locks = [f"lock:{p}" for p in ledger.people if ledger.lock_of(p) is None]
    # "Seven" and "zero seven" may be two ways to read one tag: two people need two.
    if move == "lock" and tag and tag.lstrip("0") in [on.lstrip("0") for _, on in ledger.locks]:
        missing.append("same-tag")
    if move in ("try-start", "lockout-confirmed"):
        missing += locks
    if move == "lockout-confirmed" and not ledger.tried:
        missing.append("try-start")
    if move == "lockout-confirmed":
        missing += [
            f"restrained:{each}" for each in ledger.hazards if each not in ledger.restrained
        ]
    if move in ("grounds-on", "source-found", "dead", "stored", "tester-after", LAST):
        missing += [] if ledger.tester_before else ["tester-before"]
    if move in ("tester-after", "lockout-confirmed"):
        missing += [f"dead:{pair}" for pair in ledger.pairs if pair not in ledger.dead]
    if ledger.stored and move in ("stored-wait", "stored", "tester-after", "lockout-confirmed"):
        left = ledger.wait_left_s(at_s)
        if left > 0:
            missing.append(f"wait:{left:.0f}")
        elif move != "stored-wait" and not ledger.waited:
            missing.append("wait:0")
        if move in ("tester-after", "lockout-confirmed") and not ledger.bus_dead:
            missing.append("stored")
    if move == "lockout-confirmed" and not ledger.tester_after:
        missing.append("tester-after")
    if move == "lockout-confirmed" and (ledger.induced or ledger.left) and not ledger.grounds:
        missing.append("grounds")
    if move == "source-found" and ledger.induced:
        missing.append("grounds")  # the job expects the voltage, wherever it comes from
    if move == "clear-to-energise" and ledger.grounds:
        missing.append("grounds-on")  # power on grounds is a short circuit
    if move in ("work-over", "lock-off") and ledger.state == "isolated" and not ledger.releasing:
        missing.append("state:proven-dead")
    if move == "lock-off" and tag and tag not in [on for _, on in ledger.locks]:
        missing.append("wrong-tag")
    if move == "clear-to-energise":
        missing += [f"locks-on:{person}" for person, _ in ledger.locks]
        if ledger.state == "isolated" and not ledger.releasing:
            missing.append("state:proven-dead")
        if ledger.state == "unknown" and not ledger.was_live:
            missing.append("state:proven-dead")
    return tuple(missing)


def move(
    ledger: Ledger, name: str, at_s: float, *, person: str = "", tag: str = "", pair: str = ""
) -> Ledger | Denied:
    """The ledger after a move, or what it lacks. Void is always possible: use `void`."""
    missing = missing_for(ledger, name, at_s, tag)
    if missing:
        return Denied(missing)
    to = RULE[name].to or ledger.state
    if name == "disconnect-off":
        fresh = _without_proof(replace(ledger, locks=(), releasing=False, was_live=False))
        return replace(fresh, state="isolated", isolated_at_s=at_s)
    if name == "lock":
        others = tuple(lock for lock in ledger.locks if lock[0] != person)
        return replace(ledger, locks=(*others, (person, tag)))
    if name == "work-over":
        dropped = replace(_without_proof(ledger), releasing=True)
        return replace(dropped, state="isolated", isolated_at_s=ledger.isolated_at_s)
    if name == "lock-off":
        if (person, tag) not in ledger.locks:
            return Denied(("wrong-tag",))
        left = tuple(lock for lock in ledger.locks if lock != (person, tag))
        dropped = replace(_without_proof(ledger), locks=left, releasing=True)
        return replace(dropped, state="isolated", isolated_at_s=ledger.isolated_at_s)
    changes: dict[str, dict[str, Any]] = {
        "try-start": {"tried": True},
        "tester-before": {"tester_before": True, "tester_after": False},
        "dead": {"dead": ledger.dead | {pair}, "tester_after": False},
        "restrained": {"restrained": ledger.restrained | {pair}},
        "grounds-on": {"grounds": True},
        "source-found": {"left": False},
        "grounds-off": {"grounds": False, "left": False},
        "stored-wait": {"waited": True},
        "stored": {"bus_dead": True, "tester_after": False},
        "tester-after": {"tester_after": True},
        "lockout-confirmed": {},
        "clear-to-energise": {"releasing": False, "was_live": True},
        "power-on": {"was_live": True},
    }
    return replace(ledger, state=to, **changes[name])


def _without_proof(ledger: Ledger) -> Ledger:
    return replace(
        ledger,
        tried=False,
        tester_before=False,
        dead=frozenset(),
        restrained=frozenset(),
        waited=False,
        bus_dead=False,
        tester_after=False,
        isolated_at_s=None,
    )


def void(ledger: Ledger) -> Ledger:
    """The ledger when nothing is known any more. Locks are forgotten: each is proven anew."""
    live = ledger.state in ("released", "energised") or (
        ledger.state == "unknown" and ledger.was_live
    )
    dropped = replace(_without_proof(ledger), state="unknown", locks=(), releasing=False)
    return replace(dropped, was_live=live)
