from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.errors import AudioError
from assistant.speech.audio import (
    MOST_FRAME_BYTES,
    active_level_dbfs,
    check_samples,
    frames_to_samples,
    level_dbfs,
    mix,
    read_sound,
)

RNG = np.random.default_rng(5)


def _tone(seconds: float, rate_hz: int = 16_000, peak: float = 0.5) -> np.ndarray:
    return peak * np.sin(2 * np.pi * 440 * np.arange(int(seconds * rate_hz)) / rate_hz)


@pytest.mark.parametrize("rate_hz", [8_000, 16_000, 22_050, 48_000])
@pytest.mark.parametrize("suffix", ["wav", "flac"])
def test_a_sound_file_of_any_rate_is_read_at_16_khz(tmp_path, rate_hz, suffix):
    path = tmp_path / f"tone.{suffix}"
    stereo = np.repeat(_tone(0.5, rate_hz)[:, None], 2, axis=1)
    soundfile.write(path, stereo, rate_hz)
    samples = read_sound(path)
    assert samples.dtype == np.int16
    assert abs(len(samples) - 8000) <= 2
    assert level_dbfs(samples) == pytest.approx(-9.0, abs=0.3)


def test_a_missing_or_broken_sound_file_is_named(tmp_path):
    with pytest.raises(AudioError, match=r"no\.wav: there is no such"):
        read_sound(tmp_path / "no.wav")
    broken = tmp_path / "broken.wav"
    broken.write_bytes(b"this is not sound")
    with pytest.raises(AudioError, match=r"broken\.wav: can't be read"):
        read_sound(broken)


def test_g722_without_ffmpeg_says_what_is_missing(tmp_path, monkeypatch):
    path = tmp_path / "digit.g722"
    path.write_bytes(b"\0" * 100)
    monkeypatch.setattr(shutil, "which", lambda _: None)
    with pytest.raises(AudioError, match="ffmpeg"):
        read_sound(path)


def test_g722_is_read_with_ffmpeg():
    path = Path("/usr/share/asterisk/sounds/en/digits/5.g722")
    if not path.is_file() or shutil.which("ffmpeg") is None:
        pytest.skip("needs ffmpeg and the recorded digits of Asterisk")
    assert 0.2 < len(read_sound(path)) / 16_000 < 2


def test_bytes_that_are_no_samples_are_refused():
    assert frames_to_samples(b"\x01\x00\xff\xff").tolist() == [1, -1]
    assert frames_to_samples(b"").tolist() == []
    with pytest.raises(AudioError, match="3 bytes"):
        frames_to_samples(b"abc")
    with pytest.raises(AudioError, match="at most"):
        frames_to_samples(bytes(MOST_FRAME_BYTES + 2))


@pytest.mark.parametrize("wrong", [np.zeros(4), np.zeros((2, 2), np.int16), [1, 2], b"ab"])
def test_samples_of_another_kind_are_refused(wrong):
    with pytest.raises(AudioError, match="one-dimensional int16"):
        check_samples(wrong)


@pytest.mark.parametrize("snr_db", [20.0, 10.0, 0.0])
def test_mixing_measures_speech_where_it_is_and_not_in_the_pauses(snr_db):
    pause = np.zeros(16_000)
    speech = (np.concatenate([pause, _tone(1.0, peak=0.2), pause]) * 32767).astype(np.int16)
    noise = (RNG.normal(0, 0.02, 20_000) * 32767).astype(np.int16)
    mixed = mix(speech, noise, snr_db, RNG)
    assert len(mixed) == len(speech)
    assert active_level_dbfs(speech) - level_dbfs(mixed[:16_000]) == pytest.approx(snr_db, abs=0.5)


def test_mixing_never_clips():
    loud = (_tone(1.0, peak=0.99) * 32767).astype(np.int16)
    mixed = mix(loud, loud[::-1].copy(), 0.0, RNG)
    assert np.abs(mixed.astype(int)).max() < 32_767


def test_the_level_of_silence_is_a_number():
    assert level_dbfs(np.zeros(100, np.int16)) == -120.0
    assert level_dbfs(np.zeros(0, np.int16)) == -120.0
