"""Whisper's text decoder on numpy, so that a search can be held to a grammar token by token.

CTranslate2 runs the encoder, which is nearly all of the work. Its own search can't follow a
grammar, and scoring every sentence on its own repeats the same prefixes; here many hypotheses
share one pass over the sound and keep their state from step to step.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from functools import partial
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
_STRIP = 32


class Decoder:
    """The decoder half of one Whisper model; stateless between `begin` calls."""

    def __init__(self, weights: dict[str, np.ndarray]):
        self._heads = int(weights["num_heads"])
        embeddings = weights["embeddings/weight"]
        halves = embeddings.astype(np.float16)
        exact = np.array_equal(halves, embeddings)  # as the file has them; half the memory
        self._embeddings = halves if exact else embeddings
        self._special = _Strips(embeddings[END + 1 :].T)
        self._common = _Strips(np.concatenate([embeddings[:COMMON], embeddings[END : END + 1]]).T)
        self._positions = weights["position_encodings/encodings"]
        self._norm = (weights["layer_norm/gamma"], weights["layer_norm/beta"])
        self._layers: list[_Layer] = []
        while f"layer_{len(self._layers)}/ffn/linear_0/bias" in weights:
            prefix = f"layer_{len(self._layers)}/"
            layer = {n.removeprefix(prefix): w for n, w in weights.items() if n.startswith(prefix)}
            self._layers.append(_Layer(layer, self._heads))

    def begin(self, encoded: np.ndarray, rare: np.ndarray) -> Decoding:
        """A decoding of one encoded sound, at its first piece of text.

        Parameters
        ----------
        encoded : float32 array, shape (positions, width)
            What the encoder made of the sound.
        rare : int array, shape (n,)
            Tokens from `COMMON` upwards that may occur too.
        """
        crossed = []
        for layer in self._layers:
            both = encoded @ layer.cross_weight.T + layer.cross_bias
            keys, values = np.split(both, 2, axis=-1)
            crossed.append((self._split(keys), self._split(values)))
        return Decoding(self, crossed, rare)

    def _split(self, rows: np.ndarray) -> np.ndarray:
        """(n, width) -> (heads, n, width of a head)."""
        return np.ascontiguousarray(rows.reshape(len(rows), self._heads, -1).transpose(1, 0, 2))


class _Layer:
    """One layer's weights. Each reading of them from memory is most of the work of a step, and
    each call of numpy some more, so that what can be multiplied into them beforehand is.
    """

    def __init__(self, weights: dict[str, np.ndarray], heads: int):
        def scaled(name: str) -> tuple[np.ndarray, np.ndarray]:
            weight, bias = weights[f"{name}/weight"].copy(), weights[f"{name}/bias"].copy()
            # The queries come first.
            weight[:width] *= scale
            bias[:width] *= scale
            return weight, bias

        def norm(name: str) -> tuple[np.ndarray, np.ndarray]:
            return weights[f"{name}/layer_norm/gamma"], weights[f"{name}/layer_norm/beta"]

        def plain(name: str) -> tuple[np.ndarray, np.ndarray]:
            return weights[f"{name}/weight"], weights[f"{name}/bias"]

        width = len(norm("ffn")[0])
        scale = np.float32((width // heads) ** -0.5)
        self.mixed = _Normed(*scaled("self_attention/linear_0"), *norm("self_attention"))
        self.mixed_out = _Linear(*plain("self_attention/linear_1"))
        self.query = _Normed(*scaled("attention/linear_0"), *norm("attention"))
        self.cross_weight, self.cross_bias = plain("attention/linear_1")
        self.query_out = _Linear(*plain("attention/linear_2"))
        self.widen = _Normed(*plain("ffn/linear_0"), *norm("ffn"))
        self.narrow = _Linear(*plain("ffn/linear_1"))


class _Strips:
    """A matrix cut into strips of a few columns.

    For a few rows the linear algebra library copies a wide matrix before each product, which
    takes as long as the product; a narrow one it reads where it lies.
    """

    def __init__(self, matrix: np.ndarray):
        """`matrix` has the shape (inputs, outputs)."""
        inputs, self._outputs = matrix.shape
        padded = np.zeros((inputs, -(-self._outputs // _STRIP) * _STRIP), np.float32)
        padded[:, : self._outputs] = matrix
        self._strips = np.ascontiguousarray(padded.reshape(inputs, -1, _STRIP).transpose(1, 0, 2))

    def __call__(self, x: np.ndarray) -> np.ndarray:
        """(rows, inputs) -> (rows, outputs)."""
        found: np.ndarray = (x @ self._strips).transpose(1, 0, 2).reshape(len(x), -1)
        return found[:, : self._outputs]


class _Linear:
    def __init__(self, weight: np.ndarray, bias: np.ndarray):
        self._product, self._bias = _Strips(weight.T), bias

    def __call__(self, x: np.ndarray) -> np.ndarray:
        result = self._product(x)
        result += self._bias
        return result


class _Normed:
    """A layer norm and the linear map after it: to centre and to stretch is linear too."""

    def __init__(self, weight: np.ndarray, bias: np.ndarray, gamma: np.ndarray, beta: np.ndarray):
        """`weight` has the shape (outputs, inputs)."""
        stretched = weight.T * gamma[:, None]
        self._product = _Strips(stretched - stretched.mean(axis=0))
        self._bias = bias + weight @ beta

    def __call__(self, x: np.ndarray) -> np.ndarray:
        result = self._product(x)
        result /= _spread(x)
        result += self._bias
        return result


class Decoding:
    """Hypotheses over one sound, all of the same length.

    scores: float32 array, shape (1, COMMON + 1 + n), log-probabilities of the first piece of
        text: the common tokens, the end, the rare tokens given to `begin`.
    no_speech: probability that nobody speaks. [1]
    """

    def __init__(
        self, decoder: Decoder, crossed: list[tuple[np.ndarray, np.ndarray]], rare: np.ndarray
    ):
        self._decoder = decoder
        self._crossed = crossed
        self._rare = np.ascontiguousarray(decoder._embeddings[rare].astype(np.float32).T)
        heads, _, size = crossed[0][0].shape
        self._heads, self._size = heads, size
        # Both signs that open a text go through together: each is at a place of its own, and
        # the second one sees the first.
        signs = np.array([START, NO_TIMESTAMPS])
        self._length = len(signs)
        opening = decoder._embeddings[signs] + decoder._positions[: len(signs)]
        self._kept: list[tuple[np.ndarray, np.ndarray]] = []
        self._hidden = self._through(opening, self._open)
        logits = decoder._common(self._hidden)
        # Rare pieces of words, hardly half a percent together at that place, are left out.
        special = np.concatenate([logits[:1], decoder._special(self._hidden[:1])], axis=1)
        self.no_speech = float(np.exp(_log_softmax(special)[0, COMMON + NO_SPEECH - END]))
        self.scores = self._score(logits[1:], self._hidden[1:])

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
        x = decoder._embeddings[tokens] + decoder._positions[self._length]
        self._length += 1
        hidden = self._through(x, partial(self._go_on, parents))
        return self._score(decoder._common(hidden), hidden)

    def _through(
        self, x: np.ndarray, attend: Callable[[int, np.ndarray], np.ndarray]
    ) -> np.ndarray:
        """The layers, row by row; `attend` lets rows see what was written before."""
        rows, width = x.shape
        for index, layer in enumerate(self._decoder._layers):
            mixed = layer.mixed(x).reshape(rows, 3, self._heads, 1, self._size)
            x = x + layer.mixed_out(attend(index, mixed).reshape(rows, width))
            query = layer.query(x).reshape(rows, self._heads, self._size)
            keys, values = self._crossed[index]
            # All rows share the sound: (heads, rows, size) @ (heads, size, positions)
            weights = _softmax(query.transpose(1, 0, 2) @ keys.transpose(0, 2, 1))
            y = (weights @ values).transpose(1, 0, 2).reshape(rows, width)
            x += layer.query_out(y)
            x += layer.narrow(_gelu(layer.widen(x)))
        gamma, beta = self._decoder._norm
        hidden: np.ndarray = (x - x.mean(axis=-1, keepdims=True)) / _spread(x) * gamma + beta
        return hidden

    def _open(self, _index: int, mixed: np.ndarray) -> np.ndarray:
        """Rows are the places of one text: each sees itself and those before it."""
        # (heads, places, size)
        query, keys, values = mixed[:, :, :, 0].transpose(1, 2, 0, 3)
        self._kept.append((keys[None], values[None]))
        later = np.triu(np.full((len(mixed), len(mixed)), -np.inf, np.float32), 1)
        seen: np.ndarray = _softmax(query @ keys.transpose(0, 2, 1) + later) @ values
        return seen.transpose(1, 0, 2)

    def _go_on(self, parents: np.ndarray, index: int, mixed: np.ndarray) -> np.ndarray:
        """Rows are texts: each sees its own beginning and itself."""
        keys, values = self._kept[index]
        keys = np.concatenate([keys[parents], mixed[:, 1]], axis=2)
        values = np.concatenate([values[parents], mixed[:, 2]], axis=2)
        self._kept[index] = (keys, values)
        # (rows, heads, 1, length)
        seen: np.ndarray = _softmax(mixed[:, 0] @ keys.transpose(0, 1, 3, 2)) @ values
        return seen

    def _score(self, logits: np.ndarray, hidden: np.ndarray) -> np.ndarray:
        return _log_softmax(np.concatenate([logits, hidden @ self._rare], axis=1))


def _spread(x: np.ndarray) -> np.ndarray:
    result: np.ndarray = np.sqrt(x.var(axis=-1, keepdims=True) + 1e-5)
    return result


def _softmax(x: np.ndarray) -> np.ndarray:
    raised = np.exp(x - x.max(axis=-1, keepdims=True))
    result: np.ndarray = raised / raised.sum(axis=-1, keepdims=True)
    return result


def _log_softmax(x: np.ndarray) -> np.ndarray:
    """In place: for a whole vocabulary each copy takes longer than the sum."""
    x -= x.max(axis=-1, keepdims=True)
    x -= np.log(np.exp(x).sum(axis=-1, keepdims=True))
    return x


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
