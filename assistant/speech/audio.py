"""Sound as the engines want it: int16, mono, 16 kHz."""

from __future__ import annotations

import io
import math
import shutil
import subprocess
from pathlib import Path

import numpy as np
import soundfile
import soxr

from assistant.errors import AudioError
from assistant.speech.recogniser import RATE_HZ

#: One message of a device carries a fraction of a second; a minute is surely a mistake.
MOST_FRAME_BYTES = 60 * RATE_HZ * 2
_FRAME = 320
_SILENCE_DBFS = -120.0


def read_sound(path: Path | str) -> np.ndarray:
    """Samples of a sound file.

    Parameters
    ----------
    path : Path or str
        WAV, FLAC, OGG or any other file that libsndfile reads; `.g722` needs `ffmpeg`.

    Returns
    -------
    int16 array, shape (n,)
        Mono at 16 kHz; several channels are averaged.

    Raises
    ------
    AudioError
        If the file is missing or isn't sound.
    """
    path = Path(path)
    if not path.is_file():
        raise AudioError(f"{path}: there is no such sound file")
    if path.suffix.lower() == ".g722":
        return _read_with_ffmpeg(path)
    try:
        data, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    except (soundfile.LibsndfileError, RuntimeError) as error:
        raise AudioError(f"{path}: can't be read as sound ({error}); WAV or FLAC works") from error
    return to_int16(resample(data.mean(axis=1), rate_hz))


def _read_with_ffmpeg(path: Path) -> np.ndarray:
    program = shutil.which("ffmpeg")
    if program is None:
        raise AudioError(f"{path}: G.722 needs the program ffmpeg on the path; or convert to WAV")
    command = [program, "-v", "error", "-i", str(path), "-f", "s16le", "-ac", "1"]
    done = subprocess.run([*command, "-ar", str(RATE_HZ), "-"], capture_output=True, check=False)
    if done.returncode or not done.stdout:
        problem = done.stderr.decode(errors="replace").strip().splitlines()
        raise AudioError(f"{path}: ffmpeg can't read it ({problem[-1] if problem else 'empty'})")
    return np.frombuffer(done.stdout, "<i2").astype(np.int16)


def resample(wave: np.ndarray, rate_hz: int) -> np.ndarray:
    """Float samples at 16 kHz."""
    if rate_hz == RATE_HZ:
        return wave
    result: np.ndarray = soxr.resample(wave, rate_hz, RATE_HZ)
    return result


def to_int16(wave: np.ndarray) -> np.ndarray:
    """Float samples (full scale 1) as int16, clipped."""
    return np.clip(np.round(wave * 32768.0), -32768, 32767).astype(np.int16)


def wav(samples: np.ndarray) -> bytes:
    """A WAV file of 16-bit mono samples at `RATE_HZ`."""
    check_samples(samples)
    out = io.BytesIO()
    soundfile.write(out, samples, RATE_HZ, format="WAV", subtype="PCM_16")
    return out.getvalue()


def frames_to_samples(frame: bytes | bytearray | memoryview) -> np.ndarray:
    """Samples of one binary message: 16-bit little-endian mono PCM at 16 kHz.

    Raises
    ------
    AudioError
        If the bytes can't be that.
    """
    size = len(frame)
    if size % 2:
        raise AudioError(f"a sound frame has {size} bytes; 16-bit samples need an even number")
    if size > MOST_FRAME_BYTES:
        raise AudioError(f"a sound frame has {size} bytes; at most {MOST_FRAME_BYTES} are taken")
    return np.frombuffer(frame, "<i2").astype(np.int16)


def check_samples(samples: np.ndarray) -> None:
    """Raise AudioError unless `samples` is a one-dimensional int16 array."""
    if not isinstance(samples, np.ndarray) or samples.dtype != np.int16 or samples.ndim != 1:
        found = (
            f"{samples.dtype} array of shape {samples.shape}"
            if isinstance(samples, np.ndarray)
            else type(samples).__name__
        )
        raise AudioError(f"sound must be a one-dimensional int16 array, not a {found}")


def level_dbfs(samples: np.ndarray) -> float:
    """Level against a full-scale square wave; silence is -120. [dBFS]"""
    if not len(samples):
        return _SILENCE_DBFS
    mean = float(np.mean(np.square(samples.astype(np.float64) / 32768.0)))
    return max(_SILENCE_DBFS, 10 * math.log10(mean)) if mean > 0 else _SILENCE_DBFS


def frame_levels_dbfs(samples: np.ndarray) -> np.ndarray:
    """Level of each whole 20 ms frame. [dBFS]"""
    count = len(samples) // _FRAME
    frames = samples[: count * _FRAME].reshape(count, _FRAME).astype(np.float64) / 32768.0
    floor = 10 ** (_SILENCE_DBFS / 10)
    levels: np.ndarray = 10 * np.log10(np.maximum(np.mean(frames**2, axis=1), floor))
    return levels


def active_level_dbfs(samples: np.ndarray) -> float:
    """Level of the frames that carry the speech: those within 20 dB of the loud ones. [dBFS]"""
    levels = frame_levels_dbfs(samples)
    if not len(levels):
        return level_dbfs(samples)
    active = levels[levels >= np.percentile(levels, 95) - 20]
    return float(10 * np.log10(np.mean(10 ** (active / 10))))


def mix(
    speech: np.ndarray, noise: np.ndarray, snr_db: float, rng: np.random.Generator
) -> np.ndarray:
    """Speech with a random stretch of the noise under it.

    Parameters
    ----------
    speech, noise : int16 array, shape (n,), (m,)
        Mono sound at 16 kHz; noise that is too short is repeated.
    snr_db : float
        Level of the active frames of the speech over the level of the noise. [dB]
    rng : numpy.random.Generator
        Picks the stretch.

    Returns
    -------
    int16 array, shape (n,)
        Turned down as a whole where the sum would clip, so that the ratio stays.
    """
    if not len(noise) or not len(speech):
        raise AudioError("speech and noise to be mixed must not be empty")
    offset = int(rng.integers(len(noise)))
    stretch = np.resize(np.roll(noise, -offset), len(speech)).astype(np.float64)
    noise_dbfs = level_dbfs(stretch.astype(np.int16))
    gain_db = active_level_dbfs(speech) - snr_db - noise_dbfs
    total = speech / 32768.0 + stretch / 32768.0 * 10 ** (gain_db / 20)
    peak = float(np.max(np.abs(total)))
    return to_int16(total / peak * 0.99 if peak > 0.99 else total)
