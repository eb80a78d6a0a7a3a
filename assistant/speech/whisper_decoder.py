"""Whisper's text decoder on numpy, so that a search can be held to a grammar token by token.

CTranslate2 runs the encoder, which is nearly all of the work. Its own search can't follow a
grammar, and scoring every sentence on its own repeats the same prefixes; here many hypotheses
share one pass over the sound and keep their state from step to step.
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import numpy as np

from assistant.errors import ModelMissing

END, START, NO_SPEECH, NO_TIMESTAMPS = 50256, 50257, 50361, 50362
_KINDS: dict[int, Any] = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}


def read_weights(path: Path, part: str = "decoder/") -> dict[str, np.ndarray]:
    """The arrays of a CTranslate2 `model.bin` as float32, those in int8 multiplied out.

    Parameters
    ----------
    path : Path
    part : str
        Only names that begin so, and without it; "" for the whole model.

    Raises
    ------
    ModelMissing
        If the file doesn't have the layout of version 6.
    """
    data = memoryview(path.read_bytes())
    at = 0

    def number(form: str) -> int:
        nonlocal at
        (value,) = struct.unpack_from("<" + form, data, at)
        at += struct.calcsize("<" + form)
        return int(value)

    def text() -> str:
        nonlocal at
        length = number("H")
        value = bytes(data[at : at + length - 1]).decode()
        at += length
        return value

    weights: dict[str, np.ndarray] = {}
    try:
        version, spec, _ = number("I"), text(), number("I")
        if version != 6 or spec != "WhisperSpec":
            raise ModelMissing(f"{path} is a {spec} of version {version}; WhisperSpec 6 is needed")
        for _ in range(number("I")):
            name = text()
            shape = [number("I") for _ in range(number("B"))]
            kind, size = _KINDS[number("B")], number("I")
            if name.startswith(part):
                array = np.frombuffer(data[at : at + size], kind).reshape(shape)
                weights[name.removeprefix(part)] = array.astype(np.float32)
            at += size
    except (struct.error, KeyError, ValueError, UnicodeDecodeError) as error:
        raise ModelMissing(f"{path} can't be read as a CTranslate2 model: {error}") from error
    # Whole numbers carry a scale for each row.
    for name in [n for n in weights if n.endswith("_scale")]:
        weight = weights[name.removesuffix("_scale")]
        weight /= weights.pop(name).reshape(-1, *[1] * (weight.ndim - 1))
    return weights


#: Tokens are numbered by how common they are. Scoring the first part of them costs a third of
#: scoring all 51,864 and leaves out only rare pieces of words; those that a grammar needs are
#: scored beside them.
COMMON = 20_000


class Decoder:
    """The decoder half of one Whisper model; stateless between `begin` calls."""

    def __init__(self, weights: dict[str, np.ndarray]):
        self._heads = int(weights["num_heads"])
        embeddings = weights["embeddings/weight"]
        halves = embeddings.astype(np.float16)
        exact = np.array_equal(halves, embeddings)  # as the file has them; half the memory
        self._embeddings = halves if exact else embeddings
        self._special = np.ascontiguousarray(embeddings[END + 1 :].T)
        # Matrix products want the weights the other way round, in memory too: twice as fast.
        common = np.concatenate([embeddings[:COMMON], embeddings[END : END + 1]])
        self._common = np.ascontiguousarray(common.T)
        self._positions = weights["position_encodings/encodings"]
        self._norm = (weights["layer_norm/gamma"], weights["layer_norm/beta"])
        self._layers: list[dict[str, np.ndarray]] = []
        while f"layer_{len(self._layers)}/ffn/linear_0/bias" in weights:
            prefix = f"layer_{len(self._layers)}/"
            self._layers.append(
                {
                    name.removeprefix(prefix): np.ascontiguousarray(array.T)
                    for name, array in weights.items()
                    if name.startswith(prefix)
                }
            )

    def begin(self, encoded: np.ndarray, rare: np.ndarray) -> Decoding:
        """A decoding of one encoded sound.

        Parameters
        ----------
        encoded : float32 array, shape (positions, width)
            What the encoder made of the sound.
        rare : int array, shape (n,)
            Tokens from `COMMON` upwards that may occur too.
        """
        crossed = []
        for layer in self._layers:
            both = _linear(encoded, layer, "attention/linear_1")
            keys, values = np.split(both, 2, axis=-1)
            crossed.append((self._split(keys), self._split(values)))
        return Decoding(self, crossed, rare)

    def _split(self, rows: np.ndarray) -> np.ndarray:
        """(n, width) -> (heads, n, width of a head)."""
        return np.ascontiguousarray(rows.reshape(len(rows), self._heads, -1).transpose(1, 0, 2))


class Decoding:
    """Hypotheses over one sound, all of the same length."""

    def __init__(
        self, decoder: Decoder, crossed: list[tuple[np.ndarray, np.ndarray]], rare: np.ndarray
    ):
        self._decoder = decoder
        self._crossed = crossed
        self._rare = np.ascontiguousarray(decoder._embeddings[rare].astype(np.float32).T)
        heads, _, size = crossed[0][0].shape
        empty = np.zeros((1, heads, 0, size), np.float32)
        self._kept = [(empty, empty) for _ in crossed]
        self._length = 0

    def step(self, tokens: np.ndarray, parents: np.ndarray) -> np.ndarray:
        """Log-probabilities of what comes next.

        Parameters
        ----------
        tokens : int array, shape (rows,)
            The token each hypothesis takes now.
        parents : int array, shape (rows,)
            The row of the step before that each hypothesis grew from.

        Returns
        -------
        float32 array, shape (rows, COMMON + 1 + n)
            The common tokens, the end, the rare tokens given to `begin`.
        """
        decoder = self._decoder
        rows, heads = len(tokens), decoder._heads
        x = decoder._embeddings[tokens] + decoder._positions[self._length]
        width = x.shape[1]
        size = width // heads
        scale = np.float32(size**-0.5)
        for index, layer in enumerate(decoder._layers):
            y = _normal(x, layer, "self_attention/layer_norm")
            mixed = _linear(y, layer, "self_attention/linear_0").reshape(rows, 3, heads, 1, size)
            keys, values = self._kept[index]
            keys = np.concatenate([keys[parents], mixed[:, 1]], axis=2)
            values = np.concatenate([values[parents], mixed[:, 2]], axis=2)
            self._kept[index] = (keys, values)
            # (rows, heads, 1, length)
            weights = _softmax(mixed[:, 0] * scale @ keys.transpose(0, 1, 3, 2))
            y = (weights @ values).reshape(rows, width)
            x = x + _linear(y, layer, "self_attention/linear_1")

            y = _normal(x, layer, "attention/layer_norm")
            query = _linear(y, layer, "attention/linear_0").reshape(rows, heads, size)
            keys, values = self._crossed[index]
            # All rows share the sound: (heads, rows, size) @ (heads, size, positions)
            weights = _softmax(query.transpose(1, 0, 2) * scale @ keys.transpose(0, 2, 1))
            y = (weights @ values).transpose(1, 0, 2).reshape(rows, width)
            x = x + _linear(y, layer, "attention/linear_2")

            y = _normal(x, layer, "ffn/layer_norm")
            y = _gelu(_linear(y, layer, "ffn/linear_0"))
            x = x + _linear(y, layer, "ffn/linear_1")
        self._length += 1
        self._hidden = _scaled(x, *decoder._norm)
        self._logits = self._hidden @ decoder._common
        return _log_softmax(np.concatenate([self._logits, self._hidden @ self._rare], axis=1))

    def no_speech(self) -> float:
        """Probability, after the first step, that nobody speaks. [1]

        Rare pieces of words, hardly half a percent together at that place, are left out.
        """
        special = self._hidden @ self._decoder._special
        scores = _log_softmax(np.concatenate([self._logits, special], axis=1))
        return float(np.exp(scores[0, COMMON + NO_SPEECH - END]))


def _linear(x: np.ndarray, layer: dict[str, np.ndarray], name: str) -> np.ndarray:
    result: np.ndarray = x @ layer[f"{name}/weight"] + layer[f"{name}/bias"]
    return result


def _normal(x: np.ndarray, layer: dict[str, np.ndarray], name: str) -> np.ndarray:
    return _scaled(x, layer[f"{name}/gamma"], layer[f"{name}/beta"])


def _scaled(x: np.ndarray, gamma: np.ndarray, beta: np.ndarray) -> np.ndarray:
    centred = x - x.mean(axis=-1, keepdims=True)
    spread = np.sqrt((centred**2).mean(axis=-1, keepdims=True) + 1e-5)
    result: np.ndarray = centred / spread * gamma + beta
    return result


def _softmax(x: np.ndarray) -> np.ndarray:
    raised = np.exp(x - x.max(axis=-1, keepdims=True))
    result: np.ndarray = raised / raised.sum(axis=-1, keepdims=True)
    return result


def _log_softmax(x: np.ndarray) -> np.ndarray:
    top = x.max(axis=-1, keepdims=True)
    result: np.ndarray = x - top - np.log(np.exp(x - top).sum(axis=-1, keepdims=True))
    return result


def _gelu(x: np.ndarray) -> np.ndarray:
    """x times the normal distribution function.

    References
    ----------
    .. [1] Abramowitz, M. and Stegun, I. A., Handbook of Mathematical Functions, 7.1.26.
    """
    z = np.abs(x) * np.float32(2**-0.5)
    t = 1 / (1 + np.float32(0.3275911) * z)
    series = t * (
        np.float32(0.254829592)
        + t
        * (
            np.float32(-0.284496736)
            + t
            * (
                np.float32(1.421413741)
                + t * (np.float32(-1.453152027) + t * np.float32(1.061405429))
            )
        )
    )
    erf = np.sign(x) * (1 - series * np.exp(-z * z))
    result: np.ndarray = x * np.float32(0.5) * (1 + erf)
    return result
