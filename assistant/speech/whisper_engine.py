"""Whisper held to a grammar: the engine that needs no download.

The encoder runs in CTranslate2 (int8, on the processor). The decoder searches the spellings of
all accepted sentences at once, together with one line of free text: the distance between the
best accepted sentence and the free text says how sure we are that one of them was meant at all.
"""

from __future__ import annotations

import hashlib
import math
import re
import threading
from dataclasses import dataclass, field, replace
from difflib import SequenceMatcher
from functools import lru_cache
from pathlib import Path

import numpy as np
from threadpoolctl import ThreadpoolController

from assistant import resources
from assistant.errors import ModelMissing
from assistant.speech.audio import active_level_dbfs, check_samples, frame_levels_dbfs, to_int16
from assistant.speech.features import log_mel
from assistant.speech.recogniser import RATE_HZ, Expected, Transcript
from assistant.speech.spelling import Pieces, Place, Spelling
from assistant.speech.templates import Grammar, canonical
from assistant.speech.whisper_decoder import (
    COMMON,
    END,
    Decoder,
    read_weights,
)

MODEL_SHA256 = "5c2937eb3628106e57d8fef23acc76fa49d359565012695f35f5417632d05264"

_BEAM = 5
_PRUNE = 8.0
_RIVAL = 4.0
_BLANK = 220  # the piece that is a single space
_SHORTEST_S = 0.10
_FAINTEST_DBFS = -62.0
_LEVEL_DBFS = -20.0
#: What an utterance is padded to at least, without and with numbers.
_LEAST_FRAMES = (300, 500)


@dataclass
class _Hypothesis:
    """A beginning of a sentence.

    place: where in the grammar; None while free text is written.
    row, token: the row of the last step that it grew from, and the piece it took.
    template, text: of the {free} that is being written.
    """

    score: float
    place: Place | None = None
    row: int = 0
    token: int = 0
    template: str | None = None
    text: str = ""
    tokens: tuple[int, ...] = ()


@dataclass(frozen=True)
class Candidate:
    """An accepted sentence that the search found.

    words: as spoken. template: what it fills. score: log-likelihood, all spellings together.
    figures, spelled: the share of the score that comes from figures and from words.
    """

    words: str
    template: str
    score: float
    figures: float
    spelled: float

    @property
    def open_end(self) -> bool:
        """True if free text is part of it."""
        return "{free}" in self.template


@dataclass
class Search:
    """What one search over one utterance found; the figures that `judge` decides by."""

    candidates: list[Candidate] = field(default_factory=list)
    free_text: str = ""
    free_score: float = -math.inf
    free_tokens: int = 0
    no_speech: float = 0.0
    active_s: float = 0.0

    @property
    def ratio(self) -> float:
        """Log-likelihood of the best accepted sentence over that of the free text."""
        if not self.candidates:
            return -math.inf
        return self.candidates[0].score - self.free_score


class WhisperRecogniser:
    """Whisper's tiny.en decoder behind base's encoder, tuned, held to what a step accepts."""

    name = "whisper"
    model = "site-en 3 (Whisper by OpenAI, MIT licence, tuned to work at doors), int8"

    def __init__(self, folder: Path | None = None, threads: int = 1):
        """Load the model.

        Parameters
        ----------
        folder : Path, optional
            Folder with `model.bin` and `vocabulary.txt`; by default models/site-en.
        threads : int
            Processor threads for one utterance.

        Raises
        ------
        ModelMissing
            If a file is missing or damaged.
        """
        import ctranslate2

        folder = check_model(folder)
        self._lock = threading.Lock()
        self._ct2 = ctranslate2
        self._encoder = ctranslate2.models.Whisper(
            str(folder), device="cpu", compute_type="int8", intra_threads=threads
        )
        self._decoder = Decoder(read_weights(folder / "model.bin"))
        pieces = (folder / "vocabulary.txt").read_text(encoding="utf-8").split("\n")
        self._pieces = [p.replace("Ġ", " ") for p in pieces[: END + 1]]
        self._tree = Pieces(self._pieces[:END])
        self._threads = threads
        self._pools = ThreadpoolController()
        self._spelling = lru_cache(maxsize=64)(self._make_spelling)

    def unknown_words(self, words: set[str]) -> set[str]:
        """Words with letters that no English text has; any other can be spelled."""
        return {w for w in words if not w or not all(c.isascii() for c in w)}

    def hear(self, samples: np.ndarray, expected: Expected) -> Transcript:
        """Recognise one utterance; see `Recogniser.hear`."""
        check_samples(samples)
        duration_s = len(samples) / RATE_HZ
        if duration_s < _SHORTEST_S:
            return Transcript("", 0.0, 0.0, duration_s, rejected="too short")
        if active_level_dbfs(samples) < _FAINTEST_DBFS:
            return Transcript("", 0.0, 0.0, duration_s, rejected="noise")
        return judge(self.search(samples, expected), expected, duration_s)

    def search(self, samples: np.ndarray, expected: Expected) -> Search:
        """Every likely accepted sentence with its score, before any of them is believed."""
        spelling = self._spelling(expected.templates, expected.unit_words)
        with self._lock, self._pools.limit(limits=self._threads):
            encoded = self._encode(_features(samples, spelling.numbers))
            return self._search(encoded, spelling, samples)

    def _make_spelling(self, templates: tuple[str, ...], units: tuple[str, ...]) -> Spelling:
        return Spelling(Grammar(Expected(templates, units)), self._tree, COMMON)

    def _encode(self, mel: np.ndarray) -> np.ndarray:
        view = self._ct2.StorageView.from_array(mel)
        encoded: np.ndarray = np.array(self._encoder.encode(view, to_cpu=True))[0]
        return encoded

    def _search(self, encoded: np.ndarray, spelling: Spelling, samples: np.ndarray) -> Search:
        decoding = self._decoder.begin(encoded, spelling.rare)
        scores = decoding.scores
        active_s = _active_s(samples)
        beam = _Beam(spelling, self._pieces, steps=8 + int(8 * active_s))
        while beam.grow(scores):
            scores = decoding.step(*beam.rows())
        return Search(
            candidates=_gather(beam.found),
            free_text=beam.free.text.strip(),
            free_score=beam.free.score,
            free_tokens=len(beam.free.tokens),
            no_speech=decoding.no_speech,
            active_s=active_s,
        )


class _Beam:
    """Hypotheses of equal length: some held to the grammar, one that writes what it likes.

    found: (template, canonical text) -> score, in figures?, words of every spelling found.
    """

    def __init__(self, spelling: Spelling, pieces: list[str], steps: int):
        self._spelling = spelling
        self._pieces = pieces
        self._steps = steps
        start = spelling.start()
        self.live = [_Hypothesis(0.0, start)]
        self.free = _Hypothesis(0.0)
        self._free_done = False
        # A bare {free} is the free text itself.
        anything = spelling.free(start)
        self._anything = anything[0] if anything else None
        self.found: dict[tuple[str, str], list[tuple[float, bool, str]]] = {}
        self._best = {True: -np.inf, False: -np.inf}

    def grow(self, scores: np.ndarray) -> bool:
        """Take each hypothesis one piece further; False when there is nothing left to do."""
        grown: list[_Hypothesis] = []
        for hypothesis in self.live:
            if hypothesis.place is None:
                grown.extend(self._grow_freely(hypothesis, scores))
            else:
                grown.extend(self._grow_held(hypothesis, hypothesis.place, scores))
        self.live = self._prune(grown)
        if not self._free_done:
            following = self._grow_freely(self.free, scores)
            self._steps -= 1
            if following:
                self.free = following[0]
            # Free text can only fall further behind an accepted sentence that beats it.
            best = max(self._best.values())
            behind = not self.live and best > self.free.score and not self._anything
            self._free_done = not following or behind or self._steps <= 0
            if self._free_done and self._anything:
                self._add(self._anything, self.free.score, False, self.free.text.strip())
        else:
            self._steps -= 1
        if self._steps <= 0:
            self.live = []
        return bool(self.live) or not self._free_done

    def rows(self) -> tuple[np.ndarray, np.ndarray]:
        """The pieces taken in this step, and the row that each hypothesis grew from."""
        rows = [*self.live, *([] if self._free_done else [self.free])]
        taken = np.array([h.token for h in rows]), np.array([h.row for h in rows])
        for row, hypothesis in enumerate(rows):
            hypothesis.row = row
        return taken

    def _add(self, template: str, score: float, figures: bool, words: str) -> None:
        key = (template, canonical(words))
        self.found.setdefault(key, []).append((score, figures, words))
        self._best[figures] = max(self._best[figures], score)

    def _prune(self, grown: list[_Hypothesis]) -> list[_Hypothesis]:
        """The likeliest, figures and words apart: a number in words is far less likely and
        still tells numbers apart, so neither may crowd out the other."""
        kept: list[_Hypothesis] = []
        for figures in (True, False):
            group = [h for h in grown if figures == bool(h.place and h.place.figures)]
            group.sort(key=lambda h: -h.score)
            if group:
                bar = max(group[0].score - _PRUNE, self._best[figures] - _RIVAL)
                kept += [h for h in group[:_BEAM] if h.score > bar]
        return kept

    def _grow_held(
        self, hypothesis: _Hypothesis, place: Place, scores: np.ndarray
    ) -> list[_Hypothesis]:
        row = scores[hypothesis.row]
        ended = self._spelling.finished(place)
        if ended:
            template, words = ended
            self._add(template, hypothesis.score + row[COMMON], place.figures, " ".join(words))
        grown = []
        opened = self._spelling.free(place)
        if opened and opened[1]:
            head = replace(hypothesis, place=None, template=opened[0], text=" ".join(opened[1]))
            grown.extend(self._grow_freely(head, scores))
        numbers, after = self._spelling.allowed(place)
        if len(numbers):
            rare = COMMON + 1 + np.searchsorted(self._spelling.rare, numbers)
            totals = hypothesis.score + row[np.where(numbers < COMMON, numbers, rare)]
            count = min(len(totals), 2 * _BEAM)
            grown += [
                _Hypothesis(
                    float(totals[i]),
                    self._spelling.join(place, after[i]),
                    hypothesis.row,
                    int(numbers[i]),
                )
                for i in np.argpartition(-totals, count - 1)[:count]
            ]
        return grown

    def _grow_freely(self, hypothesis: _Hypothesis, scores: np.ndarray) -> list[_Hypothesis]:
        row = scores[hypothesis.row].copy()
        if not hypothesis.tokens and not hypothesis.template:
            row[[COMMON, _BLANK]] = -np.inf
        token = int(row[: COMMON + 1].argmax())
        if _loops(hypothesis.tokens):
            token = COMMON
        score = hypothesis.score + float(row[token])
        if token == COMMON:
            hypothesis.score = score
            if hypothesis.template:
                self._add(hypothesis.template, score, False, _spoken(hypothesis.text))
            return []
        return [
            _Hypothesis(
                score,
                None,
                hypothesis.row,
                token,
                hypothesis.template,
                hypothesis.text + self._pieces[token],
                (*hypothesis.tokens, token),
            )
        ]


def _features(samples: np.ndarray, numbers: bool) -> np.ndarray:
    """What the encoder takes: shape (1, 80, frames of 10 ms)."""
    # Three seconds cost a tenth of the thirty that the model was made for, and tell as much about
    # a word; in strings of digits a little more silence after them avoids loops.
    least = _LEAST_FRAMES[numbers]
    frames = min(3000, max(least, -(-len(samples) // 8000) * 50 + 100))
    # Quiet speakers are heard better at the level of the others.
    gain = 10 ** ((_LEVEL_DBFS - active_level_dbfs(samples)) / 20)
    return log_mel(to_int16(samples / 32768.0 * gain), frames)[None]


def _loops(tokens: tuple[int, ...]) -> bool:
    """True if the last pieces say the same thing for the third time, or a long thing twice."""
    for length in range(1, len(tokens) // 2 + 1):
        times = 3 if length < 5 else 2
        tail = tokens[-length:]
        if len(tokens) >= times * length and tokens[-times * length :] == tail * times:
            return True
    return False


def _gather(found: dict[tuple[str, str], list[tuple[float, bool, str]]]) -> list[Candidate]:
    candidates = []
    for (template, _), spellings in found.items():
        shares = [
            _log_sum([s for s, f, _ in spellings if f is figures]) for figures in (True, False)
        ]
        _, _, words = max(spellings, key=lambda entry: (not entry[1], entry[0]))
        score = float(np.logaddexp(shares[0], shares[1]))
        candidates.append(Candidate(words, template, score, shares[0], shares[1]))
    return sorted(candidates, key=lambda c: -c.score)


def _log_sum(scores: list[float]) -> float:
    top = max(scores, default=-math.inf)
    return top + math.log(sum(math.exp(s - top) for s in scores)) if scores else top


def _spoken(text: str) -> str:
    letters = "".join(c if c.isalnum() or c in "'." else " " for c in text.lower())
    return " ".join(word.strip(".") for word in letters.split() if word.strip("."))


def _active_s(samples: np.ndarray) -> float:
    """From the first to the last frame that stands out of the noise. [s]"""
    levels = frame_levels_dbfs(samples)
    if not len(levels):
        return 0.0
    loud, quiet = np.percentile(levels, 95), np.percentile(levels, 10)
    found = np.flatnonzero(levels > max(loud - 20, (loud + quiet) / 2))
    return float(found[-1] - found[0] + 1) * 0.02 if len(found) else 0.0


@dataclass(frozen=True)
class _Demand:
    """What an answer of some consequence must reach.

    ratio: of the answer to the free text. score: of a one-word answer; `a_word` less for each
    further word. margin: to the next answer. rivals: answers closer than this are told. [nats]
    """

    ratio: float
    score: float
    a_word: float
    margin: float
    rivals: float


#: By models/training/calibrate.py, on people kept out of training. Values are read back before they
#: count, so theirs are looser, but for numbers of several words: what other speech is taken for is
#: mostly one of these, and scores far less than a number that was said.
_DEMANDS = {
    "command": _Demand(ratio=-3.0, score=-3.0, a_word=0.7, margin=1.0, rivals=1.5),
    "value": _Demand(ratio=-2.0, score=-1.6, a_word=0.6, margin=-9.0, rivals=1.5),
    # Phrases by voices never heard (96, at 5 dB too) score above -0.5, all but one. Their
    # contraries that aren't written down as such score -4.5 and less, all but two.
    "gate": _Demand(ratio=-0.7, score=-2.0, a_word=0.5, margin=1.5, rivals=2.5),
}
_LONGEST_FIRST_S, _LONGEST_WORD_S = 0.9, 0.75
_NO_SPEECH = 0.6
_NO_SPEECH_COST = 2.0
#: A value of only "oh" is what noise sounds most like, and hardly ever said.
_BARE_OH_COST = 2.0
#: Digits are hardly said faster than this; each tenth of a second that is missing costs a nat.
_DIGIT_S = 0.18
_HURRY = 10.0
#: A few words are hardly drawn out longer than this: an answer that ends early, like "two" for
#: "two three four", has left something out. Each second beyond costs some nats.
_DRAWN_FIRST_S, _DRAWN_WORD_S, _DRAWL = 0.6, 0.6, 2.0
_LOOP_COST = 1.5
_OPEN_COST = 3.0
#: Free speech forced to begin with "note" or "unable" is this much less likely than as it was.
_OPEN_RATIO = -7.0
_SPELLED, _SPELLED_RIVAL, _SPELLED_MOST = 0.3, 0.7, 4.0


def _hurry(candidate: Candidate, active_s: float) -> float:
    """What a number loses for being said faster than people do, or in a loop. [nats]"""
    if candidate.words == "oh":
        return _BARE_OH_COST
    figures = "".join(c for c in canonical(candidate.words) if c.isdigit())
    figures = figures.rstrip("0") or figures  # "five hundred" has two words for three figures
    cost = _HURRY * max(0.0, _DIGIT_S * len(figures) - active_s)
    half = len(figures) // 2
    looped = half > 1 and figures[:half] == figures[half:]
    return cost + (_LOOP_COST if looped else 0.0)


def _sense(candidate: Candidate) -> tuple[str, str]:
    """Template and text, the unit written in one way: "5 meg ohms" is no rival of "5 megohm"."""
    text = canonical(candidate.words)
    if "{value}" not in candidate.template:
        return candidate.template, text
    number, unit = re.fullmatch(r"(.*\d)?(\D*)", text, re.DOTALL).groups()  # type: ignore[union-attr]
    unit = re.sub(r"(?<=ch)es$|s$", "", unit.replace(" ", ""))
    for other, plain in (("megao", "mego"), ("kiloo", "kilo"), ("meter", "metre")):
        unit = unit.replace(other, plain)
    return candidate.template, f"{number} {unit}"


def _alike(heard: str, word: str) -> bool:
    """True if the letters of a word are mostly those of another.

    Of 84 remarks by seven voices, clean to 5 dB, the free text begins with "no" in 54, "note" in
    28, "not" and "mode" in one each.
    """
    return SequenceMatcher(None, heard, word, autojunk=False).ratio() >= 0.5


#: Of these none stands before a remark, but for one alone: "note" is often written down as that.
_NOES = frozenset(("no", "know", "not", "nope"))


def possible(search: Search) -> list[Candidate]:
    """The candidates, less the open-ended ones whose first words nobody said.

    Any speech can be written down as "note" and something; "notease" begins with another word,
    nothing after "note" is no note, and "no, no, that is open" is none of "that is open".
    """

    heard = _spoken(search.free_text).split()

    def said(candidate: Candidate) -> bool:
        first = candidate.template.partition("{free}")[0]
        if not candidate.words.startswith(first) or candidate.words == first.strip():
            return False
        if candidate.score - search.free_score < _OPEN_RATIO:
            return False
        if not first or not heard:
            return True
        rest = candidate.words.removeprefix(first).split()
        before = heard[: -len(rest)] if heard[-len(rest) :] == rest else []
        refused = len(before) > len(first.split()) and not _NOES.isdisjoint(before)
        named = first.split()[0]
        return not refused and (_alike(heard[0], named) or named in heard[1:2])

    return [c for c in search.candidates if not c.open_end or said(c)]


_DENIALS = re.compile(
    r"\b(not|cannot|never|nearly|almost|no one|nobody"
    r"|(?:is|are|was|were|do|does|did|ca|could|wo|would|have|has)n'?t)\b"
)


def denied(free_text: str, words: str) -> bool:
    """True if the free text says the contrary of an accepted sentence ("unclear to energize").

    One small word makes it, which neither score nor ratio tells from a blurred right phrase.
    """
    heard = free_text.lower()
    if set(_DENIALS.findall(heard)) - set(_DENIALS.findall(words)):
        return True
    # The rest of such a word is often blurred ("lockout unconfined", "uncle it to energize").
    begins = {word[: max(3, len(word) // 2)] for word in words.split() if len(word) > 3}
    return any(re.search(rf"\bun[ -]?{b}", heard) for b in begins if f"un{b}" not in words)


def contrary(free_text: str, candidate: Candidate, weight: str) -> bool:
    """True if the free text says something else than the accepted sentence by a small word.

    A value is read back, so nothing is held against it. In a gate phrase any word between its own
    may be one ("lockout country confirmed": it was "can't be").
    """
    if weight == "value" or candidate.open_end:
        return False
    return denied(free_text, candidate.words) or (
        weight == "gate" and _parted(free_text, candidate.template.partition("{")[0].split())
    )


def _parted(free_text: str, phrase: list[str]) -> bool:
    """True if the words of a phrase are all there, in order, with another between them."""
    heard = iter(enumerate(re.findall(r"[a-z0-9']+", free_text.lower())))
    places = [next((at for at, word in heard if word == each), None) for each in phrase]
    if not places or places[0] is None or places[-1] is None:
        return False
    return places[-1] - places[0] >= len(phrase)


def judge(search: Search, expected: Expected, duration_s: float) -> Transcript:
    """Believe the best candidate, or say why not.

    Parameters
    ----------
    search : Search
        What was found.
    expected : Expected
        For the weight of each template.
    duration_s : float
        Length of the utterance. [s]

    Returns
    -------
    Transcript
        With text only if its score, its ratio to the free text, its margin to the next answer
        and its length in time all fit an answer of its weight.
    """
    quiet = search.no_speech > _NO_SPEECH

    def refuse(reason: str, confidence: float = 0.0) -> Transcript:
        return Transcript("", confidence, 0.0, duration_s, rejected=reason, heard=search.free_text)

    # Text was learned in figures, so figures are likely whatever was said ("2.08" for two oh
    # eight); the same number in words is judged by its sound alone, and has a say of its own.
    candidates = possible(search)
    numbers = [c for c in candidates if math.isfinite(c.figures)]
    spelled = max((c.spelled for c in numbers), default=-math.inf)

    def worth(candidate: Candidate, say: float = _SPELLED) -> float:
        doubt = 0.0
        if math.isfinite(candidate.figures) and math.isfinite(spelled):
            doubt = say * min(_SPELLED_MOST, spelled - candidate.spelled)
        # Free speech explains anything that starts like its first word ("note movement").
        open_end = _OPEN_COST if candidate.open_end else 0.0
        cost = _hurry(candidate, search.active_s) + drawl(search, candidate)
        return candidate.score - doubt - open_end - cost

    def near(candidate: Candidate, distance: float) -> bool:
        return any(
            worth(candidate, say) > worth(best, say) - distance for say in (0.0, _SPELLED_RIVAL)
        )

    if not candidates:
        return refuse("noise" if quiet else "other speech")
    ranked = sorted(candidates, key=worth, reverse=True)
    best = ranked[0]
    score = worth(best, 0.0)
    total = np.logaddexp.reduce([worth(c) for c in ranked]) - worth(best)
    share = math.exp(-float(total))
    if best.open_end:
        return Transcript(best.words, share, 0.0, duration_s, best.template, heard=search.free_text)
    weight = expected.weights.get(best.template, "command")
    if contrary(search.free_text, best, weight) or blurred(search.free_text, best, weight, score):
        return refuse("other speech")
    count = len(best.words.split())
    demand = _DEMANDS[weight]
    floor = demand.score - demand.a_word * (count - 1) + (_NO_SPEECH_COST if quiet else 0.0)
    slack = min(score - floor, score - search.free_score - demand.ratio)
    confidence = share / (1.0 + math.exp(-slack))
    if too_long(search, best):
        return refuse("other speech")
    if slack < 0:
        return refuse("noise" if quiet else "other speech", confidence)
    rivals = [c for c in ranked[1:] if near(c, demand.rivals) and _sense(c) != _sense(best)]
    if any(near(c, demand.margin) for c in rivals):
        return replace(
            refuse("unsure", confidence), alternatives=tuple(c.words for c in (best, *rivals))
        )
    return Transcript(
        best.words,
        confidence,
        0.0,
        duration_s,
        best.template,
        alternatives=tuple(c.words for c in rivals),
        heard=search.free_text,
    )


def alone(search: Search, candidate: Candidate) -> bool:
    """True if the free text is the accepted sentence word for word, and that has no number.

    Of a number the free text may leave out as much as the answer does.
    """
    if "{" in candidate.template:
        return False
    return _spoken(search.free_text) == candidate.words


def too_long(search: Search, candidate: Candidate) -> bool:
    """True if the sound is so long that more was said than the accepted sentence.

    Blows and wind stand out as well as a voice does ("Affirm." with a blow after it): what is
    written down word for word may be twice as long.
    """
    count = len(candidate.words.split())
    longest_s = _LONGEST_FIRST_S + _LONGEST_WORD_S * count
    if search.active_s <= longest_s:
        return False
    return search.active_s > 2 * longest_s or not alone(search, candidate)


def drawl(search: Search, candidate: Candidate) -> float:
    """What an answer loses for being short beside the sound it was heard in. [nats]"""
    beyond_s = search.active_s - _DRAWN_FIRST_S - _DRAWN_WORD_S * len(candidate.words.split())
    return _DRAWL * beyond_s if beyond_s > 0 and not alone(search, candidate) else 0.0


#: Letters of a command that is long enough to be known by how it is written down, and what it must
#: score if it is written quite differently. [nats]
_LONG_LETTERS, _BLURRED = 6, -1.0


def blurred(free_text: str, candidate: Candidate, weight: str, score: float) -> bool:
    """True if a long command scores little and the free text has hardly a letter of it.

    Of 772 right ones by voices that never trained, clean to 5 dB, that is one; of 73 single
    words that were taken for a command 35 ("quieter" for "voyager", written down as "Why is it?").
    """
    # Numbers may be written in figures.
    if weight != "command" or "{" in candidate.template or score >= _BLURRED:
        return False
    long = len(candidate.words.replace(" ", "")) >= _LONG_LETTERS
    return long and not _alike(_spoken(free_text), candidate.words)


_AGAIN = (
    "it comes with Thirdhand: install Thirdhand again, or in a checkout: "
    "git checkout models/site-en"
)


def check_model(folder: Path | None = None) -> Path:
    """The folder of the model, its digest checked.

    Raises
    ------
    ModelMissing
        If a file is missing or damaged.
    """
    folder = folder or resources.site_model_dir()
    for name in ("model.bin", "vocabulary.txt", "config.json"):
        if not (folder / name).is_file():
            raise ModelMissing(f"{folder / name} is missing; {_AGAIN}")
    digest = _digest(folder / "model.bin", (folder / "model.bin").stat().st_mtime_ns)
    if digest != MODEL_SHA256:
        raise ModelMissing(
            f"{folder / 'model.bin'} is damaged or of another version (SHA-256 {digest[:12]}…, "
            f"expected {MODEL_SHA256[:12]}…); {_AGAIN}"
        )
    return folder


@lru_cache(maxsize=4)
def _digest(path: Path, changed_ns: int) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
