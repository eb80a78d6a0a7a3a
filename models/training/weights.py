"""Weights between CTranslate2's `model.bin` and PyTorch.

Reading is the decoder's own, writing is left to CTranslate2.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import torch
from model import Whisper

from assistant.speech.whisper_decoder import read_weights


def load(path: Path) -> Whisper:
    """The network with the weights of a `model.bin`."""
    arrays = read_weights(path, part="")

    def shape(part: str, width: int) -> tuple[int, int, int]:
        layers = sum(n.startswith(part) and n.endswith("ffn/linear_0/bias") for n in arrays)
        return width, int(arrays[part + "num_heads"]), layers

    vocabulary, width = arrays["decoder/embeddings/weight"].shape
    ears = shape("encoder/", len(arrays["encoder/conv1/bias"]))
    network = Whisper(vocabulary, *shape("decoder/", width), encoder=ears)
    wanted = network.state_dict()
    network.load_state_dict({name: torch.from_numpy(arrays[_there(name)]) for name in wanted})
    return network


def tuned(folder: Path, changed: Path, share: float = 1.0) -> Whisper:
    """The network of `folder`, moved by `share` of the way to the weights in `changed`."""
    network = load(folder / "model.bin")
    old, new = network.state_dict(), torch.load(changed, weights_only=True)
    moved = {name: old[name].lerp(new[name].float(), share) for name in new}
    network.load_state_dict(old | moved)
    return network


def _there(name: str) -> str:
    """Our name of an array -> CTranslate2's."""
    parts = name.split(".")
    for i in [i for i, p in enumerate(parts) if p.isdigit()]:
        parts[i - 1 : i + 1] = [f"{parts[i - 1]}_{parts[i]}", ""]
    named = "/".join(p for p in parts if p)
    if "layer_norm" in parts:
        named = named.replace("layer_norm/weight", "layer_norm/gamma")
        named = named.replace("layer_norm/bias", "layer_norm/beta")
    return named


def save(network: Whisper, folder: Path, like: Path, quantization: str = "int8") -> None:
    """Write a CTranslate2 model folder; vocabulary and settings are those of the folder `like`."""
    from ctranslate2.specs import whisper_spec

    folder.mkdir(parents=True, exist_ok=True)
    halves = (network.encoder.layer, network.decoder.layer)
    shapes = [(len(half), half[0].self_attention.heads) for half in halves]
    spec = whisper_spec.WhisperSpec(*shapes[0], *shapes[1])
    for name, tensor in network.state_dict().items():
        *path, leaf = _there(name).split("/")
        target = spec
        for part in path:
            stem, _, index = part.rpartition("_")
            named = hasattr(target, part)
            target = getattr(target, part) if named else getattr(target, stem)[int(index)]
        setattr(target, leaf, np.array(tensor.detach().cpu().float(), np.float32))
    spec.decoder.projection.weight = spec.decoder.embeddings.weight
    pieces = (like / "vocabulary.txt").read_text(encoding="utf-8").split("\n")
    spec.register_vocabulary(pieces[: network.decoder.embeddings.num_embeddings])
    settings = json.loads((like / "config.json").read_text(encoding="utf-8"))
    for name in ("suppress_ids", "suppress_ids_begin", "lang_ids", "alignment_heads"):
        spec.config.add_attribute(name, settings.get(name))
    spec.validate()
    spec.optimize(quantization=quantization)
    spec._serialize(str(folder / "model.bin"))
    for name in ("vocabulary.txt", "config.json"):
        (folder / name).write_bytes((like / name).read_bytes())
