"""What a mouth is: the protocol that every voice fulfils."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol


class Voice(Protocol):
    """Text to a sound file, made once and kept."""

    name: str

    def speak(self, text: str, rate_wpm: int = 150, volume: float = 1.0) -> Path:
        """Path of a WAV file (mono, 16-bit) that says `text`; made on first use, then cached.

        Parameters
        ----------
        text : str
            What to say. Written for ears: no symbols that would be read out.
        rate_wpm : int
            Speaking rate, 80 to 300. [words/min]
        volume : float
            0 to 1. [1]

        Raises
        ------
        ModelMissing
            If no voice can be had on this machine.
        """
        ...
