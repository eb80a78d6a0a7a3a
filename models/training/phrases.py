"""What is said in training: the project's own phrases, numbers, and speech that is neither.

A line is (words as spoken, words in figures, kind). Kinds: command, value, digits, other.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from pathlib import Path

from assistant.dialogue import grammar
from assistant.dialogue.phrases import template
from assistant.plans import plan_from_files
from assistant.procedure.energy import Ledger
from assistant.procedure.load import load_job
from assistant.procedure.run import Run
from assistant.quantity import spoken_units
from assistant.speech.templates import DIGITS, TEENS, TENS, canonical

FIGURES = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
TEN = ["yes", "no", "up", "down", "left", "right", "on", "off", "stop", "go"]
#: What "un" and "not" may stand before.
DENIED = {"confirmed", "clear", "locked", "blocked", "tagged", "safe"}
#: The barest answers, said at most steps.
BARE = ["done", "affirm", "affirmative", "negative", "yes", "no", "that is correct"]
#: Talk at the door, out of the assistant's own words: "note the cover is bent" is for it, "no, the
#: cover is bent" isn't. What judges (bench_false_accepts.py) is none of these sentences.
BEFORE = "||no|no no|you know|I know|not yet|yes|well|so|right|now|okay|oh|hey|wait|look|stop it"
BEFORE += "|go on|and|but"
THINGS = "door gate cover cable conductor motor brake spring limit beam edge lock switch drive"
THINGS += " panel ladder terminal breaker remote button curtain guide chain box gland label key"
THINGS += " lamp seal"
STATES = "bent|loose|broken|wet|dirty|closed|open|blocked|done|confirmed|locked|ready|new|wrong"
STATES += "|worn|noisy|in the van|too short|on order|not ours|off|on|clear|missing|live"
DAYS = "yesterday|tomorrow|this morning|on monday|after lunch|last week|in march|again|later"
TALK = """the {thing} is {state}|that {thing} is {state}|the {thing} at the back is {state}
there is a {thing} missing|we need another {thing}|they left the {thing} {state}
I have seen that {thing} before|you can leave the {thing} there|did you bring the {thing}
where is the {thing}|who took the {thing}|give me the {thing}|put the {thing} over there
it was {state} {day}|he asked me about the {thing}|the {thing} came with the wrong {thing}
I will look at the {thing} {day}|how long is the {thing}|it was about {number} volts I think
{number} of them are {state}|it takes {number} minutes|the {thing} was {state} {day}
they call {day} about the {thing}|he said it is {state}|is the {thing} {state}
don't touch the {thing}|we can't do the {thing} {day}|nobody told me about the {thing}
I had the {thing} {state} {day}|ask them for {number} more|the {thing} hits the {thing}"""
Line = tuple[str, str, str]


def common() -> list[str]:
    """What can be said at every step, the barest answers more often."""
    return [*(p.template for p in grammar.universal_phrases()), *BARE * 4]


def templates(steps: Path) -> list[str]:
    """Every phrase template of the language file and of every step of the demonstration jobs."""
    found = {p.template: None for p in grammar.universal_phrases()}
    for path in sorted((steps / "jobs").glob("*.yaml")):
        job = load_job(path)
        plan = plan_from_files(job.packs, job)
        for step in plan.steps:
            run = Run(ledger=Ledger(people=job.people, pairs=()), at=step.id)
            found |= {p.template: None for p in grammar.accepted(plan, run)}
    return sorted(found)


class Lines:
    """An endless supply of lines, the same for the same seed."""

    def __init__(
        self,
        texts: list[str],
        sentences: list[str],
        words: list[str],
        seed: int,
        common: list[str] | None = None,
    ):
        """`sentences` and `words` are for speech that is no command.

        common: phrases that make up half of the commands, those said at every step.
        """
        self._common = [t for t in map(template, common or ()) if t.slot is None]
        self._all = [template(text) for text in texts]
        self._plain = [t for t in self._all if t.slot is None]
        self._filled = [t for t in self._all if t.slot in ("value", "digits")]
        self._sentences, self._words = sentences, words
        self._units = sorted(spoken_units())
        self._random = random.Random(seed)

    def make(self, count: int) -> Iterator[Line]:
        makers = (self._phrase, self._ten, self._slot, self._value, self._digits, self._other)
        for _ in range(count):
            (maker,) = self._random.choices(makers, (24, 4, 12, 18, 14, 28))
            words, kind = maker()
            figures = canonical(words).replace("-", "minus ")
            yield words, figures, kind

    def denied(self, count: int) -> Iterator[Line]:
        """Phrases of two words and more, half of them turned into their contrary.

        Without these, a tuned model hears "lockout confirmed" in "lockout not confirmed".
        """
        pick = self._random
        long = [t for t in (*self._plain, *self._filled) if len(t.fixed) > 1]
        weighty = [t for t in long if DENIED & {*t.fixed}]
        for _ in range(count):
            found = pick.choice(weighty if pick.random() < 0.7 else long)
            fixed, kind = list(found.fixed), "digits" if found.slot == "digits" else "command"
            kind = "value" if found.slot == "value" else kind
            if pick.random() < 0.5:
                fixed, kind = self._contrary(fixed), "other"
            fill = ""
            if found.slot:
                digits = found.slot == "digits"
                fill = self._spelled(found.count or 2) if digits else self._number()
            words = f"{' '.join(fixed)} {fill}".strip()
            yield words, canonical(words).replace("-", "minus "), kind

    def talk(self, count: int) -> Iterator[Line]:
        """Talk about the work, some of it told to the assistant as a remark."""
        pick = self._random
        clauses = [c for line in TALK.splitlines() for c in line.split("|")]
        for _ in range(count):
            words = pick.choice(clauses)
            for slot, texts in (("thing", THINGS.split()), ("state", STATES.split("|"))):
                while f"{{{slot}}}" in words:
                    words = words.replace(f"{{{slot}}}", pick.choice(texts), 1)
            if "{number}" in words:
                words = words.replace("{number}", self._number())
            words = words.replace("{day}", pick.choice(DAYS.split("|")))
            told = pick.random() < 0.4
            before = ("note", "note", "note", "unable") if told else BEFORE.split("|")
            words = f"{pick.choice(before)} {words}".strip()
            kind = "command" if told else "other"
            yield words, words, kind

    def _contrary(self, words: list[str]) -> list[str]:
        pick = self._random
        last = [i for i, word in enumerate(words) if word in DENIED]
        if last and pick.random() < 0.35:
            return [f"un{w}" if i == last[-1] else w for i, w in enumerate(words)]
        no = pick.choice(("not", "not", "not", "isn't", "never", "nearly", "almost", "not yet"))
        at = last[-1] if last and pick.random() < 0.7 else pick.randrange(len(words))
        return [*words[:at], no, *words[at:]]

    def _phrase(self) -> tuple[str, str]:
        common = self._common and self._random.random() < 0.5
        found = self._random.choice(self._common if common else self._plain)
        return " ".join(found.fixed), "command"

    def _ten(self) -> tuple[str, str]:
        return self._random.choice(TEN), "command"

    def _slot(self) -> tuple[str, str]:
        found = self._random.choice(self._filled)
        digits = found.slot == "digits"
        count = found.count or self._random.choice((1, 2, 2, 2, 3, 3, 4, 5, 6))
        fill = self._spelled(count) if digits else self._number()
        return f"{' '.join(found.fixed)} {fill}", "digits" if digits else "value"

    def _digits(self) -> tuple[str, str]:
        return self._spelled(self._random.choice((1, 1, 2, 3, 3, 4, 4, 5, 6, 8))), "digits"

    def _value(self) -> tuple[str, str]:
        unit = self._random.choice((*self._units, "volts", "amps", "ohms", "megohms", "seconds"))
        return f"{self._number()} {unit if self._random.random() < 0.7 else ''}".strip(), "value"

    def _spelled(self, count: int) -> str:
        rare = {"tree": 0.03, "fower": 0.03, "fife": 0.03, "niner": 0.08, "oh": 0.25}
        words = []
        for _ in range(count):
            figure = self._random.randrange(10)
            other = [w for w, f in DIGITS.items() if f == str(figure) and w in rare]
            used = other and self._random.random() < rare[other[0]]
            words.append(other[0] if used else FIGURES[figure])
        return " ".join(words)

    def _number(self) -> str:
        pick = self._random
        two = pick.choice([*TEENS, *TENS, *(f"{t} {d}" for t in TENS for d in FIGURES[1:])])
        whole = pick.choice(
            (
                self._spelled(pick.randint(1, 4)),
                two,
                two,
                f"{pick.choice(FIGURES[1:])} {two}",
                f"{pick.choice(FIGURES[1:])} hundred",
                f"{pick.choice(FIGURES[1:])} hundred {pick.choice(('and ', ''))}{two}",
                f"{pick.choice(FIGURES[1:])} thousand",
            )
        )
        if pick.random() < 0.5:
            point = "decimal" if pick.random() < 0.2 else "point"
            # A number may begin with its point.
            whole = "" if pick.random() < 0.15 else f"{whole} "
            whole += f"{point} {self._spelled(pick.choice((1, 1, 1, 2, 2, 3)))}"
        elif pick.random() < 0.08:
            whole += " and " + pick.choice(("a half", "one half", "a quarter", "three quarters"))
        return ("minus " if pick.random() < 0.05 else "") + whole

    def _other(self) -> tuple[str, str]:
        """Single words, sentences, and phrases with one word changed."""
        pick = self._random
        form = pick.random()
        if form < 0.35:
            return pick.choice(self._words), "other"
        if form < 0.6:
            return pick.choice(self._sentences), "other"
        if form < 0.75:
            return " ".join(pick.choices(self._words, k=pick.randint(2, 4))), "other"
        words = list(pick.choice(self._plain).fixed)
        words[pick.randrange(len(words))] = pick.choice(self._words)
        return " ".join(words), "other"


def common_words(vocabulary: Path, templates_: list[str], most: int = 9000) -> list[str]:
    """Plain English words among the commonest pieces of the model, without those of phrases."""
    used = {word for text in templates_ for word in template(text).fixed}
    pieces = vocabulary.read_text(encoding="utf-8").split("\n")[:most]
    words = {p[1:] for p in pieces if p.startswith("Ġ") and p[1:].isalpha() and p[1:].islower()}
    return sorted(w for w in words if len(w) > 2 and w.isascii() and w not in used | set(DIGITS))


def main() -> int:
    root = Path(__file__).resolve().parents[2]
    print(json.dumps(templates(root / "steps"), indent=0))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
