"""PocketSphinx held to a grammar: the lightest engine, with its model inside its package."""

from __future__ import annotations

import math
import threading
from pathlib import Path
from typing import Any

import numpy as np

from assistant.errors import ModelMissing
from assistant.speech.audio import active_level_dbfs, check_samples
from assistant.speech.recogniser import RATE_HZ, Expected, Transcript
from assistant.speech.templates import Grammar, to_jsgf, vocabulary

#: Words of the trade that the dictionary lacks, in its phone set.
PRONUNCIATIONS = {
    "affirm": "AH F ER M",
    "amps": "AE M P S",
    "kilohms": "K IH L OW M Z",
    "kilonewtons": "K IH L OW N UW T AH N Z",
    "kilovolts": "K IH L OW V OW L T S",
    "megohm": "M EH G OW M",
    "megohms": "M EH G OW M Z",
    "microamps": "M AY K R OW AE M P S",
    "microfarads": "M AY K R OW F EH R AH D Z",
    "microhenries": "M AY K R OW HH EH N R IY Z",
    "milliamps": "M IH L IY AE M P S",
    "millimetres": "M IH L AH M IY T ER Z",
    "milliohms": "M IH L IY OW M Z",
    "milliseconds": "M IH L IY S EH K AH N D Z",
    "millivolts": "M IH L IY V OW L T S",
    "centimetres": "S EH N T AH M IY T ER Z",
    "metres": "M IY T ER Z",
    "newton": "N UW T AH N",
    "newtons": "N UW T AH N Z",
    "ohms": "OW M Z",
    "fower": "F OW ER",
    "fife": "F AY F",
    "niner": "N AY N ER",
    "eighths": "EY TH S",
    "sixteenth": "S IH K S T IY N TH",
    "sixteenths": "S IH K S T IY N TH S",
}
#: More sounds for words that are said in several ways.
_VARIANTS = {"a": ("EY",), "k": ("K EY",), "zero": ("Z IY R OW",)}
_SHORTEST_S = 0.15
_FAINTEST_DBFS = -62.0
_FRAME_S = 0.01
#: Least score of the grammar against a loop of phones, a frame of speech. [nats]
_LEAST = {"command": -4.0, "value": -3.5, "gate": -3.0}


class SphinxRecogniser:
    """PocketSphinx with a grammar from the templates and a loop of phones to compare with."""

    name = "sphinx"
    model = "PocketSphinx en-us (Carnegie Mellon University, BSD-2-Clause), from pocketsphinx"

    def __init__(self) -> None:
        """Load the model.

        Raises
        ------
        ModelMissing
            If PocketSphinx isn't installed.
        """
        try:
            import pocketsphinx
        except ImportError as error:
            raise ModelMissing(
                "PocketSphinx is not installed; install it with: pip install pocketsphinx"
            ) from error
        self._lock = threading.Lock()
        folder = Path(pocketsphinx.get_model_path()) / "en-us"
        common = {
            "hmm": str(folder / "en-us"),
            "dict": str(folder / "cmudict-en-us.dict"),
            "loglevel": "FATAL",
        }
        self._decoder: Any = pocketsphinx.Decoder(lm=None, **common)
        for word, phones in PRONUNCIATIONS.items():
            if self._decoder.lookup_word(word) is None:
                self._decoder.add_word(word, phones, False)
        for word, ways in _VARIANTS.items():
            for number, phones in enumerate(ways, 8):
                if self._decoder.lookup_word(f"{word}({number})") is None:
                    self._decoder.add_word(f"{word}({number})", phones, False)
        self._decoder.add_allphone_file("phones", str(folder / "en-us-phone.lm.bin"))
        self._grammars: dict[tuple[tuple[str, ...], tuple[str, ...]], tuple[str, Grammar]] = {}

    def unknown_words(self, words: set[str]) -> set[str]:
        """Words in neither the dictionary nor the table of pronunciations."""
        with self._lock:
            return {w for w in words if self._decoder.lookup_word(w) is None}

    def hear(self, samples: np.ndarray, expected: Expected) -> Transcript:
        """Recognise one utterance; see `Recogniser.hear`."""
        check_samples(samples)
        end_s = len(samples) / RATE_HZ
        if end_s < _SHORTEST_S:
            return Transcript("", 0.0, 0.0, end_s, rejected="too short")
        if active_level_dbfs(samples) < _FAINTEST_DBFS:
            return Transcript("", 0.0, 0.0, end_s, rejected="noise")
        name, grammar = self._activate(expected)
        if not name:
            return Transcript("", 0.0, 0.0, end_s, rejected="other speech")
        # Digital silence upsets the running mean of the cepstra.
        dither = np.random.default_rng(0).normal(0, 3, len(samples))
        sound = np.clip(samples + dither, -32768, 32767).astype(np.int16).tobytes()
        with self._lock:
            said, score, speech_frames = self._decode(name, sound)
            _, loop, _ = self._decode("phones", sound) if said else ("", 0.0, 0)
        if not said:
            return Transcript("", 0.0, 0.0, end_s, rejected="noise")
        template = grammar.match(said.split())
        ratio = (score - loop) / max(1, speech_frames)
        weight = expected.weights.get(template or "", "command")
        sure = float(1 / (1 + np.exp(-(ratio - _LEAST[weight]))))
        if template is None:
            return Transcript("", 0.0, 0.0, end_s, rejected="unsure", heard=said)
        if ratio < _LEAST[weight]:
            return Transcript("", sure, 0.0, end_s, rejected="other speech", heard=said)
        return Transcript(said, sure, 0.0, end_s, template, heard=said)

    def _activate(self, expected: Expected) -> tuple[str, Grammar]:
        key = (expected.templates, expected.unit_words)
        if key not in self._grammars:
            usable = tuple(
                t
                for t in expected.templates
                if not self.unknown_words(vocabulary(Expected((t,), ())))
            )
            units = tuple(u for u in expected.unit_words if not self.unknown_words(set(u.split())))
            kept = Expected(usable, units)
            text = to_jsgf(kept)
            name = f"step-{len(self._grammars)}" if text else ""
            if text:
                with self._lock:
                    self._decoder.add_jsgf_string(name, text)
            self._grammars[key] = (name, Grammar(kept))
        return self._grammars[key]

    def _decode(self, search: str, sound: bytes) -> tuple[str, float, int]:
        decoder = self._decoder
        decoder.activate_search(search)
        decoder.start_utt()
        decoder.process_raw(sound, no_search=False, full_utt=True)
        decoder.end_utt()
        best = decoder.hyp()
        if best is None:
            return "", 0.0, 0
        frames, acoustic = 0, 0.0
        for segment in decoder.seg():
            # Scores are probabilities relative to the best sound of each frame.
            acoustic += math.log(max(segment.ascore, 1e-300))
            if not segment.word.startswith("<") and segment.word != "SIL":
                frames += segment.end_frame - segment.start_frame + 1
        return best.hypstr, acoustic, frames
