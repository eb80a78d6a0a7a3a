"""Noise of a site, made from sums: what no free recording of ours has.

Each sound is mono at 16 kHz, int16, and the same for the same seed.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from assistant.speech.audio import to_int16
from assistant.speech.recogniser import RATE_HZ

_RMS = 0.1


def _shaped(rng: np.random.Generator, count: int, gain: Callable[[np.ndarray], np.ndarray]):  # type: ignore[no-untyped-def]
    """White noise with a spectrum `gain(frequency_hz)`, of mean square one."""
    spectrum = np.fft.rfft(rng.normal(size=count)) * gain(np.fft.rfftfreq(count, 1 / RATE_HZ))
    wave = np.fft.irfft(spectrum, count)
    return wave / np.sqrt(np.mean(wave**2))


def _finish(wave: np.ndarray) -> np.ndarray:
    return to_int16(wave / np.sqrt(np.mean(wave**2)) * _RMS)


def _hum(t: np.ndarray, first_hz: float, harmonics: int, fall: float) -> np.ndarray:
    parts = [np.sin(2 * np.pi * k * first_hz * t + k) / k**fall for k in range(1, harmonics + 1)]
    wave: np.ndarray = np.sum(parts, axis=0)
    return wave / np.sqrt(np.mean(wave**2))


def compressor(seconds: float = 20.0, seed: int = 1) -> np.ndarray:
    """A piston compressor: strokes 12 times a second, hum of the motor, valves that hiss."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    rng = np.random.default_rng(seed)
    stroke = np.maximum(0, np.sin(2 * np.pi * 12 * t)) ** 4
    hiss = _shaped(rng, len(t), lambda f: 1 / (1 + (f / 1500) ** 2))
    return _finish(0.8 * _hum(t, 50, 12, 1.0) + (0.3 + 1.5 * stroke) * hiss)


def drill(seconds: float = 20.0, seed: int = 2) -> np.ndarray:
    """A hammer drill: 45 blows a second that ring in steel, gears that whine, pauses between."""
    t = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    rng = np.random.default_rng(seed)
    blow = np.exp(-((45 * t) % 1.0) * 6)
    ring = _shaped(rng, len(t), lambda f: np.exp(-(((f - 2200) / 900) ** 2)) + 0.1)
    running = ((t % 5) < 3.5).astype(float) + 0.05
    return _finish(running * (1.5 * blow * ring + 0.5 * _hum(t, 310, 10, 0.7)))


def wind(seconds: float = 20.0, seed: int = 3) -> np.ndarray:
    """Wind on a microphone: low rumble in gusts."""
    count = int(seconds * RATE_HZ)
    rng = np.random.default_rng(seed)
    knots = np.abs(rng.normal(0.6, 0.5, int(seconds * 2) + 2))
    gusts = np.interp(np.arange(count), np.arange(len(knots)) * RATE_HZ / 2, knots)
    return _finish(gusts * _shaped(rng, count, lambda f: 1 / (1 + (f / 120) ** 1.5)))


MADE = {"compressor": compressor, "drill": drill, "wind": wind}
