"""Speech as it comes from a site: mixed, coloured and bent, a whole batch at a time.

Everything is made while training, on the processor that trains; nothing is stored.
"""

from __future__ import annotations

import math

import torch
from torch import Tensor
from torch.fft import irfft, rfft

from assistant.speech.features import HOP, mel_filters

RATE_HZ = 16000
_WINDOW = 400


class Site:
    """Makes noise, rooms, microphones and levels; all chance comes from one generator."""

    def __init__(self, device: torch.device, seed: int):
        self.device = device
        self.chance = torch.Generator(device).manual_seed(seed)
        self._mel = torch.from_numpy(mel_filters()).to(device)
        self._hann = torch.hann_window(_WINDOW, device=device)

    def uniform(self, n: int, low: float, high: float) -> Tensor:
        """Shape (n, 1)."""
        drawn = torch.rand(n, 1, generator=self.chance, device=self.device)
        return drawn * (high - low) + low

    def happens(self, n: int, probability: float) -> Tensor:
        return torch.rand(n, 1, generator=self.chance, device=self.device) < probability

    def _normal(self, *shape: int) -> Tensor:
        return torch.randn(*shape, generator=self.chance, device=self.device)

    def __call__(self, speech: Tensor, others: Tensor, silent: Tensor, ends: Tensor) -> Tensor:
        """Speech in the noise of a site.

        Parameters
        ----------
        speech : float tensor, shape (n, samples)
        others : float tensor, shape (n, samples)
            People talking in the background; zero where nobody does.
        silent : bool tensor, shape (n, 1)
            Where nobody speaks and only the noise is to be left.
        ends : int tensor, shape (n, 1)
            Where the recording ends; what the recogniser pads after it is pure silence.

        Returns
        -------
        float tensor, shape (n, samples)
            At about the level that the recogniser brings everything to.
        """
        n = len(speech)
        speech, factor = self._stretch(speech)
        speech = torch.where(self.happens(n, 0.4), self._room(speech), speech)
        snr_db = torch.where(self.happens(n, 0.18), self.uniform(n, 28, 45), self.uniform(n, 0, 25))
        noise = self._noise(*speech.shape, others)
        scale = _level(speech) / _rms(noise).clamp_min(1e-6) * 10 ** (-snr_db / 20)
        mixed = torch.where(silent, noise / _rms(noise).clamp_min(1e-6), speech + noise * scale)
        mixed = self._microphone(mixed)
        clip = torch.quantile(mixed.abs()[:, ::7], 0.995, dim=1, keepdim=True)
        clip = clip * self.uniform(n, 0.3, 1.0)
        mixed = torch.where(self.happens(n, 0.1), mixed.clamp(-clip, clip), mixed)
        gain_db = -20 + self.uniform(n, -4, 4)
        mixed = mixed / _level(mixed).clamp_min(1e-6) * 10 ** (gain_db / 20)
        inside = torch.arange(mixed.shape[1], device=self.device) < ends / factor
        return mixed.clamp(-1, 1) * inside

    def _stretch(self, speech: Tensor) -> tuple[Tensor, Tensor]:
        """Speed and pitch together, by up to 15 %."""
        n, length = speech.shape
        factor = 2 ** self.uniform(n, -0.2, 0.2)
        factor = torch.where(self.happens(n, 0.6), factor, torch.ones_like(factor))
        at = torch.arange(length, device=self.device) * factor
        low = at.floor().long()
        part = at - low
        inside = low < length - 1
        low = low.clamp_max(length - 2)
        bent = speech.gather(1, low) * (1 - part) + speech.gather(1, low + 1) * part
        return bent * inside, factor

    def _room(self, speech: Tensor) -> Tensor:
        """A room whose echo dies away in 0.1 to 0.9 s."""
        n, length = speech.shape
        size = RATE_HZ // 2
        time = torch.arange(size, device=self.device) / RATE_HZ
        tail = self._normal(n, size) * torch.exp(-6.9 * time / self.uniform(n, 0.1, 0.9))
        tail = tail / tail.square().sum(1, keepdim=True).sqrt()
        tail = tail * 10 ** (self.uniform(n, -18, 2) / 20)
        tail[:, 0] = 1.0
        points = length + size
        echoed = irfft(rfft(speech, points) * rfft(tail, points), points)
        return echoed[:, :length]

    def _noise(self, n: int, length: int, others: Tensor) -> Tensor:
        bins = length // 2 + 1
        hz = torch.linspace(0, RATE_HZ / 2, bins, device=self.device)
        spectrum = rfft(self._normal(n, length))
        slope = -self.uniform(n, -0.2, 1.2)
        # A broad colour and a few resonances, as of housings and halls.
        shape = (hz + 50).log() * slope
        for _ in range(3):
            centre = self.uniform(n, math.log(80), math.log(7000)).exp()
            width = self.uniform(n, 0.05, 0.6)
            bump = torch.exp(-(((hz + 1).log() - centre.log()) ** 2) / (2 * width**2))
            shape = shape + bump * self.uniform(n, 0, 2.5)
        noise = _unit(irfft(spectrum * shape.exp(), length))
        noise = noise * self._swell(n, length)
        weight = self.uniform(n, 0, 1.5) * self.happens(n, 0.35)
        noise = noise + weight * self._motor(n, length)
        weight = self.uniform(n, 0.3, 3) * self.happens(n, 0.25)
        noise = noise + weight * self._knocks(n, length)
        babble = _unit(others) * self.uniform(n, 0.5, 4)
        return noise + babble

    def _swell(self, n: int, length: int) -> Tensor:
        """Loudness that wanders, or beats like a running engine."""
        time = torch.arange(length, device=self.device) / RATE_HZ
        rate = self.uniform(n, math.log(0.2), math.log(25)).exp()
        wave = torch.sin(2 * math.pi * (rate * time + self.uniform(n, 0, 1)))
        return 10 ** (wave * self.uniform(n, 0, 9) / 20)

    def _motor(self, n: int, length: int) -> Tensor:
        """Hum or whine with harmonics, its speed drifting."""
        time = torch.arange(length, device=self.device) / RATE_HZ
        base = self.uniform(n, math.log(45), math.log(900)).exp()
        turns = base * (time + self.uniform(n, -0.04, 0.04) * time**2)
        tone = torch.zeros(n, length, device=self.device)
        for harmonic in (1, 2, 3, 4, 5, 6, 8, 12):
            turned = 2 * math.pi * (harmonic * turns + self.uniform(n, 0, 1))
            audible = (base * harmonic < RATE_HZ / 2.2).float()
            tone += audible * self.uniform(n, 0, 1) / harmonic**0.5 * torch.sin(turned)
        return _unit(tone)

    def _knocks(self, n: int, length: int) -> Tensor:
        """Hammering, dropped tools: short bursts that ring out."""
        starts = torch.rand(n, length, generator=self.chance, device=self.device)
        starts = (starts < self.uniform(n, 0.5, 5) / RATE_HZ).float()
        size = RATE_HZ // 5
        time = torch.arange(size, device=self.device) / RATE_HZ
        ring = torch.sin(2 * math.pi * self.uniform(n, 150, 4000) * time)
        ring = (ring + self._normal(n, size)) * torch.exp(-time / self.uniform(n, 0.003, 0.05))
        points = length + size
        return _unit(irfft(rfft(starts, points) * rfft(ring, points), points)[:, :length])

    def _microphone(self, sound: Tensor) -> Tensor:
        """Telephone and headset bands, and a tilt that every microphone has some of."""
        n, length = sound.shape
        hz = torch.linspace(0, RATE_HZ / 2, length // 2 + 1, device=self.device)
        # A headset over an old radio link loses both ends of the band at once.
        link = self.happens(n, 0.2)
        low = torch.where(
            self.happens(n, 0.2) | link, self.uniform(n, 150, 350), self.uniform(n, 20, 100)
        )
        narrow = torch.where(
            self.happens(n, 0.2) | link, self.uniform(n, 3200, 4000), self.uniform(n, 5500, 8000)
        )
        pass_band = torch.sigmoid((hz - low) / 25) * torch.sigmoid((narrow - hz) / 120)
        tilt = ((hz + 100) / 1000) ** self.uniform(n, -0.25, 0.25)
        return irfft(rfft(sound) * pass_band * tilt, length)

    def features(self, sound: Tensor, bend: bool) -> Tensor:
        """Log-mel features as `assistant.speech.features.log_mel` makes them, of a batch.

        bend: shift all formants by up to 14 % in half of the batch.
        """
        frames = sound.shape[1] // HOP
        spectrum = torch.stft(sound, _WINDOW, HOP, window=self._hann, return_complex=True)
        power = spectrum.abs().square()[:, :, :frames]
        if bend:
            n, bins = power.shape[:2]
            factor = 2 ** self.uniform(n, -0.19, 0.19)
            factor = torch.where(self.happens(n, 0.5), factor, torch.ones_like(factor))
            at = (torch.arange(bins, device=self.device) * factor).clamp_max(bins - 1.001)
            low = at.floor().long()
            part = (at - low)[:, :, None]
            rows = low[:, :, None].expand(-1, -1, frames)
            power = power.gather(1, rows) * (1 - part) + power.gather(1, rows + 1) * part
        mel = (self._mel @ power).clamp_min(1e-10).log10()
        mel = torch.maximum(mel, mel.amax((1, 2), keepdim=True) - 8.0)
        return (mel + 4.0) / 4.0


def _rms(x: Tensor) -> Tensor:
    return x.square().mean(1, keepdim=True).sqrt()


def _unit(x: Tensor) -> Tensor:
    return x / _rms(x).clamp_min(1e-4)


def _level(x: Tensor) -> Tensor:
    """Level of the loud part: root mean square over the frames within 20 dB of the loudest."""
    size = RATE_HZ // 50
    frames = x[:, : x.shape[1] // size * size].unflatten(1, (-1, size)).square().mean(2)
    loud = (frames > frames.amax(1, keepdim=True) * 0.01).float()
    mean = (frames * loud).sum(1, keepdim=True) / loud.sum(1, keepdim=True).clamp_min(1)
    return mean.sqrt().clamp_min(1e-5)
