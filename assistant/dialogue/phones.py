"""The phones of American English by how they are made, and how far apart two of them are.

Noise and a cheap microphone take voicing and place away before manner, and a vowel's neighbours
before its height. The weights are held against what a recogniser of bare phones makes of real
people's words (`tests/benchmarks/bench_phones.py`).
"""

from __future__ import annotations

# A consonant's place along the mouth, lips to throat, and how it is made. Source: the chart of
# the International Phonetic Association; the steps between places are ours.
_PLACES = {
    "lips": 0.0, "lip-teeth": 0.3, "teeth": 0.6, "ridge": 1.0, "behind": 1.5, "palate": 2.0,
    "velum": 2.6, "throat": 3.2,
}  # fmt: skip
_CONSONANTS = {
    "P": ("lips", "stop", 0), "B": ("lips", "stop", 1), "M": ("lips", "nasal", 1),
    "F": ("lip-teeth", "hiss", 0), "V": ("lip-teeth", "hiss", 1),
    "TH": ("teeth", "hiss", 0), "DH": ("teeth", "hiss", 1),
    "T": ("ridge", "stop", 0), "D": ("ridge", "stop", 1), "N": ("ridge", "nasal", 1),
    "S": ("ridge", "hiss", 0), "Z": ("ridge", "hiss", 1), "L": ("ridge", "side", 1),
    "SH": ("behind", "hiss", 0), "ZH": ("behind", "hiss", 1),
    "CH": ("behind", "burst", 0), "JH": ("behind", "burst", 1), "R": ("behind", "curl", 1),
    "Y": ("palate", "glide", 1), "W": ("lips", "glide", 1),
    "K": ("velum", "stop", 0), "G": ("velum", "stop", 1), "NG": ("velum", "nasal", 1),
    "HH": ("throat", "hiss", 0),
}  # fmt: skip
# A vowel's height (0 close, 3 open), how far back (0 to 2) and where it glides to.
_VOWELS = {
    "IY": (0.0, 0.0, ""), "IH": (0.7, 0.3, ""), "EY": (1.0, 0.0, "front"), "EH": (1.7, 0.2, ""),
    "AE": (2.4, 0.2, ""), "AA": (3.0, 1.6, ""), "AO": (2.2, 2.0, ""), "AH": (1.8, 1.2, ""),
    "OW": (1.4, 2.0, "back"), "UH": (0.7, 1.6, ""), "UW": (0.0, 1.8, "back"),
    "ER": (1.5, 1.1, "r"), "AY": (2.6, 1.0, "front"), "AW": (2.6, 1.2, "back"),
    "OY": (2.0, 1.8, "front"),
}  # fmt: skip
VOWELS = frozenset(_VOWELS)
PHONES = frozenset((*_CONSONANTS, *_VOWELS))

_VOICE, _PLACE, _MANNER = 0.25, 0.3, 0.7
_HEIGHT, _BACK, _GLIDE = 0.3, 0.35, 0.1
_MOST = 0.9  # two consonants, or two vowels, that share nothing
_MIXED = 1.2  # a vowel is no consonant, but for a glide and the vowel that it starts from
_GLIDES = {frozenset(pair): 0.5 for pair in (("IY", "Y"), ("ER", "R"), ("UW", "W"), ("OW", "W"))}
_KIN = {
    frozenset(pair): share
    for *pair, share in (
        ("stop", "burst", 0.6), ("hiss", "burst", 0.6), ("stop", "hiss", 0.6),
        ("side", "curl", 0.6), ("side", "glide", 0.6), ("curl", "glide", 0.6),
    )
}  # fmt: skip


def _between(a: str, b: str) -> float:
    if a == b:
        return 0.0
    if a in _CONSONANTS and b in _CONSONANTS:
        (place, made, voice), (other, way, breath) = _CONSONANTS[a], _CONSONANTS[b]
        manner = 0.0 if made == way else _KIN.get(frozenset((made, way)), 1.0)
        far = abs(_PLACES[place] - _PLACES[other])
        return min(_MOST, _VOICE * (voice != breath) + _PLACE * min(far, 1.0) + _MANNER * manner)
    if a in _VOWELS and b in _VOWELS:
        (high, back, glide), (low, front, end) = _VOWELS[a], _VOWELS[b]
        apart = _HEIGHT * abs(high - low) + _BACK * abs(back - front) + _GLIDE * (glide != end)
        return min(_MOST, apart)
    return _GLIDES.get(frozenset((a, b)), _MIXED)


_SWAP = {a: {b: _between(a, b) for b in PHONES} for a in PHONES}


# A breath is lost most often of all phones (30 of 100; most others 0 to 20).
_LOST = {phone: 0.7 if phone == "HH" else 1.0 for phone in PHONES}


def swap(a: str, b: str) -> float:
    """Cost of taking one phone for another."""
    return _SWAP[a][b]


def swaps(phone: str) -> dict[str, float]:
    """Cost of taking a phone for each other one."""
    return _SWAP[phone]


def lost(phone: str) -> float:
    """Cost of a phone that isn't heard, or is heard where none was."""
    return _LOST[phone]
