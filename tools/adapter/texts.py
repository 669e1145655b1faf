"""What the synthetic voices say, and every way in which it may be written down.

An item is one utterance: ``say`` holds the spoken words, ``forms`` the written forms that count as
right (each starts with a blank, as the recogniser's vocabulary does), ``kind`` one of WORD, DIGITS,
PHRASE, ORDER, CHATTER. Chatter has no forms: the unadapted recogniser's own transcript is its target,
so that free dictation stays as it was.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from fractions import Fraction

from joblog.web.saying_orders import ALPHABET as SPELLING

WORD, DIGITS, PHRASE, ORDER, CHATTER = "word", "digits", "phrase", "order", "chatter"

ONES = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
]
TENS = ["_", "_", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
DIGIT_WORDS = (*ONES[:10], "oh")


@dataclass(frozen=True)
class Item:
    """One utterance to be spoken; see the module's text."""

    kind: str
    say: str
    forms: tuple[str, ...]


@dataclass(frozen=True)
class Piece:
    """A part of a phrase: the spoken words, the same written in letters, and in figures."""

    say: str
    letters: str
    figures: str


def whole(number: int) -> str:
    """Spell a whole number below 1000 ('one hundred and twenty' without the 'and')."""
    if number < 20:
        return ONES[number]
    if number < 100:
        tens, ones = divmod(number, 10)
        return TENS[tens] + (f"-{ONES[ones]}" if ones else "")
    hundreds, rest = divmod(number, 100)
    return f"{ONES[hundreds]} hundred" + (f" {whole(rest)}" if rest else "")


def plain(text: str) -> Piece:
    """Words that are written as they are spoken."""
    return Piece(text, text, text)


def whole_piece(rng: random.Random, top: int) -> Piece:
    """A whole number, spoken in full, digit by digit or as 'one-twenty'."""
    number = rng.choice([rng.randint(1, 20), rng.randint(10, 99), rng.randint(1, top)])
    letters = whole(number)
    if number > 100 and number % 100 > 9 and rng.random() < 0.4:
        letters = f"{ONES[number // 100]} {whole(number % 100)}"
    elif number > 9 and rng.random() < 0.3:
        letters = " ".join(ONES[int(digit)] for digit in str(number))
    return Piece(letters.replace("-", " "), letters, str(number))


def decimal_piece(rng: random.Random) -> Piece:
    """A number with one or two decimals: 'three point six', 'point five', 'four point oh'."""
    before, places = rng.randint(0, 20), rng.choice([1, 1, 1, 2])
    after = [rng.randint(0, 9) for _ in range(places)]
    zero = rng.choice(["zero", "oh"])
    tail = " ".join(zero if digit == 0 else ONES[digit] for digit in after)
    head = "" if before == 0 and rng.random() < 0.5 else f"{whole(before)} "
    figures = f"{before if head else ''}.{''.join(map(str, after))}"
    letters = f"{head}point {tail}"
    return Piece(letters.replace("-", " "), letters, figures)


def fraction_piece(rng: random.Random) -> Piece:
    """A mixed number: 'three and a half', 'two and three quarters'."""
    names = {
        Fraction(1, 2): "a half",
        Fraction(1, 4): "a quarter",
        Fraction(3, 4): "three quarters",
        Fraction(1, 3): "a third",
        Fraction(2, 3): "two thirds",
    }
    part = rng.choice(list(names))
    before = rng.randint(0, 12)
    if before == 0:
        return Piece(names[part], names[part], f"{part.numerator}/{part.denominator}")
    letters = f"{whole(before)} and {names[part]}"
    figures = f"{before} and {names[part]}"
    return Piece(letters, letters, figures)


def value_piece(rng: random.Random, top: int) -> Piece:
    """Any number that a technician says."""
    draw = rng.random()
    if draw < 0.5:
        return whole_piece(rng, top)
    return decimal_piece(rng) if draw < 0.8 else fraction_piece(rng)


UNITS = {
    "torque": ["foot pounds", "pound feet", "newton meters", "inch pounds"],
    "volume": ["quarts", "liters", "pints", "cups", "milliliters"],
    "other": [
        "degrees",
        "psi",
        "volts",
        "millimeters",
        "miles",
        "minutes",
        "seconds",
        "percent",
        "bar",
    ],
}
OPENERS = (
    "torque", "torqued to", "drain plug", "filter", "wheel nuts", "pan bolts", "fill", "filled", "added",
    "drained", "put in", "reading", "pressure", "level", "gap", "temperature", "mileage", "correction",
    "set to", "final torque", "caliper bolt", "tread depth", "battery", "it took", "",
)  # fmt: skip
CONTROL = (
    "say again", "read back", "correction", "disregard", "affirm", "negative", "stand by", "step done",
    "next step", "go back", "repeat that", "done", "yes", "no", "ready", "start job", "finish job",
    "pause job", "resume", "skip this step", "what is next", "take photo", "photo taken", "note", "undo",
    "drain plug out", "drain plug in", "drain plug tight", "new filter on", "old filter off",
    "pan removed", "pan cleaned", "gasket replaced", "magnet clean", "lift up", "lift down", "engine off",
    "engine running", "no leaks", "leak found", "level is low", "level is full", "level between the marks",
    "fluid is dark", "fluid is clear red", "fluid smells burnt", "wheels on", "wheels off", "brake pads good",
    "brake pads worn", "left front", "right front", "left rear", "right rear", "belt is cracked",
    "washer replaced", "old washer", "hose clamp loose", "air filter dirty", "cabin filter replaced",
    "start the timer", "stop the timer", "how long left", "read the last entry", "call the advisor",
    "not needed", "not fitted", "part on order", "customer declined", "all clear", "fill plug out",
    "fill plug tight", "selector through all gears", "shift to park", "ignition on", "reset the light",
)  # fmt: skip
LEADS = (
    "brew", "can i get", "can i have", "i want", "get me", "give me", "i'd like", "make me", "may i have",
)  # fmt: skip
DRINKS = (
    "americano", "cappuccino", "espresso", "latte", "mocha", "iced mocha", "coffee", "drip coffee",
    "house coffee", "iced coffee",
)  # fmt: skip
SIZES = (
    "small", "medium", "large", "eight ounce", "twelve ounce", "sixteen ounce", "twenty ounce",
)  # fmt: skip
ROASTS = ("light roast", "medium roast", "dark roast")
SHOTS = ("single shot", "double shot", "triple shot")
AMOUNTS = ("", "a little bit of ", "a bit of ", "some ", "a lot of ", "lots of ")
MILKS = ("milk", "skim milk", "whole milk", "soy milk", "almond milk", "cream")
SUGARS = ("sugar", "brown sugar", "sweetener")
SUBJECTS = (
    "my neighbour", "the driver", "that old truck", "the radio", "the weather", "our manager", "the parts desk",
    "the other shop", "a customer", "the guy from upstairs", "her brother", "the football team", "the landlord",
    "the delivery", "somebody", "the coffee machine", "the new apprentice", "the traffic on the bridge",
)  # fmt: skip
VERBS = (
    "said something about", "was never happy with", "keeps talking about", "wants to hear about",
    "forgot everything about", "called me about", "is worried about", "laughed at", "has no idea about",
    "ran late because of", "will be back for", "spent all morning on", "used to work with", "argued about",
)  # fmt: skip
OBJECTS = (
    "the weekend", "last night's game", "the rain on the roof", "a squeaky door", "lunch", "the holiday in June",
    "the price of diesel", "his daughter's wedding", "the broken heater", "a rattle under the dashboard",
    "those boxes in the corner", "the phone bill", "a song from the nineties", "the parking lot",
    "the insurance paperwork", "the noise behind the wall", "a fishing trip", "the new coat of paint",
)  # fmt: skip
TAILS = (
    "", "", "and then he just left", "if you ask me", "but nobody minded", "as far as I remember",
    "so we had to wait", "and it was raining again", "which surprised everyone", "before the doors opened",
    "because the lights went out", "and I could not stop laughing",
)  # fmt: skip
NOTES = (
    "note the hose looks wet near the clamp but it is not dripping",
    "note customer hears a whistle on the motorway above sixty",
    "note somebody has been here before, one bolt is new",
    "note scratch on the left sill was there when the van came in",
    "note spoke to the advisor, they want a quote for the mount",
    "note the tray was bent so I straightened it by hand",
    "note there is a smell of coolant but I can't see where it comes from",
    "note the connector was loose and I pushed it home",
    "note the spare wheel is flat and the jack is missing",
    "note brake fluid was changed last spring according to the sticker",
)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def written(letters: str, figures: str) -> tuple[str, ...]:
    """Every accepted spelling of a phrase: letters or figures, capital or not, full stop or not."""
    bodies = dict.fromkeys((letters, letters.replace("-", " "), figures))
    heads = dict.fromkeys(form for body in bodies for form in (_capital(body), body))
    return tuple(f" {head}{stop}" for head in heads for stop in (".", ""))


def digit_forms(words: list[str]) -> tuple[str, ...]:
    """Every accepted spelling of a string of digits."""
    figures = ["0" if word == "oh" else str(ONES.index(word)) for word in words]
    spoken = " ".join(words)
    bodies = [
        _capital(spoken),
        spoken,
        _capital(", ".join(words)),
        " ".join(figures),
        "".join(figures),
    ]
    if len(words) > 1:
        bodies += [", ".join(figures), "-".join(figures)]
    return tuple(f" {body}{stop}" for body in bodies for stop in (".", ""))


def digits_item(rng: random.Random) -> Item:
    """Two to six digits said one by one."""
    words = [rng.choice(DIGIT_WORDS[:10]) for _ in range(rng.choice([2, 3, 3, 4, 4, 5, 6]))]
    if rng.random() < 0.15:
        words = ["oh" if word == "zero" else word for word in words]
    return Item(DIGITS, rng.choice([" ", ", "]).join(words), digit_forms(words))


def phrase_item(rng: random.Random) -> Item:
    """A control phrase, or a value with its opener and its unit."""
    if rng.random() < 0.35:
        text = rng.choice(CONTROL)
        return Item(PHRASE, text, written(text, text))
    kind = rng.choice(["torque", "torque", "volume", "volume", "other"])
    pieces = [
        plain(rng.choice(OPENERS)),
        value_piece(rng, 250),
        plain(rng.choice(["", *UNITS[kind]])),
    ]
    parts = [piece for piece in pieces if piece.say]
    say, letters, figures = (
        " ".join(getattr(part, name) for part in parts) for name in ("say", "letters", "figures")
    )
    return Item(PHRASE, say, written(letters, figures))


def order_item(rng: random.Random) -> Item:
    """A sentence of the public command set's grammar, drawn at random."""
    options = [rng.choice(slot) for slot in (SIZES, ROASTS, SHOTS) if rng.random() < 0.5]
    rng.shuffle(options)
    article = rng.choice(["a ", "", "a "])
    words = f"{rng.choice(LEADS)} {article}{' '.join([*options, rng.choice(DRINKS)])}"
    additions = [
        rng.choice(AMOUNTS) + rng.choice(kinds) for kinds in (MILKS, SUGARS) if rng.random() < 0.5
    ]
    rng.shuffle(additions)
    if additions:
        words += " with " + " and ".join(additions)
    letters = words.replace("i'd", "I'd").replace("can i", "can I").replace("may i", "may I")
    letters = letters.replace("i want", "I want")
    figures = letters
    for word, figure in (("eight", "8"), ("twelve", "12"), ("sixteen", "16"), ("twenty", "20")):
        figures = figures.replace(f"{word} ounce", f"{figure} ounce")
    return Item(ORDER, words, written(letters, figures))


def order_variants(forms: tuple[str, ...]) -> tuple[str, ...]:
    """Add the hyphens and question marks that the recogniser likes to an order's written forms."""
    hyphens = [form.replace(" ounce", "-ounce").replace(" roast", "-roast") for form in forms]
    both = list(dict.fromkeys([*forms, *hyphens]))
    asked = [form.replace(".", "?") for form in both if "an I" in form or "ay I" in form]
    return tuple(dict.fromkeys([*both, *asked]))


def chatter_item(rng: random.Random) -> Item:
    """Ordinary talk and dictated notes: nothing that a grammar holds."""
    if rng.random() < 0.25:
        return Item(CHATTER, rng.choice(NOTES), ())
    words = (rng.choice(part) for part in (SUBJECTS, VERBS, OBJECTS, TAILS))
    return Item(CHATTER, " ".join(word for word in words if word), ())


ALPHABET = tuple(SPELLING.split())  # the words that joblog hears for letters


def alphabet_item(rng: random.Random) -> Item:
    """Two to six letters and digits of a vehicle's identification number, as they are spelled."""
    words = [
        rng.choice(ALPHABET if rng.random() < 0.6 else DIGIT_WORDS[:10])
        for _ in range(rng.choice([2, 3, 4, 5, 6]))
    ]
    return Item(PHRASE, " ".join(words), spelt(tuple(words), rng))


MAKERS = {DIGITS: digits_item, PHRASE: phrase_item, ORDER: order_item, CHATTER: chatter_item}


def draw(rng: random.Random, kind: str) -> Item:
    """Draw one item of a kind (not WORD: those are listed by ``words``)."""
    return MAKERS[kind](rng)


def words() -> list[Item]:
    """Return the single digits, to be cut together later."""
    return [Item(WORD, word, digit_forms([word])) for word in DIGIT_WORDS]


def sheet_items(count: int, seed: int) -> list[Item]:
    """Draw sentences of the sample job sheets' own grammars, with the ways they may be written."""
    from joblog.job.grammar import grammar_text
    from joblog.sheet.load import library, load_sheet
    from joblog.speech.grammar import Grammar

    rng = random.Random(seed)
    sheets = [load_sheet(path) for path in library().values()]
    grammars = [Grammar.from_text(grammar_text(sheet, bare=True)) for sheet in sheets]
    found: list[Item] = []
    while len(found) < count:
        words = next(rng.choice(grammars).graph.sample(1, rng.randrange(1 << 30)))
        if 1 <= len(words) <= 11:
            found.append(Item(PHRASE, " ".join(words), spelt(words, rng)))
    return found


def command_items(count: int, seed: int) -> list[Item]:
    """Draw what can be said on the sample sheets phrase by phrase, half of it procedure words.

    A sheet's whole grammar hardly ever draws 'help' or a confirmation with a reason.
    """
    from joblog.job.grammar import grammar_text
    from joblog.job.phrases import phrases_of
    from joblog.sheet.load import library, load_sheet
    from joblog.speech.grammar import Grammar

    rng = random.Random(seed)
    general: dict[str, Grammar] = {}
    others: dict[str, Grammar] = {}
    for path in library().values():
        sheet = load_sheet(path)
        head, rules = grammar_text(sheet).split("public <command> =")
        rest = rules[rules.index(";") + 1 :]
        for number, phrase in enumerate(phrases_of(sheet)):
            mine = general if phrase.tag.startswith("control:") else others
            if phrase.pattern not in mine:
                text = f"{head}public <command> = <p{number}>;{rest}"
                mine[phrase.pattern] = Grammar.from_text(text)
    sides = list(general.values()), list(others.values())
    found: list[Item] = []
    while len(found) < count:
        grammar = rng.choice(sides[rng.random() >= 0.5])
        words = next(grammar.graph.sample(1, rng.randrange(1 << 30)))
        if 1 <= len(words) <= 8:
            found.append(Item(PHRASE, " ".join(words), spelt(words, rng)))
    return found


def spelt(words: tuple[str, ...], rng: random.Random, most: int = 10) -> tuple[str, ...]:
    """Return some of the ways in which the recogniser's decoder lets these words be written."""
    from joblog.speech.graph import Arc, PackedArcs, WordGraph
    from joblog.speech.surface import expand_surfaces

    line = PackedArcs([*((Arc(word, index + 1),) for index, word in enumerate(words)), ()])
    surfaces = expand_surfaces(WordGraph(0, {len(words): 0.0}, line), punctuation=False)
    forms = dict.fromkeys([f" {' '.join(words)}", f" {_capital(' '.join(words))}."])
    for _ in range(8 * most):
        state, text = surfaces.start, ""
        while surfaces.arcs[state]:
            arc = rng.choice(surfaces.arcs[state])
            state, text = arc.next, text + arc.text
        if state in surfaces.finals and len(forms) < most:
            forms.setdefault(text + rng.choice(["", "."]))
    return tuple(forms)
