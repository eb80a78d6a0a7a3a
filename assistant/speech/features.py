"""Log-mel features in the form that Whisper models were trained on."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from assistant.speech.recogniser import RATE_HZ

HOP = 160
_WINDOW = 400
_BANDS = 80


@lru_cache(maxsize=1)
def mel_filters() -> np.ndarray:
    """Slaney-style mel filters, shape (80, 201): linear below 1 kHz, logarithmic above.

    References
    ----------
    .. [1] Slaney, M., Auditory Toolbox, Technical Report 1998-010, `mfcc` (the scale and the
       area normalisation).
    """
    linear_hz, corner_hz, log_step = 200 / 3, 1000.0, np.log(6.4) / 27
    corner = corner_hz / linear_hz
    top = corner + np.log(RATE_HZ / 2 / corner_hz) / log_step
    mels = np.linspace(0, top, _BANDS + 2)
    edges = np.where(
        mels < corner, mels * linear_hz, corner_hz * np.exp(log_step * (mels - corner))
    )
    bins = np.linspace(0, RATE_HZ / 2, _WINDOW // 2 + 1)
    widths = np.diff(edges)
    slopes = edges[:, None] - bins[None]
    rising = -slopes[:-2] / widths[:-1, None]
    falling = slopes[2:] / widths[1:, None]
    filters = np.maximum(0, np.minimum(rising, falling))
    filters *= (2 / (edges[2:] - edges[:-2]))[:, None]
    return filters.astype(np.float32)


def log_mel(samples: np.ndarray, frames: int) -> np.ndarray:
    """Features of the sound, cut or padded with silence to `frames`.

    Parameters
    ----------
    samples : int16 array, shape (n,)
        Mono sound at 16 kHz.
    frames : int
        Number of 10 ms frames wanted.

    Returns
    -------
    float32 array, shape (80, frames)
    """
    wave = np.zeros(frames * HOP, np.float32)
    kept = samples[: len(wave)]
    wave[: len(kept)] = kept / 32768.0
    wave = np.pad(wave, _WINDOW // 2, mode="reflect")
    pieces = np.lib.stride_tricks.sliding_window_view(wave, _WINDOW)[::HOP][:frames]
    window = np.hanning(_WINDOW + 1)[:-1].astype(np.float32)
    power = np.abs(np.fft.rfft(pieces * window, axis=1)) ** 2
    mel = np.log10(np.maximum(mel_filters() @ power.T.astype(np.float32), 1e-10))
    mel = np.maximum(mel, mel.max() - 8.0)
    features: np.ndarray = ((mel + 4.0) / 4.0).astype(np.float32)
    return features
