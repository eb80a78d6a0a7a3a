"""Prove that the weights survive the way to PyTorch and back.

    python check_equal.py MODEL_FOLDER [INT8_FOLDER]

Compares the encoder and the decoder of CTranslate2 with ours on noise and on tones: first on the
weights as they come, then on what we write as int8, read back and multiplied out.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import ctranslate2
import numpy as np
import torch
import weights

TOKENS = [50257, 50362, 4162, 736, 13]


def outputs(folder: Path, kind: str, mel: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """What CTranslate2 makes of `mel`: encoder output, log-probabilities of TOKENS[2:]."""
    engine = ctranslate2.models.Whisper(str(folder), device="cpu", compute_type=kind)
    encoded = engine.encode(ctranslate2.StorageView.from_array(mel), to_cpu=True)
    result = engine.generate(
        encoded,
        [TOKENS[:2]],
        beam_size=1,
        max_length=12,
        return_scores=True,
        length_penalty=0,
        suppress_tokens=[],
        suppress_blank=False,
    )[0]
    return np.array(encoded), (result.sequences_ids[0], result.scores[0])


def ours(network: weights.Whisper, mel: np.ndarray, tokens: list[int]) -> tuple:
    network.eval()
    with torch.no_grad():
        encoded = network.encoder(torch.from_numpy(mel))
        given = torch.tensor([TOKENS[:2] + tokens])
        scores = network.decoder(given, encoded)[0].log_softmax(-1)
        best = scores[1:-1].argmax(-1).tolist() if tokens else []
        total = sum(float(scores[1 + i, t]) for i, t in enumerate(tokens))
        end = float(scores[len(tokens) + 1, 50256])
    return encoded.numpy(), best, total, end


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("other", type=Path, nargs="?")
    options = parser.parse_args()
    rng = np.random.default_rng(1)
    mel = rng.normal(0, 0.4, (1, 80, 600)).astype(np.float32)
    mel[:, 20:24, 100:300] += 1.0
    folder = options.folder
    with tempfile.TemporaryDirectory() as made:
        written = options.other or Path(made)
        if not options.other:
            weights.save(weights.load(folder / "model.bin"), written, folder)
        for name, at, kind in (
            ("as it comes, float32", folder, "float32"),
            ("int8 written here, multiplied out", written, "float32"),
            ("int8 written here, computed in int8", written, "int8"),
        ):
            network = weights.load(at / "model.bin")
            theirs, (ids, score) = outputs(at, kind, mel)
            mine, best, total, end = ours(network, mel, ids)
            apart = np.abs(theirs - mine).max() / np.abs(mine).max()
            ended = total + end if len(ids) < 12 - 2 else total
            print(
                f"{name}: encoder apart by {apart:.1e} of its largest value; "
                f"decoder's pieces {'equal' if best == ids else 'differ'}, "
                f"score {score:.4f} there, {ended:.4f} (without end {total:.4f}) here; "
                f"{(at / 'model.bin').stat().st_size / 1e6:.1f} MB"
            )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
