"""Train the noise adapter: a noisy student learns what the unadapted teacher makes of clean sound.

    train.py --bundle DIR --out DIR --seconds N [--hold-out 3] [--seed S]

DIR holds ``model.bin`` and ``tokenizer.json``, ``bank/*.ogg`` with ``bank/*.jsonl`` (synthesise.py),
``noise.npy`` (noises.py), ``commands/`` (human orders with labels.json), and for measuring only
``digits/`` and ``noise/``. Leaves ``adapter.npz`` and ``result.json`` in --out. Runs
on a CPU with PyTorch (half an hour where it has bf16 matrix units); see README.md for the steps and the losses.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import time
from pathlib import Path

import mixing
import model
import numpy as np
import restricted
import soundfile
import texts
import torch
import torch.nn.functional as nnf
from tokenizers import Tokenizer
from torch import Tensor

from joblog.speech.whisper.features import mel_filters

RATE = 16_000
DEVICE = "cuda" if torch.cuda.is_available() else "cpu"
SHARES = {
    "string": 0.25, texts.WORD: 0.03, texts.DIGITS: 0.18, texts.PHRASE: 0.22, texts.ORDER: 0.10,
    "human": 0.10, texts.CHATTER: 0.11, mixing.NOISE_ONLY: 0.03,
}  # fmt: skip
FRAMES = (350, 400, 400, 500, 500, 600, 800, 1000)
FRAMES_A_BATCH = 8_000
EXAM_NOISES = ("impact-wrench", "air-compressor", "air-blow-gun", "angle-grinder")


class Trainer:
    """Holds the teacher, the banks and the measuring sets."""

    def __init__(self, bundle: Path, hold_out: int, seed: int) -> None:
        self.bundle = bundle
        self.base = model.load_base(bundle / "model.bin", DEVICE)
        self.filters = torch.tensor(mel_filters(), device=DEVICE)
        self.tokenizer = Tokenizer.from_file(str(bundle / "tokenizer.json"))
        sound, bank = self.read_banks()
        labels = json.loads((bundle / "commands" / "labels.json").read_text("utf-8"))
        names = sorted(labels)
        self.held = [
            name for number, name in enumerate(names) if hold_out and number % hold_out == 0
        ]
        self.order_net = restricted.order_net(self.tokens)
        self.digit_net = restricted.digit_net(self.tokens, 5)
        human, human_sound = self.read_commands(names, labels, len(sound))
        bank += human
        self.sound = torch.tensor(np.concatenate([sound, human_sound]), device=DEVICE)
        noise = torch.tensor(np.load(bundle / "noise.npy"), device=DEVICE)
        self.mixer = mixing.Mixer(self.sound, bank, noise, SHARES, seed)
        self.mixer.tokens = self.tokens  # type: ignore[method-assign]
        self.set_targets(bank)

    def tokens(self, text: str) -> list[int]:
        """Return the tokens of a text."""
        ids: list[int] = self.tokenizer.encode(text, add_special_tokens=False).ids
        return ids

    def read_banks(self) -> tuple[np.ndarray, list[mixing.Utterance]]:
        """Read every synthetic bank into one array with one index."""
        sounds, bank, offset = [], [], 0
        for path in sorted((self.bundle / "bank").glob("*.jsonl")):
            sound, _ = soundfile.read(path.with_suffix(".ogg"), dtype="int16")
            for line in path.read_text("utf-8").splitlines():
                row = json.loads(line)
                if row["start"] + row["length"] > len(sound):
                    continue
                forms = tuple(dict.fromkeys(row["forms"]))
                if row["kind"] == texts.ORDER:
                    forms = texts.order_variants(forms)
                bank.append(
                    mixing.Utterance(
                        row["kind"],
                        row["start"] + offset,
                        row["length"],
                        row.get("set", ""),
                        forms,
                        row["say"],
                        [],
                        [],
                    )
                )
            sounds.append(sound)
            offset += len(sound)
        return np.concatenate(sounds), bank

    def read_commands(
        self, names: list[str], labels: dict[str, dict[str, str]], offset: int
    ) -> tuple[list[mixing.Utterance], np.ndarray]:
        """Read the human orders for training, with the words that the teacher hears in clean sound.

        The labels hold slots, not words: a recording whose heard slots differ from them is left out.
        """
        wanted = [name for name in names if name not in self.held]
        transcripts = self.understood(names, labels)
        bank, cut = [], [np.zeros(RATE, np.int16)]
        offset += RATE
        for name in wanted:
            if name not in transcripts:
                continue
            sound, _ = soundfile.read(self.bundle / "commands" / name, dtype="int16")
            peak = int(np.abs(sound.astype(int)).max())
            sound = (sound * (16_000 / peak)).astype(np.int16)
            words = (
                transcripts[name]
                .replace("i'd", "I'd")
                .replace("can i", "can I")
                .replace("may i", "may I")
            )
            figures = words.replace("i want", "I want")
            for word, figure in (
                ("eight", "8"),
                ("twelve", "12"),
                ("sixteen", "16"),
                ("twenty", "20"),
            ):
                figures = figures.replace(f"{word} ounce", f"{figure} ounce")
            forms = texts.order_variants(texts.written(words.replace("i want", "I want"), figures))
            bank.append(mixing.Utterance("human", offset, len(sound), "", forms, words, [], []))
            cut += [sound, np.zeros(RATE // 10, np.int16)]
            offset += len(sound) + RATE // 10
        print(f"{len(bank)} of {len(wanted)} human orders understood", flush=True)
        return bank, np.concatenate(cut)

    def understood(self, names: list[str], labels: dict[str, dict[str, str]]) -> dict[str, str]:
        """Return the words that joblog itself hears in clean orders, where their slots are right."""
        from joblog.speech.engines import get_engine
        from joblog.speech.grammar import Grammar

        engine = get_engine()
        grammar = Grammar.from_file(self.bundle / "commands" / "commands.gram")
        heard = {
            n: engine.hear(self.read(f"commands/{n}").astype(np.float32), grammar).text
            for n in names
        }
        return {
            name: text for name, text in heard.items() if restricted.slots(text) == labels[name]
        }

    def features(self, sound: Tensor) -> Tensor:
        """Return the log-mel features of float sounds."""
        return model.log_mel(sound, self.filters)

    def encode_items(self, items: list[mixing.Utterance], weights: model.Weights) -> Tensor:
        """Encode utterances from the bank, unspoilt, in the shortest input that holds them."""
        longest = max(item.length for item in items) + RATE // 2
        sound = torch.zeros(len(items), max(400, math.ceil(longest / 320) * 2) * 160, device=DEVICE)
        for row, item in enumerate(items):
            sound[row, 3200 : 3200 + item.length] = (
                self.sound[item.start : item.start + item.length].float() / 32768
            )
        return model.encode(weights, self.features(sound))

    @torch.no_grad()
    def set_targets(self, bank: list[mixing.Utterance]) -> None:
        """Give each utterance its target forms, as likely as the teacher finds them.

        So that written style stays the teacher's own. Chatter gets the teacher's transcript.
        """
        styles: dict[int, list[Tensor]] = {}
        chat = [i for i in bank if i.kind == texts.CHATTER and i.length < 4 * RATE][::3][:120]
        short = [i for i in bank if i.kind != texts.CHATTER and i.length < 3.2 * RATE]
        random.Random(3).shuffle(short)
        human = [i for i in short if i.kind == "human"]
        words = [i for i in short if i.kind == texts.WORD]
        rest = [i for i in short if i.kind not in ("human", texts.WORD)]
        bank = human + words + rest[:1400] + chat
        bank = sorted(bank, key=lambda item: item.length)
        for item in bank:
            if item.kind != texts.DIGITS and len(item.forms) > 4:
                item.forms = item.forms[:4]
        for start in range(0, len(bank), 64):
            with torch.autocast(DEVICE, torch.bfloat16):
                items = bank[start : start + 64]
                encoded = self.encode_items(items, self.base)
                chatter = [row for row, item in enumerate(items) if item.kind == texts.CHATTER]
                for row, path in (
                    zip(chatter, self.greedy(encoded[chatter]), strict=True) if chatter else ()
                ):
                    items[row].targets, items[row].chances = [path], [1.0]
                rows = [
                    (row, self.tokens(form))
                    for row, item in enumerate(items)
                    for form in item.forms
                ]
                if not rows:
                    continue
                scores = self.score([path for _, path in rows], encoded, [row for row, _ in rows])
                for row, item in enumerate(items):
                    mine = [number for number, (owner, _) in enumerate(rows) if owner == row]
                    if not mine:
                        continue
                    chances = scores[mine].float().softmax(0)
                    item.targets = [rows[number][1] for number in mine]
                    item.chances = chances.tolist()
                    if item.kind == texts.DIGITS and len(mine) == 14:
                        styles.setdefault(len(item.say.replace(",", "").split()), []).append(
                            chances
                        )
        for count, found in styles.items():
            self.mixer.styles[count] = torch.stack(found).mean(0).tolist()
        self.mixer.styles[1] = [1.0] * len(texts.digit_forms(["one"]))
        for item in [
            i for kind in (texts.CHATTER, "human") for i in self.mixer.kinds.get(kind, [])
        ]:
            if not item.targets and item.length < 9 * RATE:
                item.targets = [self.tokens(form) for form in item.forms[:2]] or [
                    self.tokens(f" {item.say[:1].upper()}{item.say[1:]}")
                ]
                item.chances = [1.0] * len(item.targets)
        self.prune()

    def prune(self) -> None:
        """Leave out what has no target, and kinds of which nothing is left."""
        for kind, items in list(self.mixer.kinds.items()):
            self.mixer.kinds[kind] = [i for i in items if i.targets]
        print({k: len(v) for k, v in self.mixer.kinds.items()}, flush=True)
        for kind in list(self.mixer.shares):
            if kind not in ("string", mixing.NOISE_ONLY) and not self.mixer.kinds.get(kind):
                del self.mixer.shares[kind]

    def score(self, paths: list[list[int]], encoded: Tensor, owners: list[int]) -> Tensor:
        """Return the teacher's log-probability of each path given its owner's sound."""
        found = []
        for start in range(0, len(paths), 256):
            part = paths[start : start + 256]
            tokens, goal = pad(part)
            logits = model.decode(self.base, tokens, encoded[owners[start : start + 256]])
            loss = nnf.cross_entropy(
                logits.transpose(1, 2).float(), goal, ignore_index=-1, reduction="none"
            )
            found.append(-loss.sum(1))
        return torch.cat(found).cpu()

    def greedy(
        self, encoded: Tensor, weights: model.Weights | None = None, longest: int = 48
    ) -> list[list[int]]:
        """Transcribe freely."""
        tokens = torch.tensor([model.PROMPT], device=DEVICE).repeat(len(encoded), 1)
        for _ in range(longest):
            logits = model.decode(weights or self.base, tokens, encoded)[:, -1]
            logits[:, model.END + 1 :] = -1e9
            following = logits.argmax(-1)
            following[(tokens[:, 2:] == model.END).any(1)] = model.END
            tokens = torch.cat([tokens, following[:, None]], 1)
        paths = tokens[:, 2:].tolist()
        return [path[: path.index(model.END)] if model.END in path else path for path in paths]

    def step(self, adapter: model.Adapter, frames: int) -> tuple[Tensor, dict[str, float]]:
        """Return the loss of one batch."""
        with torch.no_grad():
            batch = self.mixer.batch(FRAMES_A_BATCH // frames, frames * 160)
            hear, heard = self.features(batch.clean), self.features(batch.spoilt)
        write = torch.ones(len(batch.kinds), device=DEVICE)  # how much the written target counts
        for row, kind in enumerate(batch.kinds):
            if kind == mixing.NOISE_ONLY or (
                kind == texts.CHATTER and self.mixer.rng.random() < 0.3
            ):
                # a command that nobody spoke: only the teacher's opinion of it counts
                other = self.mixer.rng.choice(
                    self.mixer.kinds[self.mixer.rng.choice([texts.DIGITS, texts.PHRASE])]
                )
                batch.targets[row] = self.mixer.rng.choices(other.targets, other.chances)[0]
                write[row] = 0.0
            elif kind == texts.CHATTER:
                write[row] = 0.3
        tokens, goal = pad(batch.targets)
        with torch.autocast(DEVICE, torch.bfloat16):
            with torch.no_grad():
                known = model.encode(self.base, hear)
                taught = model.decode(self.base, tokens, known)
            weights = adapter.merged(self.base)
            encoded = model.encode(weights, heard)
            logits = model.decode(weights, tokens, encoded)
        mask = goal >= 0
        said = logits[mask].float().log_softmax(-1)
        teacher = taught[mask].float().log_softmax(-1)
        share = write[:, None].expand_as(goal)[mask]
        right = -said.gather(1, goal[mask][:, None])[:, 0]
        apart = (teacher.exp() * (teacher - said)).sum(1)
        near = (encoded.float() - known.float()).square().mean() / known.float().square().mean()
        written, distilled = (share * right).mean(), ((1.5 - share) * apart).mean()
        loss = 0.6 * written + 0.8 * distilled + 0.3 * near
        return loss, {"written": written, "distilled": distilled, "near": near}

    def train(self, adapter: model.Adapter, seconds: float, rate: float) -> None:
        """Train for ``seconds``, the learning rate falling along a cosine."""
        groups = [
            {"params": adapter.low_parameters(), "lr": rate, "base": rate},
            {"params": adapter.whole_parameters(), "lr": rate / 4, "base": rate / 4},
        ]
        optimiser = torch.optim.AdamW(groups, weight_decay=0.01, betas=(0.9, 0.98))
        begun, steps = time.time(), 0
        while (done := (time.time() - begun) / seconds) < 1:
            for group in optimiser.param_groups:
                group["lr"] = (
                    group["base"]
                    * min(1, (steps + 1) / 60)
                    * (0.01 + 0.99 * math.cos(done * math.pi / 2) ** 2)
                )
            loss, parts = self.step(adapter, self.mixer.rng.choice(FRAMES))
            optimiser.zero_grad(set_to_none=True)
            loss.backward()
            torch.nn.utils.clip_grad_norm_(adapter.parameters(), 1.0)
            optimiser.step()
            if steps % 150 == 149:
                adapter.save(self.out / "adapter.npz")
            if steps % 20 == 0:
                values = " ".join(
                    f"{name} {float(value.detach()):.3f}" for name, value in parts.items()
                )
                print(f"{time.time() - begun:5.0f} s step {steps} {values}", flush=True)
            steps += 1
        print(f"{steps} steps", flush=True)

    @torch.no_grad()
    def measure(
        self, weights: model.Weights, strings: int, commands: list[str]
    ) -> dict[str, float]:
        """Return the shares right: digit strings and held-out orders, by noise."""
        found: dict[str, float] = {}
        for noise in ("", *EXAM_NOISES):
            sounds, truths = self.digit_strings(strings, noise, 6.0)
            said = self.recognise(weights, sounds, self.digit_net)
            found[f"digits {noise or 'clean'}"] = share(
                a == b for a, b in zip(said, truths, strict=True)
            )
        labels = json.loads((self.bundle / "commands" / "labels.json").read_text("utf-8"))
        for ratio in (6.0, 12.0, math.inf):
            rng = np.random.default_rng(5)
            sounds = [
                self.spoil(self.read(f"commands/{name}"), "kitchen-a", ratio, rng)
                for name in commands
            ]
            said = self.recognise(weights, sounds, self.order_net)
            right = (
                restricted.slots(one) == labels[name]
                for one, name in zip(said, commands, strict=True)
            )
            found[f"orders {ratio} dB"] = share(right)
        return found

    def recognise(
        self, weights: model.Weights, sounds: list[np.ndarray], net: restricted.Net
    ) -> list[str]:
        """Recognise sounds with a restricted search."""
        said = []
        for start in range(0, len(sounds), 64):
            part = sounds[start : start + 64]
            frames = max(500, math.ceil((max(map(len, part)) + 1600) / 320) * 2)
            padded = np.stack([np.pad(sound, (0, frames * 160 - len(sound))) for sound in part])
            encoded = model.encode(
                weights, self.features(torch.tensor(padded, device=DEVICE).float())
            )
            said += restricted.search(weights, encoded, net)
        return said

    def read(self, name: str) -> np.ndarray:
        """Read a sound of the bundle."""
        sound: np.ndarray = soundfile.read(self.bundle / name, dtype="float64")[0]
        return sound

    def spoil(
        self, sound: np.ndarray, noise: str, ratio: float, rng: np.random.Generator
    ) -> np.ndarray:
        """Mix a measuring noise in, by the examination's rule."""
        if not noise or math.isinf(ratio):
            return sound
        from mix import mix

        mixed: np.ndarray = mix(sound, self.read(f"noise/{noise}.flac"), ratio, rng)
        return mixed

    def digit_strings(
        self, count: int, noise: str, ratio: float
    ) -> tuple[list[np.ndarray], list[str]]:
        """Cut strings of two to four digits of one speaker together, and spoil them."""
        rng, draw = np.random.default_rng(7), random.Random(7)
        sounds, truths = [], []
        for _ in range(count):
            speaker = draw.choice(["george", "jackson", "nicolas", "yweweler"])
            digits = [draw.randint(0, 9) for _ in range(draw.choice([2, 3, 4]))]
            parts = [np.zeros(RATE // 5)]
            for digit in digits:
                parts.append(self.read(f"digits/{digit}_{speaker}_{draw.randint(0, 11)}.flac"))
                parts.append(np.zeros(int(draw.uniform(0.08, 0.25) * RATE)))
            sounds.append(self.spoil(np.concatenate(parts), noise, ratio, rng))
            truths.append(" ".join(texts.ONES[digit] for digit in digits))
        return sounds, truths


def pad(paths: list[list[int]]) -> tuple[Tensor, Tensor]:
    """Return decoder input and goal (-1 where nothing is learnt) for token paths."""
    longest = max(map(len, paths)) + 2
    tokens = torch.full((len(paths), longest), model.END)
    goal = torch.full((len(paths), longest), -1)
    for row, path in enumerate(paths):
        tokens[row, : len(path) + 2] = torch.tensor([*model.PROMPT, *path])
        goal[row, 1 : len(path) + 2] = torch.tensor([*path, model.END])
    return tokens.to(DEVICE), goal.to(DEVICE)


def share(rights: object) -> float:
    """Return the share of True."""
    values = [bool(right) for right in rights]  # type: ignore[attr-defined]
    return round(sum(values) / max(1, len(values)), 4)


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bundle", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument(
        "--hold-out", type=int, default=3, help="keep every Nth human order for measuring; 0: none"
    )
    parser.add_argument("--rank", type=int, default=24)
    parser.add_argument("--rate", type=float, default=1e-3)
    parser.add_argument(
        "--strings", type=int, default=0, help="digit strings to measure; slow without a GPU"
    )
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    torch.manual_seed(given.seed)
    begun = time.time()
    trainer = Trainer(given.bundle, given.hold_out, given.seed)
    names = (
        trainer.held
        or sorted(json.loads((given.bundle / "commands" / "labels.json").read_text("utf-8")))[::3]
    )
    print(f"{time.time() - begun:.0f} s ready; {len(trainer.mixer.bank)} utterances", flush=True)
    before = trainer.measure(trainer.base, given.strings, names) if given.strings else {}
    adapter = model.Adapter(trainer.base, given.rank, 16)
    trainer.out = given.out
    trainer.train(adapter, given.seconds, given.rate)
    adapter.save(given.out / "adapter.npz")
    with torch.no_grad():
        after = (
            trainer.measure(adapter.merged(trainer.base), given.strings, names)
            if given.strings
            else {}
        )
    print(f"{time.time() - begun:.0f} s after: {json.dumps(after)}", flush=True)
    (given.out / "result.json").write_text(
        json.dumps({"before": before, "after": after}, indent=1), "utf-8"
    )


if __name__ == "__main__":
    main()
