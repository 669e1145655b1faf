"""A photo of no use: what is wrong with it is heard, whatever the eye can find wrong."""

import ast
import importlib
import io
from pathlib import Path

import pytest
from PIL import Image

from joblog.job.photo_faults import Fault, fault_of, unusable_aloud
from joblog.job.photographing import NO_DIAMETER
from joblog.job.vocabulary import faults_spoken_whole
from joblog.measure.vin import check_vin
from joblog.measure.vin_labels import vin_trouble
from joblog.readback.clips import load_clips
from joblog.readback.sequence import free_text, pieces_of
from joblog.vision import dipstick, fluid, quality

ROOT = Path(__file__).parents[2]
VISION = ROOT / "joblog" / "vision"
NO_EYE = ("bench_", "compare_", "commands", "overlay", "load")  # no job hears a reason of theirs
# Not said as a photo of no use: no photo at all, and shots that differ ("Level not sure").
SAID_WITHOUT = ("no photo was given", "the shots disagree (levels said): wipe, dip again")
READINGS = ("PlugReading", "DipstickReading", "FluidReading", "replace")
CLIPS = load_clips().by_name


def test_the_reason_is_heard_before_what_to_do():
    blurred = quality.BLURRED.format(subject="plug")
    assert unusable_aloud("plug", blurred) == (
        "Photo plug not usable, blurred, hold still. Take it again."
    )
    dark = quality.TOO_DARK.format(subject="dipstick")
    assert unusable_aloud("dipstick", dark) == "Photo dipstick not usable, too dark. Take it again."


def test_a_reason_of_no_kind_is_said_as_a_photo_of_no_use():
    for why in (None, "", "it can't be measured", 3, "hold still: or it is blurred"):
        assert fault_of(why) is None
        assert unusable_aloud("fluid", why) == "Photo fluid not usable. Take it again."


def test_what_no_second_photo_would_mend_is_not_asked_for_again():
    assert unusable_aloud("plug", NO_DIAMETER) == (
        "Photo plug not usable, no diameter on the sheet."
    )


@pytest.mark.parametrize(
    ("why", "said"),
    [
        (quality.WASHED_OUT, "too bright"),
        (quality.GLARE, "too much glare"),
        (quality.CUT_OFF, "cut off"),
        (quality.TOO_SMALL, "too far away"),
        (quality.NO_COLOURS, "no color"),
        (quality.UNSURE, "not clear"),
        (quality.MISSING.format(subject="plug"), "no plug found"),
        (dipstick.NO_BLADE, "no dipstick found"),
        (dipstick.NO_MARKS, "marks not found"),
        (dipstick.CUT_OFF_MARK, "cut off"),
        (dipstick.DOUBTFUL_MARKS, "wipe around the marks"),
        (dipstick.NO_FIT, "marks do not fit"),
        (dipstick.NO_EDGE, "no wet edge found"),
        (dipstick.HIDDEN, "something in the way"),
        (fluid.TOO_DARK, "too dark"),
        (fluid.GLARE_ON_DROP, "too much glare"),
        (fluid.NOT_A_DROP.format(what="no white paper around the dark spot"), "no white paper"),
        (fluid.NOT_A_DROP.format(what="no round blot found"), "no drop found"),
        (fluid.NOT_A_DROP.format(what=fluid.GREY_SPOT), "no drop found"),
        ("the blot is too small to measure: go nearer", "drop too small"),
        (vin_trouble(check_vin("1M8GDM9AXKP04278")), "number not sure"),
        (vin_trouble(check_vin("1M8GDM9AXKP0427O8")), "number not sure"),
        (vin_trouble(check_vin("1M8GDM9A1KP042788")), "number not sure"),
    ],
)
def test_what_is_heard_is_what_was_wrong(why, said):
    assert why
    assert fault_of(why) == said


def reasons():
    """Yield (where, reason) of every reason written in the rooms that measure photos.

    A reason stands in an error that says why nothing was measured, in a reading's ``why``, or is
    what a function returns or a variable ``why`` holds. Names that aren't the module's own hold
    what stands elsewhere as such a value.
    """
    files = [path for path in sorted(VISION.glob("*.py")) if not path.name.startswith(NO_EYE)]
    for path in (*files, ROOT / "joblog" / "job" / "photographing.py"):
        name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
        module = vars(importlib.import_module(name))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            for value in values(node):
                for text in written(value, module):
                    yield f"{path.name}:{value.lineno}", text


def values(node):
    """Return the expressions in which ``node`` gives a reason."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        if node.func.id in ("_NoLevelError", "_NoColourError"):
            return node.args
        if node.func.id in READINGS:
            return [word.value for word in node.keywords if word.arg == "why"]
    if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "why":
        return [node.value]
    if isinstance(node, ast.Dict):
        pairs = zip(node.keys, node.values, strict=True)
        return [v for k, v in pairs if isinstance(k, ast.Constant) and k.value == "why"]
    if isinstance(node, ast.FunctionDef) and node.returns is not None:
        told = ast.unparse(node.returns) == "str | None" or node.name == "_explained"
        return [n.value for n in ast.walk(node) if told and isinstance(n, ast.Return) and n.value]
    return []


def written(value, module):
    """Yield the texts that an expression of a reason may have, as far as it is written there."""
    if isinstance(value, ast.IfExp):
        yield from written(value.body, module)
        yield from written(value.orelse, module)
        return
    if isinstance(value, ast.BoolOp):
        for part in value.values:
            yield from written(part, module)
        return
    source = ast.unparse(value)
    try:
        text = eval(source, module | {"subject": "plug", "said": "said"})
    except NameError:  # a local name: it holds a reason that stands elsewhere
        assert isinstance(value, ast.Name | ast.Attribute | ast.Call), source
        assert ".format(" not in source.removeprefix("why.format("), source
        return
    if isinstance(text, str) and text:
        yield text


def test_every_reason_that_the_eye_can_give_has_spoken_words():
    found = dict(reasons())
    assert len(found) > 40, found
    texts = set(found.values())
    for known in (quality.UNSURE.format(subject="plug"), dipstick.HIDDEN, fluid.TOO_DARK):
        assert known in texts  # the search itself sees all three rooms
    without = {
        f"{where} {text}"
        for where, text in found.items()
        if fault_of(text) is None and not text.startswith(SAID_WITHOUT)
    }
    assert not without


def test_every_constant_that_is_a_reason_has_spoken_words():
    """A second look, by how a reason is written: what is wrong, a colon, what to do about it."""
    for module in (quality, dipstick, fluid):
        for name, text in vars(module).items():
            if isinstance(text, str) and name.isupper() and ": " in text:
                shown = text.replace("{what}", "no round blot found").replace("{subject}", "plug")
                assert fault_of(shown), f"{module.__name__}.{name}: {text}"


def test_every_kind_is_heard_of_and_none_is_left_over():
    heard = {fault_of(text) for _, text in reasons()} | {Fault.MISREAD}
    assert heard >= set(Fault)


@pytest.mark.parametrize("fault", list(Fault))
def test_what_is_wrong_is_one_clip_of_few_words(fault):
    assert f"{fault}." in faults_spoken_whole()
    assert fault in CLIPS
    assert len(fault.split()) <= 5
    for kind in ("plug", "dipstick", "fluid", "label"):
        pieces = pieces_of(f"Photo {kind} not usable, {fault}. Take it again.", CLIPS)
        assert not free_text(pieces)
        assert [p.name for p in pieces if p.kind == "clip"][-2:] == [fault, "take it again"]


def test_in_a_job_it_is_heard_shown_and_said_again_when_it_is_let_stand(bench):
    job = bench()
    job.say("vehicle checked", "warm up done")
    black = io.BytesIO()
    Image.new("RGB", (640, 480), (8, 8, 8)).save(black, "PNG")
    reply = job.session.photo(black.getvalue(), "dipstick")
    assert reply.spoken.startswith("Photo dipstick not usable, too dark. Take it again.")
    assert "light the dipstick from the side" in reply.shown
    job.check_vocabulary(reply)
    confirmed = job.say("confirm because see note")
    assert "not usable, too dark" in confirmed.spoken
    assert not [f for f in job.state.open_findings if f.key.startswith("photo:")]
