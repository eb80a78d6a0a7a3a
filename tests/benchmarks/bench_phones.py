"""Which phones are taken for which, by real people's single words; prints what it is told by.

    python tests/benchmarks/bench_phones.py --stride 3 --snr clean --snr 10

A recogniser of bare phones (PocketSphinx, which knows no words here) writes down what it hears;
that is laid beside the dictionary's phones of the word that was said. The weights of
`assistant/dialogue/sounds.py` are held against these counts.
"""

from __future__ import annotations

import argparse
import json
import os
from collections import Counter
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

import numpy as np
import pocketsphinx
from scipy.stats import spearmanr

from assistant.dialogue.phones import PHONES, VOWELS, lost, swap
from assistant.dialogue.sounds import phones
from assistant.speech.audio import mix, read_sound

ROOT = Path(__file__).resolve().parents[2]
SPEECH = Path(os.environ.get("THIRDHAND_SPEECH", ROOT.parent / "shared" / "speech"))
MODEL = Path(pocketsphinx.__file__).parent / "model" / "en-us"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--stride", type=int, default=3, help="take every n-th recording")
    parser.add_argument("--snr", action="append", help="clean or a ratio in dB; may be repeated")
    parser.add_argument("--counts", type=Path, help="write the counts here, as JSON")
    options = parser.parse_args()
    decoder = pocketsphinx.Decoder(
        hmm=str(MODEL / "en-us"), allphone=str(MODEL / "en-us-phone.lm.bin"), lm=None, dict=None,
        lw=2.0, beam=1e-20, pbeam=1e-20, loglevel="FATAL",
    )  # fmt: skip
    said: Counter[str] = Counter()
    heard: Counter[tuple[str, str]] = Counter()
    for snr in options.snr or ["clean", "10"]:
        for samples, word in words(options.stride, snr):
            found = listen(decoder, samples)
            best = min((align(way, found) for way in phones(word)), key=lambda a: a[0])
            for a, b in best[1]:
                heard[a, b] += 1
                said[a] += a != ""
    report(said, heard)
    if options.counts:
        rows = [[a, b, n] for (a, b), n in heard.items()]
        options.counts.write_text(json.dumps(rows), encoding="utf-8")


def words(stride: int, snr: str) -> Iterator[tuple[np.ndarray, str]]:
    lines = (SPEECH / "manifest.jsonl").read_text(encoding="utf-8").splitlines()
    entries = [json.loads(line) for line in lines]
    single = [
        each for each in entries
        if each["kind"] in ("command", "digit") or each.get("subkind") == "isolated_word"
    ]  # fmt: skip
    noises = sorted((SPEECH / "noise").glob("*.flac"))
    for number, each in enumerate(single[::stride]):
        if not each["text"]:
            continue
        samples = read_sound(SPEECH / each["file"])
        if snr != "clean":
            noise = read_sound(noises[number % len(noises)])
            samples = mix(samples, noise, float(snr), np.random.default_rng(number))
        yield samples, each["text"]


def listen(decoder, samples: np.ndarray) -> tuple[str, ...]:  # type: ignore[no-untyped-def]
    decoder.start_utt()
    decoder.process_raw(samples.tobytes(), full_utt=True)
    decoder.end_utt()
    return tuple(s.word for s in decoder.seg() or () if s.word in PHONES)


def align(said: tuple[str, ...], found: tuple[str, ...]) -> tuple[float, list[tuple[str, str]]]:
    """Plain edit distance, so that the counts know nothing of features.

    All swaps cost the same, but a vowel isn't laid beside a consonant if another way is as short.
    """
    table: dict[tuple[int, int], tuple[float, list[tuple[str, str]]]] = {(0, 0): (0, [])}
    for i in range(len(said) + 1):
        for j in range(len(found) + 1):
            ways = []
            if i and j:
                a, b = said[i - 1], found[j - 1]
                cost = 0 if a == b else 1 if (a in VOWELS) == (b in VOWELS) else 1.5
                ways.append((i - 1, j - 1, cost, a, b))
            if i:
                ways.append((i - 1, j, 1, said[i - 1], ""))
            if j:
                ways.append((i, j - 1, 1, "", found[j - 1]))
            options = [
                (table[x, y][0] + cost, [*table[x, y][1], (a, b)]) for x, y, cost, a, b in ways
            ]
            if options:
                table[i, j] = min(options, key=lambda option: option[0])
    return table[len(said), len(found)]


def report(said: Counter[str], heard: Counter[tuple[str, str]]) -> None:
    right = sum(n for (a, b), n in heard.items() if a == b)
    total = sum(said.values())
    print(f"{total} phones said, {right / total:.2f} heard as said")
    print("most often taken for another (both ways together, over chance):")
    pairs = [(rate(a, b, said, heard), a, b) for a, b in combinations(sorted(PHONES), 2)]
    common = [p for p in pairs if min(said[p[1]], said[p[2]]) >= 20]
    for share, a, b in sorted(common, reverse=True)[:25]:
        print(f"  {a:2} {b:2} {share:5.2f}   distance {swap(a, b):.2f}")
    print("most often lost (a hundred said):")
    for phone in sorted((p for p in said if said[p] >= 20), key=lambda p: -heard[p, ""] / said[p]):
        print(f"  {phone:2} {100 * heard[phone, ''] / said[phone]:5.1f}   {lost(phone):.2f}")
    rank = spearmanr([swap(a, b) for _, a, b in common], [-share for share, _, _ in common])
    print(f"{len(common)} pairs; rank correlation of distance with rarity {rank.statistic:.2f}")


def rate(a: str, b: str, said: Counter[str], heard: Counter[tuple[str, str]]) -> float:
    """How often two phones were taken for one another, over what chance alone would make."""
    written: Counter[str] = Counter()
    for (_, b_), n in heard.items():
        written[b_] += n
    chance = (said[a] * written[b] + said[b] * written[a]) / sum(said.values())
    return (heard[a, b] + heard[b, a] + 0.5) / (chance + 0.5)


if __name__ == "__main__":
    main()
