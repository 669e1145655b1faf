"""The recogniser in PyTorch, as a function of its named weights, with an adapter that can be trained.

Names and shapes are those of ``joblog.speech.whisper.weights``; what is exported here is merged there.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as nnf
from torch import Tensor

Weights = dict[str, Tensor]

HEADS = 6
LAYERS = 4
START, BARE, END = 50257, 50362, 50256  # start of transcript, no timestamps, end of text
PROMPT = (START, BARE)


def attention(query: Tensor, key: Tensor, value: Tensor, causal: bool) -> Tensor:
    """Scaled dot-product attention over ``HEADS`` heads; shapes (batch, time, width)."""
    batch, time, width = query.shape
    heads = [
        part.view(batch, -1, HEADS, width // HEADS).transpose(1, 2) for part in (query, key, value)
    ]
    if hasattr(nnf, "scaled_dot_product_attention"):
        mixed = nnf.scaled_dot_product_attention(*heads, is_causal=causal)
    else:  # older PyTorch
        score = heads[0] @ heads[1].transpose(2, 3) / math.sqrt(width // HEADS)
        if causal:
            score = score + torch.full((time, time), -1e9, device=score.device).triu(1)
        mixed = score.softmax(-1) @ heads[2]
    return mixed.transpose(1, 2).reshape(batch, time, width)


def linear(weights: Weights, name: str, x: Tensor) -> Tensor:
    """Apply the linear layer ``name``."""
    return nnf.linear(x, weights[f"{name}/weight"], weights[f"{name}/bias"])


def norm(weights: Weights, name: str, x: Tensor) -> Tensor:
    """Apply the layer normalisation ``name``."""
    gamma, beta = weights[f"{name}/gamma"], weights[f"{name}/beta"]
    return nnf.layer_norm(x, (x.shape[-1],), gamma, beta)


def self_attention(weights: Weights, name: str, x: Tensor, causal: bool) -> Tensor:
    """Add self-attention to ``x``."""
    both = norm(weights, f"{name}/layer_norm", x)
    query, key, value = linear(weights, f"{name}/linear_0", both).chunk(3, -1)
    return x + linear(weights, f"{name}/linear_1", attention(query, key, value, causal))


def feed_forward(weights: Weights, name: str, x: Tensor) -> Tensor:
    """Add the feed-forward part to ``x``."""
    inner = nnf.gelu(linear(weights, f"{name}/linear_0", norm(weights, f"{name}/layer_norm", x)))
    return x + linear(weights, f"{name}/linear_1", inner)


def encode(weights: Weights, features: Tensor) -> Tensor:
    """Encode log-mel features (batch, 80, frames) to (batch, frames / 2, 384)."""
    x = nnf.gelu(
        nnf.conv1d(
            features, weights["encoder/conv1/weight"], weights["encoder/conv1/bias"], padding=1
        )
    )
    second = weights["encoder/conv2/weight"], weights["encoder/conv2/bias"]
    x = nnf.gelu(nnf.conv1d(x, *second, stride=2, padding=1)).transpose(1, 2)
    x = x + weights["encoder/position_encodings/encodings"][: x.shape[1]]
    for layer in range(LAYERS):
        x = self_attention(weights, f"encoder/layer_{layer}/self_attention", x, causal=False)
        x = feed_forward(weights, f"encoder/layer_{layer}/ffn", x)
    return norm(weights, "encoder/layer_norm", x)


def decode(
    weights: Weights, tokens: Tensor, encoded: Tensor, wanted: Tensor | None = None
) -> Tensor:
    """Return the logits after each token; tokens (batch, length), encoded (batch or 1, time, 384).

    With ``wanted`` (batch, length, bool) only the logits there, as (number wanted, vocabulary).
    """
    table = weights["decoder/embeddings/weight"]
    x = (
        nnf.embedding(tokens, table)
        + weights["decoder/position_encodings/encodings"][: tokens.shape[1]]
    )
    for layer in range(LAYERS):
        x = self_attention(weights, f"decoder/layer_{layer}/self_attention", x, causal=True)
        name = f"decoder/layer_{layer}/attention"
        query = linear(weights, f"{name}/linear_0", norm(weights, f"{name}/layer_norm", x))
        key, value = linear(weights, f"{name}/linear_1", encoded).chunk(2, -1)
        if key.shape[0] != query.shape[0]:
            key, value = (part.expand(query.shape[0], -1, -1) for part in (key, value))
        x = x + linear(weights, f"{name}/linear_2", attention(query, key, value, causal=False))
        x = feed_forward(weights, f"decoder/layer_{layer}/ffn", x)
    x = x if wanted is None else x[wanted]
    return nnf.linear(norm(weights, "decoder/layer_norm", x), table)


class Change(torch.nn.Module):
    """Changes to the encoder and to the decoder's cross-attention, as large as the weights.

    The rest of the decoder is its language side, on which dictation lives: it stays as it was.
    """

    def __init__(self, base: Weights) -> None:
        super().__init__()
        self.names = [name for name in base if changes(name)]
        self.deltas = torch.nn.ParameterList(torch.zeros_like(base[name]) for name in self.names)

    def merged(self, base: Weights) -> Weights:
        """Return the weights with the changes added."""
        changed = dict(base)
        for name, delta in zip(self.names, self.deltas, strict=True):
            changed[name] = base[name] + delta
        return changed

    def save(self, path: Path) -> None:
        """Write the changes as the loader merges them."""
        pairs = zip(self.names, self.deltas, strict=True)
        values = {name: delta.detach().cpu().numpy() for name, delta in pairs}
        np.savez(path, **packed(values))  # type: ignore[arg-type]


def packed(changes: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Return changes in eight bits with a scale for each row; vectors in sixteen."""
    parts: dict[str, np.ndarray] = {}
    for name, change in changes.items():
        value = change.astype(np.float32)
        if value.ndim < 2:
            parts[f"{name}.delta"] = value.astype(np.float16)
            continue
        rows = value.reshape(len(value), -1)
        scale = np.maximum(np.abs(rows).max(axis=1) / 127, 1e-12).astype(np.float32)
        eight = np.round(rows / scale[:, None]).astype(np.int8)
        parts[f"{name}.eight"] = eight.reshape(value.shape)
        parts[f"{name}.scale"] = scale
    return parts


def changes(name: str) -> bool:
    """Say whether a weight is trained."""
    cross = name.startswith("decoder/layer_") and "/attention/" in name
    return (name.startswith("encoder/") and "position" not in name) or cross


def load_base(path: Path, device: str) -> Weights:
    """Read the unadapted weights to ``device`` as float32."""
    from joblog.speech.whisper.weights import parse_weights

    read = parse_weights(path.read_bytes())
    return {name: torch.tensor(value, device=device) for name, value in read.items() if value.ndim}


def log_mel(sound: Tensor, filters: Tensor, warp: Tensor | None = None) -> Tensor:
    """Return the features of (batch, samples) sounds: (batch, 80, samples / 160).

    ``warp`` (batch, 1) stretches each row's frequencies, as a longer or shorter vocal tract does (Lee
    and Rose 1996); above 5/6 of the band the rest is squeezed or stretched to fit.
    """
    window = torch.hann_window(400, device=sound.device)
    spectrum = torch.stft(sound, 400, 160, window=window, center=True, return_complex=True)[
        ..., :-1
    ]
    power = spectrum.abs().square()
    if warp is not None:
        power = warped(power, warp)
    logarithm = (filters @ power).clamp(min=1e-10).log10()
    top = logarithm.amax(dim=(1, 2), keepdim=True)
    return (torch.maximum(logarithm, top - 8.0) + 4.0) / 4.0


def warped(power: Tensor, warp: Tensor) -> Tensor:
    """Return (batch, bins, frames) spectra with their frequencies multiplied by ``warp`` (batch, 1)."""
    bins = power.shape[1] - 1
    target = torch.arange(bins + 1, device=power.device)[None] / bins
    knee = 5 / 6 * torch.minimum(warp, torch.ones_like(warp))  # in the result's frequencies
    below = target / warp
    slope = (1 - knee / warp) / (1 - knee)
    source = torch.where(target < knee, below, knee / warp + (target - knee) * slope) * bins
    low = source.floor().clamp(0, bins - 1)
    share = (source - low)[..., None]
    index = low.long()[..., None].expand(-1, -1, power.shape[2])
    return power.gather(1, index) * (1 - share) + power.gather(1, index + 1) * share


def masked(features: Tensor, rng: torch.Generator) -> Tensor:
    """Return features with a band and a stretch of each row set to its mean (Park et al. 2019).

    Up to 8 of the bands in half of the rows, up to 12 frames (0.12 s) in half of them.
    """
    rows, bands, frames = features.shape
    device = features.device

    def span(size: int, most: int) -> Tensor:
        wide = torch.rand(rows, 1, device=device, generator=rng) * most
        wide = wide * (torch.rand(rows, 1, device=device, generator=rng) < 0.5)
        start = torch.rand(rows, 1, device=device, generator=rng) * (size - most)
        place = torch.arange(size, device=device)[None]
        return (place >= start) & (place < start + wide)

    hidden = span(bands, 8)[:, :, None] | span(frames, 12)[:, None, :]
    return torch.where(hidden, features.mean(dim=(1, 2), keepdim=True), features)
