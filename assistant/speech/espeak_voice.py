"""Text to sound by pyttsx3 with eSpeak NG, without any system package.

The library and its data come as a Python package; pyttsx3 looks for a library by name, and
finds the one that is loaded already.
"""

from __future__ import annotations

import ctypes
import hashlib
import os
import threading
import wave
from pathlib import Path
from tempfile import TemporaryDirectory, mkstemp
from typing import Any

import numpy as np

from assistant.errors import ModelMissing
from assistant.speech.audio import level_dbfs, read_sound

_SILENT_DBFS = -60.0
#: The library looks voices up by the name of their file.
_FILES = {"en-gb": "en"}
_lock = threading.Lock()
_engine: Any = None
_pieces: list[bytes] = []


class EspeakVoice:
    """A voice that keeps every sentence as a WAV file once it was said."""

    name = "espeak"

    def __init__(self, cache_dir: Path | None = None, voice: str = "en-us"):
        """Choose a voice; nothing is loaded before the first sentence.

        Parameters
        ----------
        cache_dir : Path, optional
            Where the sound files are kept; by default in the user's cache folder.
        voice : str
            An eSpeak NG voice, with a variant if wanted: "en-us", "en-gb", "en-us+f3".
        """
        if cache_dir is None:
            import platformdirs

            cache_dir = Path(platformdirs.user_cache_dir("thirdhand")) / "voice"
        self._cache_dir = cache_dir
        self.voice = voice

    def speak(self, text: str, rate_wpm: int = 150, volume: float = 1.0) -> Path:
        """Path of a WAV file that says `text`; see `Voice.speak`."""
        rate_wpm = min(300, max(80, int(rate_wpm)))
        volume = min(1.0, max(0.0, float(volume)))
        key = f"{self.name}\n{self.voice}\n{rate_wpm}\n{volume:.3f}\n{text}"
        path = self._cache_dir / f"{hashlib.sha256(key.encode()).hexdigest()[:32]}.wav"
        if not path.is_file():
            self._cache_dir.mkdir(parents=True, exist_ok=True)
            # Written beside and renamed: a reader never sees half a file.
            handle, beside = mkstemp(dir=self._cache_dir, suffix=".part")
            os.close(handle)
            try:
                _save(text, self.voice, rate_wpm, volume, Path(beside))
                os.replace(beside, path)
            finally:
                Path(beside).unlink(missing_ok=True)
        return path


def make_speech(text: str, voice: str = "en-us", rate_wpm: int = 150) -> np.ndarray:
    """Speech as int16 samples, mono at 16 kHz.

    Raises
    ------
    ModelMissing
        If eSpeak NG is not on this machine or has no such voice.
    """
    with TemporaryDirectory() as folder:
        path = Path(folder) / "speech.wav"
        _save(text, voice, rate_wpm, 1.0, path)
        return read_sound(path)


def _save(text: str, voice: str, rate_wpm: int, volume: float, path: Path) -> None:
    with _lock:
        library, sample_rate_hz = _load()
        base, plus, variant = voice.lower().partition("+")
        named = _FILES.get(base, base) + plus + variant
        if library.SetVoiceByName(named.encode()) != library.EE_OK:
            raise ModelMissing(f"eSpeak NG has no voice '{voice}'; try en-us or en-gb")
        library.SetParameter(library.RATE, rate_wpm, 0)
        library.SetParameter(library.VOLUME, round(volume * 100), 0)
        _pieces.clear()
        library.Synth(text.encode(), flags=library.ENDPAUSE | library.CHARS_UTF8)
        sound = b"".join(_pieces)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(sample_rate_hz)
        file.writeframes(sound)
    expects_sound = any(c.isalnum() for c in text) and volume >= 0.05
    if expects_sound and level_dbfs(read_sound(path)) < _SILENT_DBFS:
        raise ModelMissing(f"eSpeak NG gave no sound for '{text}' with voice '{voice}'")


def _take(wav: Any, count: int, _events: Any) -> int:
    """Called by the library with each stretch of sound; 0 means go on."""
    if count > 0:
        _pieces.append(ctypes.string_at(wav, count * 2))
    return 0


def _load() -> Any:
    global _engine
    if _engine is None:
        try:
            import espeakng_loader

            # Global, so that pyttsx3 finds these symbols under the name it asks for.
            ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)
            os.environ.setdefault("ESPEAK_DATA_PATH", espeakng_loader.get_data_path())
        except (ImportError, OSError, RuntimeError):
            pass  # a system's own eSpeak NG does as well
        try:
            # Its driver works in a thread of its own: rates and voices came one sentence late
            # and some files empty. Its binding of the library has a mode that waits.
            from pyttsx3.drivers import _espeak

            sample_rate_hz = _espeak.Initialize(_espeak.AUDIO_OUTPUT_SYNCHRONOUS, 0)
            if sample_rate_hz <= 0:
                raise RuntimeError("eSpeak NG can't find its data")
            _espeak.SetSynthCallback(_take)
            _engine = _espeak, sample_rate_hz
        except (ImportError, OSError, RuntimeError) as error:
            raise ModelMissing(
                "no voice on this machine; install one with: pip install pyttsx3 espeakng-loader"
            ) from error
    return _engine
