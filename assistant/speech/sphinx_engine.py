"""PocketSphinx held to a small language model: the lightest engine, needs no other package."""

from __future__ import annotations

import threading
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from assistant.errors import ModelMissing
from assistant.speech.audio import active_level_dbfs, check_samples
from assistant.speech.recogniser import RATE_HZ, Expected, Transcript
from assistant.speech.templates import Grammar, parse, to_arpa

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
_SHORTEST_S = 0.15
_FAINTEST_DBFS = -62.0
#: Sounds of other speech, each as a word of its own: what none of the phrases fits is heard so.
_PHONES = (
    "AA",
    "AE",
    "AH",
    "AO",
    "AW",
    "AY",
    "B",
    "CH",
    "D",
    "DH",
    "EH",
    "ER",
    "EY",
    "F",
    "G",
    "HH",
    "IH",
    "IY",
    "JH",
    "K",
    "L",
    "M",
    "N",
    "NG",
    "OW",
    "OY",
    "P",
    "R",
    "S",
    "SH",
    "T",
    "TH",
    "UH",
    "UW",
    "V",
    "W",
    "Y",
    "Z",
    "ZH",
)
_OTHER = tuple(f"xx{phone.lower()}" for phone in _PHONES)
#: Probability of other speech before anything was heard: the weightier the phrases, the more.
_OTHER_SHARE = {"command": 0.3, "value": 0.3, "gate": 0.9}


class SphinxRecogniser:
    """PocketSphinx with a small language model from the templates and phones for the rest."""

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
        self._decoder: Any = pocketsphinx.Decoder(
            lm=None,
            hmm=str(folder / "en-us"),
            dict=str(folder / "cmudict-en-us.dict"),
            loglevel="FATAL",
        )
        for word, phones in PRONUNCIATIONS.items():
            if self._decoder.lookup_word(word) is None:
                self._decoder.add_word(word, phones, False)
        for word, phone in zip(_OTHER, _PHONES, strict=True):
            self._decoder.add_word(word, phone, False)
        self._grammars: dict[Any, tuple[str, Grammar]] = {}

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
            said, sure = self._decode(name, sound)
        words = said.split()
        if not words:
            return Transcript("", 0.0, 0.0, end_s, rejected="noise")
        if set(words) & set(_OTHER):
            return Transcript("", 0.0, 0.0, end_s, rejected="other speech")
        template = grammar.match(words)
        if template is None:
            return Transcript("", 0.0, 0.0, end_s, rejected="unsure", heard=said)
        return Transcript(said, sure, 0.0, end_s, template, heard=said)

    def _activate(self, expected: Expected) -> tuple[str, Grammar]:
        weights = {expected.weights.get(t, "command") for t in expected.templates}
        share = max(_OTHER_SHARE[weight] for weight in weights) if weights else 0.0
        key = (expected.templates, expected.unit_words, share)
        if key not in self._grammars:
            usable = []
            for text in expected.templates:
                template = parse(text)
                # Free speech is beyond this engine; so are words without a pronunciation.
                if template.slot != "free" and not self.unknown_words(
                    {*template.before, *template.after}
                ):
                    usable.append(text)
            units = tuple(u for u in expected.unit_words if not self.unknown_words(set(u.split())))
            grammar = Grammar(Expected(tuple(usable), units))
            name = f"step-{len(self._grammars)}" if usable else ""
            if usable:
                with self._lock, TemporaryDirectory() as folder:
                    path = Path(folder) / "step.lm"
                    path.write_text(to_arpa(grammar, _OTHER, share), encoding="utf-8")
                    self._decoder.add_lm_file(name, str(path))
            self._grammars[key] = (name, grammar)
        return self._grammars[key]

    def _decode(self, search: str, sound: bytes) -> tuple[str, float]:
        """Words and a share of certainty, from one pass."""
        decoder = self._decoder
        decoder.activate_search(search)
        decoder.start_utt()
        decoder.process_raw(sound, no_search=False, full_utt=True)
        decoder.end_utt()
        best = decoder.hyp()
        if best is None:
            return "", 0.0
        return best.hypstr, min(1.0, max(0.0, float(best.prob)))
