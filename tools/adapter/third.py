"""Train a third ear: a speech encoder of other makers writes letters and digits of noisy sound.

    third.py unpack encoder_model.ort --out base.npz
    third.py train --bundle DIR --base base.npz --out OUT --by TIME [--fold K] [--seed S]
    third.py pack --out third_ear.npz OUT/third.npz OUT2/third.npz ...

``unpack`` reads the encoder of Moonshine tiny (English, MIT; Jeffries et al. 2024, 'Moonshine: Speech
recognition for live transcription and voice commands') as the package moonshine-voice 0.0.49 carries
it, and needs onnx. ``train`` goes on from it until TIME (seconds since 1970) with two linear heads
(connectionist temporal classification), on what mixing.py mixes; the mean of the last half's weights
is kept. ``pack`` averages trainings and keeps matrices as whole numbers with a scale for each row, as
``joblog.speech.third_ear`` reads them.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import mixing
import numpy as np
import texts
import torch
import torch.nn.functional as nnf
from bank import read_banks
from second import Mixer
from torch import Tensor, nn
from train import read_noise

from joblog.speech.second_ear import DIGITS, signs
from joblog.speech.third_ear import HEADS, LAYERS, LETTERS, TURNED, WIDTH, spell

DEVICE = "cuda" if torch.cuda.is_available() else "cpu"
SHARES = {
    "string": 0.44, texts.DIGITS: 0.08, texts.PHRASE: 0.19, texts.ORDER: 0.06, "human": 0.10,
    texts.CHATTER: 0.07, mixing.NOISE_ONLY: 0.06,
}  # fmt: skip
LENGTHS = (32_000, 40_000, 48_000, 48_000, 56_000, 64_000, 80_000, 112_000)  # samples
USUAL = 48_000
DROP = 0.1
HEAD_RATE = 4.0  # times the encoder's
LETTER_WEIGHT = 0.5  # of the loss, beside that of digits
KEPT_FROM = 0.55


class Layer(nn.Module):
    """Self-attention with turned places, and a feed-forward part, each behind a normalisation."""

    def __init__(self) -> None:
        super().__init__()
        self.input_layernorm = nn.LayerNorm(WIDTH, bias=False)
        self.post_attention_layernorm = nn.LayerNorm(WIDTH, bias=False)
        names = ("q_proj", "k_proj", "v_proj", "o_proj")
        self.self_attn = nn.ModuleDict({n: nn.Linear(WIDTH, WIDTH, bias=False) for n in names})
        wide = {"fc1": nn.Linear(WIDTH, 4 * WIDTH), "fc2": nn.Linear(4 * WIDTH, WIDTH)}
        self.mlp = nn.ModuleDict(wide)

    def forward(self, x: Tensor, cos: Tensor, sin: Tensor) -> Tensor:
        """Return (batch, time, WIDTH)."""
        y = self.input_layernorm(x)
        query, key, value = (
            self.self_attn[name](y).unflatten(-1, (HEADS, -1)).transpose(1, 2)
            for name in ("q_proj", "k_proj", "v_proj")
        )
        query, key = (turned(part, cos, sin).to(value.dtype) for part in (query, key))
        mixed = nnf.scaled_dot_product_attention(query, key, value)
        y = self.self_attn["o_proj"](mixed.transpose(1, 2).flatten(2))
        x = x + nnf.dropout(y, DROP, self.training)
        y = self.mlp["fc1"](self.post_attention_layernorm(x))
        return x + nnf.dropout(self.mlp["fc2"](nnf.gelu(y)), DROP, self.training)


def turned(x: Tensor, cos: Tensor, sin: Tensor) -> Tensor:
    """Turn neighbouring numbers by their place in time (Su et al. 2021)."""
    moved, rest = x[..., :TURNED], x[..., TURNED:]
    other = torch.stack((-moved[..., 1::2], moved[..., 0::2]), -1).flatten(-2)
    return torch.cat((moved * cos + other * sin, rest), -1)


class Ear(nn.Module):
    """The encoder and its two heads."""

    def __init__(self) -> None:
        super().__init__()
        self.conv1 = nn.Conv1d(1, WIDTH, 127, 64, bias=False)
        self.groupnorm = nn.GroupNorm(1, WIDTH, 1e-5)
        self.conv2 = nn.Conv1d(WIDTH, 2 * WIDTH, 7, 3)
        self.conv3 = nn.Conv1d(2 * WIDTH, WIDTH, 3, 2)
        self.layers = nn.ModuleList(Layer() for _ in range(LAYERS))
        self.layer_norm = nn.LayerNorm(WIDTH, bias=False)
        self.digits = nn.Linear(WIDTH, len(DIGITS) + 2)
        self.letters = nn.Linear(WIDTH, len(LETTERS) + 1)

    def forward(
        self, sound: Tensor, mask: Callable[[int, int], Tensor] | None = None
    ) -> tuple[Tensor, Tensor]:
        """Return log probabilities of digits and of letters (batch, time, signs)."""
        x = self.groupnorm(torch.tanh(self.conv1(sound[:, None])).float())
        x = nnf.gelu(self.conv3(nnf.gelu(self.conv2(x)))).transpose(1, 2)
        if mask is not None:
            x = x * mask(*x.shape[:2])
        turns = torch.arange(x.shape[1], device=x.device)[:, None] * 1e4 ** (
            -torch.arange(0, TURNED, 2, device=x.device) / TURNED
        )
        cos, sin = (f(turns).repeat_interleave(2, -1) for f in (torch.cos, torch.sin))
        for layer in self.layers:
            x = layer(x, cos, sin)
        x = self.layer_norm(x)
        digits, letters = self.digits(x), self.letters(x)
        return digits.float().log_softmax(-1), letters.float().log_softmax(-1)


def unpack(path: Path, out: Path) -> None:
    """Write an encoder's weights by name, from ONNX Runtime's own format."""
    import onnx
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.optimized_model_filepath = str(out.with_suffix(".onnx"))
    options.add_session_config_entry("session.save_model_format", "ONNX")
    options.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_DISABLE_ALL
    onnxruntime.InferenceSession(str(path), options)
    graph = onnx.load(options.optimized_model_filepath).graph
    values = {item.name: onnx.numpy_helper.to_array(item) for item in graph.initializer}
    places = {"MatMulIntegerToFloat": (1, 3, 5), "DynamicQuantizeMatMul": (1, 2, 3)}
    weights: dict[str, np.ndarray] = {}
    for node in graph.node:
        if node.op_type in places:
            codes, scale, zero = (values[node.input[n]] for n in places[node.op_type])
            matrix = (codes.astype(np.float32) - zero.astype(np.float32)) * scale
            weights[".".join(node.output[0].strip("/").split("/")[:3]) + ".weight"] = matrix.T
        if node.op_type in ("Mul", "Add") and node.output[0].startswith("/groupnorm/"):
            name = "weight" if node.op_type == "Mul" else "bias"
            weights[f"groupnorm.{name}"] = values[node.input[1]][:, 0]
    for name, value in values.items():
        plain = name.replace("_add_tensor", "")
        if value.dtype == np.float32 and plain.endswith((".weight", ".bias")):
            weights[plain] = value
    np.savez_compressed(out, **{k: v.astype(np.float16) for k, v in weights.items()})  # type: ignore[arg-type]


def load(path: Path) -> Ear:
    """Return the ear with an unpacked encoder and new heads."""
    ear = Ear()
    with np.load(path) as archive:
        known = {name: torch.tensor(archive[name].astype(np.float32)) for name in archive.files}
    missing = ear.load_state_dict(known, strict=False)
    assert not missing.unexpected_keys
    assert all(name.startswith(("digits.", "letters.")) for name in missing.missing_keys)
    return ear


def hiding(random: torch.Generator) -> Callable[[int, int], Tensor]:
    """Return what hides two stretches of up to a fourteenth of each row's frames."""

    def make(rows: int, frames: int) -> Tensor:
        mask = torch.ones(rows, frames, 1, device=DEVICE)
        place = torch.arange(frames, device=DEVICE)[None]
        for _ in range(2):
            draw = [torch.rand(rows, 1, device=DEVICE, generator=random) for _ in range(2)]
            width, start = draw[0] * frames / 14, draw[1] * frames
            hidden = (place >= start) & (place < start + width)
            mask = mask * (~hidden)[..., None].float()
        return mask

    return make


def loss_of(heard: Tensor, goals: list[tuple[int, ...]]) -> Tensor:
    """Return the mean loss a sign."""
    sizes = torch.tensor([len(goal) for goal in goals])
    frames = torch.full((len(goals),), heard.shape[1])
    flat = torch.tensor([sign for goal in goals for sign in goal], device=DEVICE)
    found = nnf.ctc_loss(
        heard.transpose(0, 1), flat, frames, sizes, reduction="none", zero_infinity=True
    )
    return (found / sizes.clamp(min=1).to(DEVICE)).mean()


@torch.no_grad()
def examine(ear: Ear, mixer: Mixer, rounds: int) -> str:
    """Return how many strings the likeliest path has right, and the letters' loss."""
    ear.eval()
    right, lost = [], []
    for _ in range(rounds):
        batch = mixer.batch(48, 56_000)
        digits, letters = ear(batch.spoilt)
        lost.append(float(loss_of(letters, [spell(words) for words, _ in mixer.said])))
        rows = zip(digits.argmax(-1).tolist(), mixer.said, batch.kinds, strict=True)
        for path, (words, _), kind in rows:
            if kind == "string":
                kept = [b for a, b in zip([0, *path], path, strict=False) if b and a != b]
                right.append(tuple(kept) == signs(words))
    ear.train()
    return f"strings right {np.mean(right):.3f}, letters {np.mean(lost):.3f}"


def train(given: Any) -> None:
    """Train until ``given.by``, saving now and then."""
    given.out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(given.seed)
    banks = read_banks(given.bundle / "bank", given.fold)
    for item in banks.items + banks.held:
        item.targets, item.chances = [[0]], [1.0]  # the recogniser's, not used here
    items = [item for item in banks.items if spell(item.say.split())]
    sound = torch.tensor(banks.sound, device=DEVICE)
    noise = torch.tensor(read_noise(given.bundle), device=DEVICE)
    mixer = Mixer(sound, items, noise, SHARES, given.seed, tokens=lambda _: [0])
    exam = {"string": 0.6, "human": 0.4}
    test = Mixer(sound, banks.held or items, noise, exam, 99, tokens=lambda _: [0])
    ear = load(given.base).to(DEVICE).train()
    heads = [*ear.digits.parameters(), *ear.letters.parameters()]
    body = [value for value in ear.parameters() if all(value is not head for head in heads)]
    groups = [{"params": body, "times": 1.0}, {"params": heads, "times": HEAD_RATE}]
    optimiser = torch.optim.AdamW(groups, lr=given.rate, weight_decay=0.01, betas=(0.9, 0.98))
    random = torch.Generator(device=DEVICE)
    random.manual_seed(given.seed)
    mask = hiding(random)
    kept = [value.detach().clone() for value in ear.parameters()]
    begun, steps, shown, counted = time.time(), 0, 0.0, 0
    total = given.by - begun
    while (done := (time.time() - begun) / total) < 1:
        slope = min(1.0, (steps + 1) / 200) * (0.1 + 0.9 * math.cos(done * math.pi / 2) ** 2)
        for group in optimiser.param_groups:
            group["lr"] = given.rate * group["times"] * slope
        samples = mixer.rng.choice(LENGTHS)
        with torch.no_grad():
            batch = mixer.batch(max(8, given.rows * USUAL // samples), samples)
        said = [words for words, _ in mixer.said]
        with torch.autocast(DEVICE, torch.bfloat16):
            digits, letters = ear(batch.spoilt, mask)
        loss = loss_of(digits, [signs(words) for words in said])
        loss = loss + LETTER_WEIGHT * loss_of(letters, [spell(words) for words in said])
        optimiser.zero_grad(set_to_none=True)
        loss.backward()  # type: ignore[no-untyped-call]
        torch.nn.utils.clip_grad_norm_(ear.parameters(), 1.0)
        optimiser.step()
        counted += done > KEPT_FROM
        with torch.no_grad():
            for mean, value in zip(kept, ear.parameters(), strict=True):
                mean.lerp_(value, 1 / max(1, counted))
        if time.time() - shown > total / 14:
            shown = time.time()
            print(f"{shown - begun:5.0f} s step {steps} {examine(ear, test, 4)}", flush=True)
            save(ear, kept, given.out)  # the machine may be taken away
        steps += 1
    save(ear, kept, given.out)
    with torch.no_grad():
        for mean, value in zip(kept, ear.parameters(), strict=True):
            value.copy_(mean)
    print(f"{steps} steps; what is kept: {examine(ear, test, 10)}", flush=True)


def save(ear: Ear, values: list[Tensor], out: Path) -> None:
    """Write weights by name, in half precision."""
    names = [name for name, _ in ear.named_parameters()]
    found = {
        name: value.detach().cpu().numpy().astype(np.float16)
        for name, value in zip(names, values, strict=True)
    }
    np.savez(out / "half.npz", **found)  # type: ignore[arg-type]
    (out / "half.npz").rename(out / "third.npz")


def pack(parts: list[Path], out: Path) -> None:
    """Average and pack."""
    archives = [np.load(path) for path in parts]
    packed: dict[str, np.ndarray] = {}
    for name in archives[0].files:
        mean = np.mean([archive[name].astype(np.float32) for archive in archives], axis=0)
        if mean.ndim < 2:
            packed[name] = mean
            continue
        scale = np.abs(mean.reshape(len(mean), -1)).max(1) / 127 + 1e-12
        codes = np.rint(mean / scale.reshape(-1, *[1] * (mean.ndim - 1)))
        packed[f"{name}.eight"], packed[f"{name}.scale"] = codes.astype(np.int8), scale
    np.savez(out, **packed)  # type: ignore[arg-type]


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    steps = parser.add_subparsers(dest="step", required=True)
    first, second, third = (steps.add_parser(name) for name in ("unpack", "train", "pack"))
    for part in (first, second, third):
        part.add_argument("--out", type=Path, required=True)
    first.add_argument("encoder", type=Path)
    second.add_argument("--bundle", type=Path, required=True)
    second.add_argument("--base", type=Path, required=True)
    second.add_argument("--by", type=float, required=True)
    second.add_argument("--fold", type=int, default=-1)
    second.add_argument("--seed", type=int, default=1)
    second.add_argument("--rate", type=float, default=3e-4)
    second.add_argument("--rows", type=int, default=96, help="of three seconds, a batch")
    third.add_argument("parts", type=Path, nargs="+")
    given = parser.parse_args()
    if given.step == "unpack":
        unpack(given.encoder, given.out)
    elif given.step == "train":
        train(given)
    else:
        pack(given.parts, given.out)


if __name__ == "__main__":
    main()
