"""A small restricted beam search for measuring an adapter while it is trained.

The product's own decoder is in ``joblog/speech``; this one is simpler (no kept keys and values, the
score is the sum of log-probabilities plus 0.25 a token) and runs many utterances at once on a GPU.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import model
import texts
import torch
from torch import Tensor

Tokenise = Callable[[str], list[int]]
BONUS = 0.25  # a token; see the house plan: good for long commands and for strings of digits


@dataclass
class Net:
    """States with token arcs (token, next state, word said) and empty arcs."""

    arcs: list[list[tuple[int, int, str]]] = field(default_factory=list)
    empty: list[list[int]] = field(default_factory=list)

    def state(self) -> int:
        """Add a state."""
        self.arcs.append([])
        self.empty.append([])
        return len(self.arcs) - 1

    def spell(self, start: int, stop: int, tokens: list[int], word: str) -> None:
        """Add a path of tokens from ``start`` to ``stop`` that says ``word``."""
        for number, token in enumerate(tokens):
            last = number == len(tokens) - 1
            following = stop if last else self.state()
            self.arcs[start].append((token, following, word if last else ""))
            start = following

    def moves(self, state: int) -> list[tuple[int, int, str]]:
        """Return the token arcs reachable from ``state`` through empty arcs."""
        seen, stack, found = {state}, [state], []
        while stack:
            at = stack.pop()
            found += self.arcs[at]
            for following in self.empty[at]:
                if following not in seen:
                    seen.add(following)
                    stack.append(following)
        return found


def finish(net: Net, state: int, tokenise: Tokenise, stops: str = ".") -> None:
    """Let the sentence end in ``state``, with or without a full stop."""
    final = net.state()
    after = net.state()
    net.arcs[state].append((model.END, final, ""))
    for stop in stops:
        net.arcs[state].append((tokenise(stop)[0], after, ""))
    net.arcs[after].append((model.END, final, ""))


# how the digits after the first are joined on: what stands before each, and whether in letters
STYLES = (
    (" ", True), (", ", True), (" ", False), ("", False), (", ", False), ("-", False),
)  # fmt: skip


def digit_net(tokenise: Tokenise, longest: int) -> Net:
    """Strings of 1 to ``longest`` digits, in letters or figures, joined or apart."""
    net = Net()
    root = net.state()
    for joint, letters in STYLES:
        states = [root] + [net.state() for _ in range(longest)]
        for place in range(longest):
            for value, word in enumerate(texts.ONES[:10]):
                text = word if letters else str(value)
                for spelling in {text, text.capitalize()} if place == 0 else {text}:
                    tokens = spelled(tokenise, " " if place == 0 else joint, spelling)
                    net.spell(states[place], states[place + 1], tokens, word)
            if joint == "" and place + 2 <= longest:  # two figures in one token
                for pair in range(100):
                    tokens = tokenise(f"{'' if place else ' '}{pair:02d}")
                    if len(tokens) == 1:
                        said = f"{texts.ONES[pair // 10]} {texts.ONES[pair % 10]}"
                        net.spell(states[place], states[place + 2], tokens, said)
        for state in states[1:]:
            finish(net, state, tokenise)
    return net


def spelled(tokenise: Tokenise, joint: str, text: str) -> list[int]:
    """Return the tokens of ``text`` after ``joint`` (a comma or dash is a token of its own)."""
    if joint.strip():
        rest = joint[1:] + text
        return tokenise(joint[0]) + tokenise(rest)
    return tokenise(joint + text)


def order_net(tokenise: Tokenise) -> Net:
    """The public command set's grammar (commands.gram)."""
    net = Net()
    root = net.state()

    def alternatives(start: int, phrases: Iterable[str], capital: bool = False) -> int:
        stop = net.state()
        for phrase in phrases:
            for text in spellings(phrase):
                net.spell(start, stop, tokenise(f" {text}"), phrase)
                if capital:
                    net.spell(start, stop, tokenise(f" {text[0].upper()}{text[1:]}"), phrase)
        return stop

    lead = alternatives(root, texts.LEADS, capital=True)
    article = alternatives(lead, ("a", "an"))
    net.empty[lead].append(article)
    slots = (texts.SIZES, texts.ROASTS, texts.SHOTS)
    options: dict[frozenset[int], int] = {frozenset(): article}
    for size in range(3):
        for used in [used for used in options if len(used) == size]:
            for number in {0, 1, 2} - used:
                stop = alternatives(options[used], slots[number])
                following = options.setdefault(used | {number}, stop)
                if following != stop:
                    net.empty[stop].append(following)
    ready = net.state()
    for state in options.values():
        net.empty[state].append(ready)
    drink = alternatives(ready, texts.DRINKS)
    finish(net, drink, tokenise, ".?!")
    together = alternatives(drink, ("with",))
    amounts = [amount + name for amount in texts.AMOUNTS for name in texts.MILKS]
    sugars = [amount + name for amount in texts.AMOUNTS for name in texts.SUGARS]
    for first, second in ((amounts, sugars), (sugars, amounts)):
        one = alternatives(together, first)
        finish(net, one, tokenise, ".?!")
        two = alternatives(alternatives(one, ("and",)), second)
        finish(net, two, tokenise, ".?!")
    return net


def spellings(phrase: str) -> list[str]:
    """Return the usual ways of writing a phrase of the command set."""
    found = [phrase.replace("i'd", "I'd").replace(" i ", " I ").replace("i want", "I want")]
    for word, figure in (("eight", "8"), ("twelve", "12"), ("sixteen", "16"), ("twenty", "20")):
        if phrase == f"{word} ounce":
            found += [
                f"{figure} ounce",
                f"{figure}-ounce",
                f"{word}-ounce",
                f"{figure}oz",
                f"{figure} oz",
            ]
    for word in ("roast", "shot"):
        if phrase.endswith(f" {word}"):
            found.append(phrase.replace(f" {word}", f"-{word}"))
    if "iced" in phrase:
        found.append(phrase.replace("iced", "ice"))
    return found


@torch.no_grad()
def search(
    weights: model.Weights, encoded: Tensor, net: Net, beam: int = 8, longest: int = 40
) -> list[str]:
    """Return the best sentence of ``net`` for each of the encoded utterances."""
    count, device = encoded.shape[0], encoded.device
    moves: dict[int, list[tuple[int, int, str]]] = {}
    beams: list[list[tuple[float, tuple[int, ...], int, str]]] = [
        [(0.0, (), 0, "")] for _ in range(count)
    ]
    done: list[tuple[float, str]] = [(-1e9, "")] * count
    for _ in range(longest):
        rows = [(item, path) for item, paths in enumerate(beams) for path in paths]
        if not rows:
            break
        tokens = torch.tensor([[*model.PROMPT, *path[1]] for _, path in rows], device=device)
        owners = torch.tensor([item for item, _ in rows], device=device)
        steps: list[Tensor] = []
        for start in range(0, len(rows), 512):
            part = slice(start, start + 512)
            logits = model.decode(weights, tokens[part], encoded[owners[part]])[:, -1]
            steps.append(logits.float().log_softmax(-1).cpu())
        scores = torch.cat(steps)
        grown: list[list[tuple[float, tuple[int, ...], int, str]]] = [[] for _ in range(count)]
        for row, (item, (score, path, state, said)) in enumerate(rows):
            if state not in moves:
                moves[state] = net.moves(state)
            values = scores[row, [token for token, _, _ in moves[state]]].tolist()
            for value, (token, following, word) in zip(values, moves[state], strict=True):
                total = score + value + BONUS
                if token == model.END:
                    done[item] = max(done[item], (total, said))
                else:
                    grown[item].append((total, (*path, token), following, f"{said} {word}".strip()))
        for item, paths in enumerate(grown):
            unique = {(path[1], path[2]): path for path in sorted(paths)}
            ranked = sorted(unique.values(), key=lambda path: -path[0])
            room = 12 * BONUS  # what the tokens to come could still earn
            beams[item] = [path for path in ranked[:beam] if path[0] + room > done[item][0]]
    return [said for _, said in done]


def slots(sentence: str) -> dict[str, str]:
    """Return the slots of a sentence of the command set."""
    found: dict[str, str] = {}
    head, _, tail = sentence.partition(" with ")
    for name, values in (
        ("size", texts.SIZES),
        ("roast", texts.ROASTS),
        ("numberOfShots", texts.SHOTS),
    ):
        for value in values:
            if f" {value} " in f"{head} ":
                found[name] = value
    found["coffeeDrink"] = max(
        (drink for drink in texts.DRINKS if head.endswith(drink)), key=len, default=""
    )
    for part in tail.split(" and ") if tail else []:
        name = "sugarAmount" if part.endswith(texts.SUGARS) else "milkAmount"
        found[name] = part
    return found
