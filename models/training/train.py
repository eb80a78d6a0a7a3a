"""Tune the tiny English Whisper on a bundle: one command from data to model.

    python train.py --bundle BUNDLE --model FOLDER --out OUT --steps 3000
    python train.py ... --fraction 0.1 --batch 16 --steps 40       # on any processor

Run again with the same arguments it goes on where it stopped; `--minutes` ends a run in time.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import math
import os
import random
import sys
import time
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import soundfile
import torch
from torch.nn import functional as F
from torch.utils.data import DataLoader, Dataset

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parents[1])]

import weights  # noqa: E402
from sounds import Site  # noqa: E402

RATE_HZ = 16000
END, START, NO_SPEECH, NO_TIMESTAMPS = 50256, 50257, 50361, 50362
NOTHING = -100
# Share of what is heard in training; within a group every clip is as likely, but for single words.
SHARES = {
    "sc": 0.36,
    "so": 0.26,
    "rn": 0.14,
    "kokoro": 0.40,
    "piper": 0.12,
    "flite": 0.08,
    "espeak": 0.12,
    "part": 0.24,
    "pc": 0.05,
}
SILENT = 0.03
# A word is met by the number of its recordings to this power: 0 is all alike.
RARE = 0.2
JOINED = 0.5
# How many of the joined strings are one person's, who said so many different digits at least.
OWN, SEVERAL = 0.5, 4
# How often people talk in the background, and how often something else is heard.
BABBLE, NOISE = 0.3, 0.3
# What the engine pads to, and between: three seconds to seven. [samples]
LENGTHS = (48000, 48000, 64000, 80000, 80000, 112000)
PARTS = 8000
# How much faster what joins two models learns, and how many steps later the rest is at its rate.
JOINT, LATE = 4, 500
# Steps between two savings, after each of which a run can go on.
SAVE = 1000
# How much the untuned model's opinion of other speech counts against what was said.
OPINION = 0.5
# What a part of a sentence must not be taken for: it would teach to hear these everywhere.
ANSWERS = "yes no up down left right on off stop go oh zero one two three four five six seven eight"
ANSWERS += " nine to too for won ate know"


@dataclass(frozen=True)
class Clip:
    """start, stop: of the spoken part, in the samples of the whole bundle."""

    start: int
    stop: int
    words: str
    figures: str
    kind: str
    voice: str
    pieces: tuple[int, ...] = ()


def held_out(voice: str) -> bool:
    """True for a quarter of the people who may train: kept to choose thresholds by."""
    # Who says the words of "pc" is not known; these are people of their own.
    if voice in ("pc-computer", "pc-heycomputer", "pc-not-wake-words"):
        return True
    return voice[:3] in ("sc-", "so-", "ls-") and hashlib.sha256(voice.encode()).digest()[1] < 64


class Tokens:
    """Text into pieces: the pair of pieces that makes the commonest piece is joined first."""

    def __init__(self, vocabulary: Path):
        pieces = vocabulary.read_text(encoding="utf-8").split("\n")[:END]
        self._ranks = {piece: number for number, piece in enumerate(pieces)}
        self._word = lru_cache(maxsize=None)(self._cut)

    def __call__(self, text: str) -> list[int]:
        return [piece for word in text.split(" ") for piece in self._word(word)]

    def _cut(self, word: str) -> list[int]:
        parts = list("Ġ" + word)
        while True:
            pairs = [
                (self._ranks.get(parts[i] + parts[i + 1], END), i) for i in range(len(parts) - 1)
            ]
            rank, i = min(pairs, default=(END, 0))
            if rank == END:
                return [self._ranks[part] for part in parts]
            parts[i : i + 2] = [parts[i] + parts[i + 1]]


def written(clip: Clip, pick: random.Random) -> str:
    """How the words are written down: as the untuned model would, numbers in both ways."""
    text = clip.words
    if clip.figures != clip.words and pick.random() < (0.5 if " " in clip.words else 0.2):
        text = clip.figures
    return text[:1].upper() + text[1:] + "."


def read_bundle(folder: Path, fraction: float, seed: int) -> tuple[np.ndarray, list[Clip]]:
    """All sound of a bundle as int16, and its clips."""
    sounds, clips, base = [], [], 0
    for index in sorted(folder.glob("*.jsonl")):
        sound, rate = soundfile.read(index.with_suffix(".ogg"), dtype="int16")
        if rate != RATE_HZ:
            sound = np.ascontiguousarray(sound[:: rate // RATE_HZ])
        for line in index.read_text(encoding="utf-8").splitlines():
            entry = json.loads(line)
            start = entry["at"]
            spoken = sound[start : start + entry["length"]]
            first, last = (0, len(spoken)) if entry["kind"] == "noise" else _spoken(spoken)
            clips.append(
                Clip(
                    base + start + first,
                    base + start + last,
                    entry["words"],
                    entry.get("figures") or _figures(entry["words"], entry["kind"]),
                    entry["kind"],
                    entry["voice"],
                )
            )
        sounds.append(sound)
        base += len(sound)
    pick = random.Random(seed)
    kept = [c for c in clips if pick.random() < fraction]
    return np.concatenate(sounds), kept


def _figures(words: str, kind: str) -> str:
    from assistant.speech.templates import canonical

    return canonical(words) if kind == "digits" else words


def _spoken(sound: np.ndarray) -> tuple[int, int]:
    """First and last sample of what stands out of the silence, with a little around it."""
    size = RATE_HZ // 100
    frames = sound[: len(sound) // size * size].astype(np.float32).reshape(-1, size)
    level = np.sqrt((frames**2).mean(1)) + 1
    loud = np.flatnonzero(level > max(level.max() * 0.03, np.percentile(level, 10) * 2.5))
    if not len(loud):
        return 0, len(sound)
    return max(0, int(loud[0] - 6) * size), min(len(sound), int(loud[-1] + 9) * size)


def parts(
    sound: np.ndarray,
    clips: list[Clip],
    teacher: weights.Whisper,
    site: Site,
    pieces: list[str],
    count: int,
    seed: int,
) -> list[Clip]:
    """Words and halves of words out of other speech, with what the untuned model hears there.

    So that a short sound is not always a command. Sentences are cut where they are quiet.
    """
    pick = random.Random(seed)
    people = [c for c in clips if c.voice[:3] in ("ls-", "so-") and c.kind != "digits"]
    size = RATE_HZ // 100
    cut = []
    while people and len(cut) < count:
        clip = pick.choice(people)
        spoken = sound[clip.start : clip.stop].astype(np.float32)
        # Mostly single words; some longer, so that free text stays what it was.
        length = int((pick.uniform(0.25, 1.2) if pick.random() < 0.7 else 3.2) * 100)
        level = (spoken[: len(spoken) // size * size].reshape(-1, size) ** 2).mean(1)
        if len(level) <= length + 8:
            continue
        places = [pick.randrange(len(level) - length) for _ in range(6)]
        first = min(places, key=lambda i: level[i] + level[i + length])
        if np.sqrt(level[first : first + length].mean()) > 300:
            start = clip.start + first * size
            cut.append(Clip(start, start + length * size, "", "", "other", "part"))
    answers, kept = set(ANSWERS.split()), []
    for i in range(0, len(cut), 250):
        group = cut[i : i + 250]
        speech = torch.zeros(len(group), 80000)
        for row, clip in zip(speech, group, strict=True):
            part = torch.from_numpy(sound[clip.start : clip.stop].astype(np.float32))
            row[4000 : 4000 + len(part)] = part * 3277 / part.square().mean().sqrt() / 32768
        with torch.no_grad():
            mel = site.features(speech.to(site.device).clamp(-1, 1), bend=False)
            heard = teacher.encoder(mel)
            taken = torch.full((len(group), 2), START, device=site.device)
            taken[:, 1] = NO_TIMESTAMPS
            for _ in range(24):
                scores = teacher.decoder(taken, heard)[:, -1]
                scores[:, END + 1 :] = -torch.inf
                taken = torch.cat([taken, scores.argmax(1, keepdim=True)], 1)
        for clip, row in zip(group, taken[:, 2:].tolist(), strict=True):
            text = row[: row.index(END)] if END in row else []
            words = "".join(pieces[t] for t in text).replace("Ġ", " ").lower()
            words = "".join(c if c.isalnum() else " " for c in words).split()
            if words and not answers.issuperset(words):
                kept.append(Clip(clip.start, clip.stop, "", "", "other", "part", tuple(text)))
    return kept


class Batches(Dataset):
    """Batches of sound and text; the same number always gives the same batch."""

    def __init__(self, sound: np.ndarray, clips: list[Clip], tokens: Tokens, seed: int, size: int):
        self._sound, self._tokens, self._seed, self._size = sound, tokens, seed, size
        self._groups = {g: [c for c in clips if c.voice.split("-")[0] == g] for g in SHARES}
        self._groups = {g: c for g, c in self._groups.items() if c}
        # Kind -> word -> clips: there are far more recordings of some words than of others.
        self._words: dict[str, dict[str, list[Clip]]] = {}
        single = [c for c in self._groups.get("rn", []) if " " not in c.words and c.words.isalpha()]
        for clip in [*self._groups.get("sc", []), *single]:
            self._words.setdefault(clip.kind, {}).setdefault(clip.words, []).append(clip)
        self._digits = self._words.get("digits", {})
        # Voice -> digits, of those who said several.
        said: dict[str, list[Clip]] = {}
        for clip in (c for clips in self._digits.values() for c in clips):
            said.setdefault(clip.voice, []).append(clip)
        self._voices = [c for c in said.values() if len({clip.words for clip in c}) >= SEVERAL]
        self._noises = [c for c in clips if c.kind == "noise"]
        self._people = [c for c in clips if c.voice[:3] in ("ls-", "so-")] or clips

    def __getitem__(self, number: int) -> dict[str, torch.Tensor]:
        pick = random.Random(self._seed * 7_368_787 + number)
        length, size = pick.choice(LENGTHS), self._size
        speech = np.zeros((size, length), np.int16)
        others = np.zeros((size, length), np.int16)
        silent = np.zeros((size, 1), bool)
        ends = np.zeros((size, 1), np.int64)
        foreign = np.zeros(size, bool)
        texts = []
        for row in range(size):
            silent[row] = pick.random() < SILENT
            at, text, foreign[row] = self._item(pick, speech[row])
            # Now and then cut off right after the last sound.
            after = 0 if pick.random() < 0.15 else pick.uniform(0, 1.2)
            ends[row] = min(length, at + int(after * RATE_HZ))
            foreign[row] &= not silent[row]
            texts.append([NO_SPEECH] if silent[row] else [NO_TIMESTAMPS, *text, END])
            people = pick.choice((1, 3, 6)) if pick.random() < BABBLE else 0
            behind = [pick.choice(self._people) for _ in range(people)]
            if not people and self._noises and pick.random() < NOISE:
                behind = [pick.choice(self._noises)]
            for clip in behind:
                part = self._sound[clip.start : clip.stop] // len(behind)
                part = np.resize(part, length) if len(part) else np.zeros(length, np.int16)
                others[row] += np.roll(part, pick.randrange(length))
        longest = max(len(text) for text in texts)
        given = np.full((size, longest), END, np.int64)
        wanted = np.full((size, longest), NOTHING, np.int64)
        for row, text in enumerate(texts):
            given[row, : len(text)] = [START, *text[:-1]]
            wanted[row, : len(text)] = text
        return {
            "speech": torch.from_numpy(speech),
            "others": torch.from_numpy(others),
            "silent": torch.from_numpy(silent),
            "foreign": torch.from_numpy(foreign),
            "ends": torch.from_numpy(ends),
            "given": torch.from_numpy(given),
            "wanted": torch.from_numpy(wanted),
        }

    def _kind(self, pick: random.Random) -> str:
        kinds = sorted(self._words)
        return pick.choices(kinds, [2.0 if k == "other" else 1.0 for k in kinds])[0]

    def _word(self, pick: random.Random, words: dict[str, list[Clip]]) -> Clip:
        """Rare words nearly as often as common ones, so that these aren't heard in their place."""
        (clips,) = pick.choices([*words.values()], [len(c) ** RARE for c in words.values()])
        return pick.choice(clips)

    def _item(self, pick: random.Random, row: np.ndarray) -> tuple[int, list[int], bool]:
        """Put one utterance into `row`; its end, what is written for it, if it is no answer."""
        for _ in range(8):
            (group,) = pick.choices([*self._groups], [SHARES[g] for g in self._groups])
            clips = [pick.choice(self._groups[group])]
            if group == "sc":
                # Few of these single words are no commands; without this, all seem to be.
                clips = [self._word(pick, self._words[self._kind(pick)])]
            if group == "sc" and self._digits and pick.random() < JOINED / 2:
                count = pick.choice((2, 3, 3, 4, 5, 6))
                if self._voices and pick.random() < OWN:
                    clips = pick.choices(pick.choice(self._voices), k=count)
                else:
                    clips = [self._word(pick, self._digits) for _ in range(count)]
            words = " ".join(c.words for c in clips)
            joined = clips[0]
            if len(clips) > 1:
                joined = Clip(0, 0, words, _figures(words, "digits"), "digits", "")
            at = int(pick.uniform(0, 0.5) * RATE_HZ)
            pieces = []
            for clip in clips:
                # Now and then the first moments are lost.
                cut = int(pick.uniform(0.06, 0.14) * RATE_HZ) if pick.random() < 0.1 else 0
                pieces.append((at, self._sound[clip.start + cut : clip.stop]))
                at += clip.stop - clip.start - cut + int(pick.uniform(-0.02, 0.15) * RATE_HZ)
            if at * 1.15 < len(row):
                for begin, piece in pieces:
                    begin = max(0, begin)
                    row[begin : begin + len(piece)] += piece
                text = [*joined.pieces] or self._tokens(written(joined, pick))
                return at, text, joined.kind == "other"
        return 0, [], False


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--bundle", type=Path, required=True)
    parser.add_argument("--model", type=Path, required=True, help="folder with model.bin")
    parser.add_argument("--start", type=Path, help="begin with this model (graft.py)")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--steps", type=int, default=3000)
    parser.add_argument("--batch", type=int, default=192)
    parser.add_argument("--rate", type=float, default=6e-5, help="highest learning rate")
    parser.add_argument("--minutes", type=float, default=9.0)
    parser.add_argument("--fraction", type=float, default=1.0, help="share of the clips")
    parser.add_argument("--seed", type=int, default=9)
    parser.add_argument("--workers", type=int, default=(os.cpu_count() or 2) - 1)
    parser.add_argument("--hold-out", action="store_true", help="keep people for calibrate.py")
    options = parser.parse_args()
    stop_at = time.monotonic() + options.minutes * 60
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(options.seed)
    torch.set_float32_matmul_precision("high")
    sound, clips = read_bundle(options.bundle, options.fraction, options.seed)
    clips = [c for c in clips if not (options.hold_out and held_out(c.voice))]
    print(f"{len(clips)} clips, {len(sound) / RATE_HZ / 3600:.2f} h, {device}", flush=True)
    tokens = Tokens(options.model / "vocabulary.txt")
    network = weights.load((options.start or options.model) / "model.bin").to(device)
    # The pieces' own meanings stay: there are far more of them than are met here.
    network.decoder.embeddings.weight.requires_grad_(False)
    network.encoder.position_encodings.encodings.requires_grad_(False)
    trained = {n: p for n, p in network.named_parameters() if p.requires_grad}
    groups = [{"params": [*trained.values()], "more": 1, "late": 1}]
    if options.start:
        # What joins a decoder to an encoder that it doesn't know has the most to learn, and first.
        joint = [p for n, p in trained.items() if ".attention.linear_1." in n]
        rest = [p for n, p in trained.items() if ".attention.linear_1." not in n]
        groups = [
            {"params": rest, "more": 1, "late": LATE},
            {"params": joint, "more": JOINT, "late": 1},
        ]
    optimizer = torch.optim.AdamW(
        groups, lr=options.rate, betas=(0.9, 0.98), weight_decay=0.01, fused=device.type == "cuda"
    )
    site = Site(device, options.seed)
    teacher = weights.load(options.model / "model.bin").to(device).requires_grad_(False)
    pieces = (options.model / "vocabulary.txt").read_text(encoding="utf-8").split("\n")
    count = int(PARTS * options.fraction)
    cut = parts(sound, clips, teacher, site, pieces, count, options.seed)
    print(f"{len(cut)} parts of sentences of {count}", flush=True)
    batches = Batches(sound, clips + cut, tokens, options.seed, options.batch)
    options.out.mkdir(parents=True, exist_ok=True)
    saved, step = options.out / "state.pt", 0
    average = {k: v.detach().clone() for k, v in network.state_dict().items()}
    if saved.exists():
        state = torch.load(saved, map_location=device, weights_only=True)
        network.load_state_dict(state["network"])
        optimizer.load_state_dict(state["optimizer"])
        site.chance.set_state(state["chance"].cpu())
        average, step = state["average"], state["step"]
        print(f"going on at step {step}")

    def save() -> None:
        state = {"network": network.state_dict(), "optimizer": optimizer.state_dict()}
        state |= {"chance": site.chance.get_state(), "average": average, "step": step}
        torch.save(state, saved)
        half = {k: v.detach().cpu().half() for k, v in average.items() if k in trained}
        torch.save(half, options.out / "tuned.pt")

    kept, now = [*average.values()], [*network.state_dict().values()]
    losses: list[torch.Tensor] = []
    begun = time.monotonic()
    numbers = range(step, options.steps)
    made = DataLoader(
        batches,
        batch_size=None,
        sampler=numbers,
        num_workers=options.workers,
        pin_memory=device.type == "cuda",
    )
    for batch in made:
        if time.monotonic() > stop_at:
            break
        foreign = batch["foreign"].nonzero()[:, 0].to(device)
        batch = {name: tensor.to(device, non_blocking=True) for name, tensor in batch.items()}
        warm = min(1.0, (step + 1) / max(1, min(150, options.steps // 10)))
        fall = 0.5 * (1 + math.cos(math.pi * min(1.0, step / options.steps)))
        for group in optimizer.param_groups:
            rate = options.rate * group["more"] * min(1.0, (step + 1) / group["late"])
            group["lr"] = rate * warm * (0.02 + 0.98 * fall)
        loss = _loss(network, teacher, site, batch, foreign)
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(trained.values(), 1.0)
        optimizer.step()
        step += 1
        with torch.no_grad():
            torch._foreach_lerp_(kept, now, max(0.003, 1 / (step + 1)))
        losses.append(loss.detach())
        if step % 50 == 0:
            mean = torch.stack(losses[-50:]).mean()
            print(f"step {step}: loss {mean:.4f}, {time.monotonic() - begun:.0f} s", flush=True)
        if step % SAVE == 0:
            save()
    save()
    print(f"step {step} of {options.steps}")
    return 0


def _loss(
    network: weights.Whisper,
    teacher: weights.Whisper,
    site: Site,
    batch: dict[str, torch.Tensor],
    foreign: torch.Tensor,
) -> torch.Tensor:
    """What was said is to be likely; of other speech, also what the untuned model hears in it.

    foreign: rows of other speech
    """
    wanted, device = batch["wanted"], batch["speech"].device
    half = torch.autocast(device.type, torch.bfloat16, enabled=device.type == "cuda")
    speech = batch["speech"].float() / 32768
    with torch.no_grad():
        mixed = site(speech, batch["others"] / 32768, batch["silent"], batch["ends"])
        mel = site.features(mixed, bend=True)
    with half:
        scores = network(mel, batch["given"])
    each = F.cross_entropy(
        scores.float().flatten(0, 1), wanted.flatten(), ignore_index=NOTHING, reduction="none"
    ).view(wanted.shape)
    weight = (wanted != NOTHING).float()
    weight[:, 0] *= 0.3
    # The first piece only says that there is speech; the untuned model is not asked about it.
    share = (
        OPINION
        * batch["foreign"].float()[:, None]
        * (torch.arange(wanted.shape[1], device=device) > 0)
    )
    told = (each * weight * (1 - share)).sum()
    if len(foreign):
        clean = speech[foreign]
        level = clean.square().mean(1, keepdim=True).sqrt().clamp_min(1e-4)
        with torch.no_grad():
            clean_mel = site.features((clean * 0.05 / level).clamp(-1, 1), bend=False)
            with half:
                opinion = teacher(clean_mel, batch["given"][foreign])
        said = scores[foreign][:, 1:].float().log_softmax(-1)
        thought = opinion[:, 1:].float().softmax(-1)
        told = told - ((thought * said).sum(-1) * weight[foreign][:, 1:] * OPINION).sum()
    return told / weight.sum()


if __name__ == "__main__":
    raise SystemExit(main())
