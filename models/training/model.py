"""Whisper's network in plain PyTorch, with the names that CTranslate2 gives its arrays.

The names make reading and writing the weights a matter of copying; see `weights.py`.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional as F


class Attention(nn.Module):
    """Self-attention: `linear_0` makes queries, keys and values in one go.

    Cross-attention: `linear_0` makes queries, `linear_1` keys and values.
    """

    def __init__(self, width: int, heads: int, sound_width: int = 0):
        super().__init__()
        self.heads, self.crossed = heads, bool(sound_width)
        self.layer_norm = nn.LayerNorm(width)
        if self.crossed:
            self.linear_0 = nn.Linear(width, width)
            self.linear_1 = nn.Linear(sound_width, 2 * width)
            self.linear_2 = nn.Linear(width, width)
        else:
            self.linear_0 = nn.Linear(width, 3 * width)
            self.linear_1 = nn.Linear(width, width)

    def forward(self, x: Tensor, sound: Tensor | None = None, causal: bool = False) -> Tensor:
        y = self.layer_norm(x)
        if self.crossed:
            query = self.linear_0(y)
            key, value = self.linear_1(sound).chunk(2, dim=-1)
        else:
            query, key, value = self.linear_0(y).chunk(3, dim=-1)
        query, key, value = (self._split(each) for each in (query, key, value))
        y = F.scaled_dot_product_attention(query, key, value, is_causal=causal)
        y = y.transpose(1, 2).flatten(2)
        return x + (self.linear_2(y) if self.crossed else self.linear_1(y))

    def _split(self, x: Tensor) -> Tensor:
        """(n, length, width) -> (n, heads, length, width of a head)."""
        return x.unflatten(-1, (self.heads, -1)).transpose(1, 2)


class FeedForward(nn.Module):
    def __init__(self, width: int):
        super().__init__()
        self.layer_norm = nn.LayerNorm(width)
        self.linear_0 = nn.Linear(width, 4 * width)
        self.linear_1 = nn.Linear(4 * width, width)

    def forward(self, x: Tensor) -> Tensor:
        return x + self.linear_1(F.gelu(self.linear_0(self.layer_norm(x))))


class Layer(nn.Module):
    def __init__(self, width: int, heads: int, sound_width: int = 0):
        super().__init__()
        self.self_attention = Attention(width, heads)
        if sound_width:
            self.attention = Attention(width, heads, sound_width)
        self.ffn = FeedForward(width)

    def forward(self, x: Tensor, sound: Tensor | None = None) -> Tensor:
        x = self.self_attention(x, causal=sound is not None)
        if sound is not None:
            x = self.attention(x, sound)
        return self.ffn(x)


class Positions(nn.Module):
    def __init__(self, length: int, width: int):
        super().__init__()
        self.encodings = nn.Parameter(torch.zeros(length, width))


class Encoder(nn.Module):
    def __init__(self, bands: int, width: int, heads: int, layers: int):
        super().__init__()
        self.conv1 = nn.Conv1d(bands, width, 3, padding=1)
        self.conv2 = nn.Conv1d(width, width, 3, stride=2, padding=1)
        self.position_encodings = Positions(1500, width)
        self.layer_norm = nn.LayerNorm(width)
        self.layer = nn.ModuleList(Layer(width, heads) for _ in range(layers))

    def forward(self, mel: Tensor) -> Tensor:
        x = F.gelu(self.conv2(F.gelu(self.conv1(mel)))).transpose(1, 2)
        x = x + self.position_encodings.encodings[: x.shape[1]]
        for layer in self.layer:
            x = layer(x)
        return self.layer_norm(x)


class Decoder(nn.Module):
    def __init__(self, vocabulary: int, width: int, heads: int, layers: int, sound_width: int):
        super().__init__()
        self.embeddings = nn.Embedding(vocabulary, width)
        self.position_encodings = Positions(448, width)
        self.layer_norm = nn.LayerNorm(width)
        self.layer = nn.ModuleList(Layer(width, heads, sound_width) for _ in range(layers))

    def forward(self, tokens: Tensor, sound: Tensor) -> Tensor:
        x = self.embeddings(tokens) + self.position_encodings.encodings[: tokens.shape[1]]
        for layer in self.layer:
            x = layer(x, sound)
        return self.layer_norm(x) @ self.embeddings.weight.T


class Whisper(nn.Module):
    """The tiny English model by default; the encoder may be one of another width."""

    def __init__(
        self,
        vocabulary: int = 51864,
        width: int = 384,
        heads: int = 6,
        layers: int = 4,
        encoder: tuple[int, int, int] | None = None,
    ):
        """encoder: its width, heads and layers, where they aren't the decoder's."""
        super().__init__()
        ears = encoder or (width, heads, layers)
        self.encoder = Encoder(80, *ears)
        self.decoder = Decoder(vocabulary, width, heads, layers, ears[0])

    def forward(self, mel: Tensor, tokens: Tensor) -> Tensor:
        """Scores of what comes after each token.

        Parameters
        ----------
        mel : float tensor, shape (n, 80, frames)
            Log-mel features of 10 ms frames; any even number of them up to 3000.
        tokens : int tensor, shape (n, length)

        Returns
        -------
        float tensor, shape (n, length, vocabulary)
        """
        return self.decoder(tokens, self.encoder(mel))
