"""Give the tiny model's decoder the ears of a larger one: its encoder, through a linear map.

    python graft.py --model TINY_FOLDER --encoder BASE_FOLDER --bundle BUNDLE --out FOLDER

Most of what is lost in noise is lost in the encoder; most of the time goes into the decoder's
steps. The map from the larger encoder's output to the tiny one's is fitted by least squares on
what both hear in the same noisy speech, and multiplied into the keys and values of the decoder.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import numpy as np
import torch
import weights
from model import Whisper
from sounds import Site
from train import Clip, read_bundle

CLIPS, BATCH, SAMPLES = 1600, 16, 64000


def both_hear(
    tiny: Whisper, large: Whisper, sound: np.ndarray, clips: list[Clip], device: torch.device
) -> Iterator[tuple[torch.Tensor, torch.Tensor]]:
    """What each encoder makes of the same noisy speech: (places, large + 1) and (places, tiny)."""
    site = Site(device, 5)
    for first in range(0, len(clips) - BATCH + 1, BATCH):
        speech = torch.zeros(BATCH, SAMPLES)
        for row, clip in zip(speech, clips[first : first + BATCH], strict=True):
            part = torch.from_numpy(sound[clip.start : clip.stop][:SAMPLES].astype(np.float32))
            row[: len(part)] = part / 32768
        speech, none = speech.to(device), torch.zeros(BATCH, 1, dtype=torch.bool, device=device)
        ends = torch.full((BATCH, 1), SAMPLES, device=device)
        with torch.no_grad():
            heard = site(speech, torch.zeros_like(speech), none, ends)
            mel = site.features(heard, bend=False)
            given = large.encoder(mel).flatten(0, 1)
            wanted = tiny.encoder(mel).flatten(0, 1)
        given = torch.cat([given, torch.ones_like(given[:, :1])], 1)
        yield given.cpu().double(), wanted.cpu().double()


def fitted(
    pairs: Iterator[tuple[torch.Tensor, torch.Tensor]], seen: int
) -> tuple[torch.Tensor, torch.Tensor, float]:
    """Matrix (tiny width, large width) and offset of the map, share of variance it explains.

    seen : how many of the pairs it is fitted to; the others tell how well.
    """
    squares, crossed, places = 0, 0, 0
    for given, wanted in islice(pairs, seen):
        squares, crossed = squares + given.T @ given, crossed + given.T @ wanted
        places += len(given)
    matrix = torch.linalg.solve(squares + 1e-4 * places * torch.eye(len(squares)), crossed)
    missed = spread = 0.0
    for given, wanted in pairs:
        missed += float((given @ matrix - wanted).square().sum())
        spread += float((wanted - crossed[-1] / places).square().sum())
    return matrix[:-1].T.float(), matrix[-1].float(), 1 - missed / spread


def grafted(tiny: Whisper, large: Whisper, matrix: torch.Tensor, offset: torch.Tensor) -> Whisper:
    """The tiny decoder behind the large encoder."""
    vocabulary, width = tiny.decoder.embeddings.weight.shape
    heads, layers = tiny.decoder.layer[0].self_attention.heads, len(tiny.decoder.layer)
    ears = large.encoder
    shape = (len(ears.layer_norm.weight), ears.layer[0].self_attention.heads, len(ears.layer))
    made = Whisper(vocabulary, width, heads, layers, encoder=shape)
    made.encoder.load_state_dict(ears.state_dict())
    state = tiny.decoder.state_dict()
    for index in range(layers):
        name = f"layer.{index}.attention.linear_1."
        weight = state[name + "weight"]
        state[name + "bias"] = state[name + "bias"] + weight @ offset
        state[name + "weight"] = weight @ matrix
    made.decoder.load_state_dict(state)
    return made


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--model", type=Path, required=True, help="folder of the tiny model")
    parser.add_argument("--encoder", type=Path, required=True, help="folder of the larger model")
    parser.add_argument("--bundle", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    tiny = weights.load(options.model / "model.bin").to(device).eval()
    large = weights.load(options.encoder / "model.bin").to(device).eval()
    sound, clips = read_bundle(options.bundle, 1.0, 5)
    clips = random.Random(5).sample(clips, min(CLIPS, len(clips)))
    pairs = both_hear(tiny, large, sound, clips, device)
    matrix, offset, explained = fitted(pairs, seen=len(clips) // BATCH * 9 // 10)
    print(f"the map explains {explained:.3f} of what the tiny encoder hears in other speech")
    made = grafted(tiny.cpu(), large.cpu(), matrix, offset)
    weights.save(made, options.out, options.model, quantization="float16")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
