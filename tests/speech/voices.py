"""Voices for spoken tests: flite where it is installed, eSpeak NG everywhere."""

from __future__ import annotations

import functools
import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import ModelMissing
from assistant.speech.audio import read_sound, to_int16
from assistant.speech.espeak_voice import make_speech

#: Recorded voices: a woman and two men, more natural than formant synthesis.
FLITE_VOICES = ("slt", "rms", "awb")
ESPEAK_VOICES = ("en-us", "en-gb", "en-us+f3")


@functools.lru_cache(maxsize=512)
def _say(text: str, voice: str, rate_wpm: int) -> np.ndarray:
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
