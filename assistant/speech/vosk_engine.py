"""Vosk held to the phrases of a step; the first choice wherever a model for it is at hand."""

from __future__ import annotations

import json
import threading
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from assistant.errors import ModelMissing
from assistant.speech.audio import active_level_dbfs, check_samples
from assistant.speech.recogniser import RATE_HZ, Expected, Transcript
from assistant.speech.templates import Grammar, parse, vocabulary

UNKNOWN = "[unk]"
_SHORTEST_S = 0.10
_FAINTEST_DBFS = -62.0
#: Least confidence of the least sure word.
_LEAST = {"command": 0.6, "value": 0.7, "gate": 0.8}


class VoskRecogniser:
    """A Vosk model with a phrase list made from the templates."""

    name = "vosk"

    def __init__(self, folder: Path):
        """Load the model in `folder`.

        Raises
        ------
        ModelMissing
            If Vosk isn't installed or the folder holds no model that it can read.
        """
        try:
            import vosk
        except ImportError as error:
            raise ModelMissing(
                "Vosk is not installed; install it with: pip install vosk"
            ) from error
        if not is_model(folder):
            raise ModelMissing(
                f"{folder} holds no Vosk model; it must contain am/final.mdl and conf/mfcc.conf"
            )
        vosk.SetLogLevel(-1)
        self._vosk = vosk
        try:
            self._model = vosk.Model(model_path=str(folder))
        except Exception as error:  # the library raises nothing more precise
            raise ModelMissing(f"{folder}: Vosk can't read this model ({error})") from error
        self.model = f"Vosk model {folder.name} (see its README for the licence)"
        self._lock = threading.Lock()
        self._grammar = lru_cache(maxsize=64)(self._make_grammar)

    def unknown_words(self, words: set[str]) -> set[str]:
        """Words that the model's dictionary lacks; Vosk itself would drop them silently."""
        return {w for w in words if self._model.vosk_model_find_word(w) < 0}

    def hear(self, samples: np.ndarray, expected: Expected) -> Transcript:
        """Recognise one utterance; see `Recogniser.hear`."""
        check_samples(samples)
        end_s = len(samples) / RATE_HZ
        if end_s < _SHORTEST_S:
            return Transcript("", 0.0, 0.0, end_s, rejected="too short")
        if active_level_dbfs(samples) < _FAINTEST_DBFS:
            return Transcript("", 0.0, 0.0, end_s, rejected="noise")
        grammar, phrases = self._grammar(expected.templates, expected.unit_words)
        with self._lock:
            words = self._decode(samples, phrases)
            said = [w["word"] for w in words]
            template = None if UNKNOWN in said else grammar.match(said)
            heard = " ".join(said)
            free = next((t for t in grammar.templates if t.slot == "free"), None)
            if free and (template is None or "{free}" in template):
                heard = " ".join(w["word"] for w in self._decode(samples, None))
                template = grammar.match(heard.split())
                said = heard.split()
        if not said or set(said) == {UNKNOWN}:
            reason = "other speech" if said else "noise"
            return Transcript("", 0.0, 0.0, end_s, rejected=reason, heard=heard)
        if template is None:
            return Transcript("", 0.0, 0.0, end_s, rejected="other speech", heard=heard)
        sure = min((float(w.get("conf", 1.0)) for w in words), default=0.0)
        if "{free}" not in template and sure < _LEAST[expected.weights.get(template, "command")]:
            return Transcript("", sure, 0.0, end_s, rejected="unsure", heard=heard)
        return Transcript(" ".join(said), sure, 0.0, end_s, template, heard=heard)

    def _make_grammar(
        self, templates: tuple[str, ...], units: tuple[str, ...]
    ) -> tuple[Grammar, str]:
        expected = Expected(templates, units)
        missing = self.unknown_words(vocabulary(expected))
        phrases: list[str] = []
        numbers: set[str] = set()
        for text in templates:
            template = parse(text)
            if template.before and not missing & set(template.before):
                phrases.append(" ".join(template.before))
            if template.after and not missing & set(template.after):
                phrases.append(" ".join(template.after))
            if template.slot in ("value", "digits"):
                numbers |= vocabulary(Expected((text,), units)) - set(template.before)
        phrases += sorted(numbers - missing)
        unknown = [] if self.unknown_words({UNKNOWN}) else [UNKNOWN]
        phrases = [*dict.fromkeys(phrases), *unknown]
        return Grammar(expected), json.dumps(phrases, ensure_ascii=False)

    def _decode(self, samples: np.ndarray, phrases: str | None) -> list[dict[str, Any]]:
        limits = () if phrases is None else (phrases,)
        decoder = self._vosk.KaldiRecognizer(self._model, float(RATE_HZ), *limits)
        decoder.SetWords(True)
        decoder.AcceptWaveform(samples.tobytes())
        words: list[dict[str, Any]] = json.loads(decoder.FinalResult()).get("result", [])
        return words


def is_model(folder: Path) -> bool:
    """True if the folder looks like a Vosk model."""
    return (folder / "am" / "final.mdl").is_file() and (folder / "conf" / "mfcc.conf").is_file()


def find_model(folders: list[Path], language: str = "en") -> Path | None:
    """The first Vosk model for the language in `folders`, or None.

    The language is read from the name that published models carry:
    `vosk-model-small-en-us-0.15`, `vosk-model-en-us-0.22-lgraph`.
    """
    for folder in folders:
        if not folder.is_dir():
            continue
        for model in sorted(folder.iterdir()):
            if language in model.name.lower().split("-") and is_model(model):
                return model
    return None
