"""Reading, checking, showing and writing job sheets."""

import json

import pytest

from joblog.cli import main
from joblog.errors import SheetError
from joblog.sheet.load import library, load_sheet, problems_in, sheet_from_text, sheet_text
from joblog.sheet.skeleton import PLACEHOLDERS
from joblog.sheet.soundalike import TOO_NEAR, distance, sound_alikes

OIL = sheet_text("engine-oil-filter")


def complaints(old, new, text=OIL):
    assert old in text
    return problems_in(text.replace(old, new, 1), "x.toml")[1]


def line_with(words, text=OIL):
    return next(i for i, line in enumerate(text.splitlines(), start=1) if words in line)


@pytest.mark.parametrize("key", list(library()))
def test_shipped_sheets_are_right_and_marked_as_examples(key):
    sheet = load_sheet(key)
    assert sheet.sheet.key == key
    assert sheet.sheet.example
    assert sheet.cautions
    assert "example" in sheet_text(key).splitlines()[0]
    assert "the van" not in sheet_text(key)  # nobody knows what the next vehicle is


def test_library_spans_trades():
    assert len(library()) >= 10
    assert len({load_sheet(key).sheet.trade for key in library()}) >= 3


@pytest.mark.parametrize(
    ("old", "new", "field", "words"),
    [
        (
            'unit = "N.m", tolerance = 4',
            'unit = "furlong", tolerance = 4',
            "torque.unit",
            "unknown",
        ),
        ('unit = "N.m", tolerance = 4', 'unit = "L", tolerance = 4', "torque.unit", "volume"),
        ("tolerance = 4 }", "tolerance = 40 }", "torque.tolerance", "nothing at all"),
        ("opens = 180", "opens = 180, closes = 60", "window", "before it opens"),
        ('after = ["unit-checked"]', 'after = ["level-read"]', "after", "circle"),
        ('after = ["unit-checked"]', 'after = ["unitchecked"]', "after", "there is no step"),
        ('say = ["wheels chocked", "chocks in"]', 'say = ["Wheels 4"]', "say", "lower-case"),
        ('say = ["engine off", "engine stopped"]', 'say = ["no leaks"]', "say", "already marks"),
        ("minutes = 50", "minuts = 50", "minuts", "not a field"),
        ("service = { value = 5.4", "service = { value = -5.4", "service.value", "no quantity"),
        ('only_when = ["chocked"]', 'only_when = ["chokked"]', "only_when", "no condition"),
        ('trade = "vehicle service"', 'trade = ""', "trade", "at least 1"),
    ],
)
def test_each_mistake_is_one_sentence_with_its_field(old, new, field, words):
    found = complaints(old, new)
    assert any(p.field.endswith(field) or field in p.field for p in found)
    assert any(words in p.sentence for p in found)
    assert all("\n" not in str(p) for p in found)


def test_mistake_points_at_its_line():
    found = complaints('unit = "N.m", tolerance = 4', 'unit = "furlong", tolerance = 4')
    assert [p.line for p in found] == [line_with("torque = { fastener")]


def test_all_mistakes_are_found_at_once():
    text = OIL.replace("opens = 180", "opens = 180, closes = 60", 1)
    assert len(problems_in(text.replace("value = 39", "value = -39"), "x.toml")[1]) == 2
    text = text.replace('unit = "N.m", tolerance = 4', 'unit = "furlong", tolerance = 4')
    assert len(problems_in(text, "x.toml")[1]) == 2


def test_toml_mistake_names_the_line():
    with pytest.raises(SheetError, match=r"^x:2: is not TOML"):
        sheet_from_text("[sheet]\nkey = \n", "x")


def test_missing_file_names_what_is_shipped():
    with pytest.raises(SheetError, match="engine-oil-filter"):
        load_sheet("nowhere.toml")


def test_sheet_in_another_encoding_is_told(tmp_path):
    file = tmp_path / "s.toml"
    file.write_bytes("[sheet]\n".encode("utf-16"))
    with pytest.raises(SheetError, match="UTF-8"):
        load_sheet(file)


@pytest.mark.parametrize(
    ("first", "second"),
    [  # pairs that listeners confuse: common practice, no source
        ("thirteen", "thirty"), ("fifteen", "fifty"), ("sixteen", "sixty"),
        ("engine off", "engine on"), ("wheels chocked", "wheels checked"), ("bolt", "volt"),
    ],
)  # fmt: skip
def test_confusable_pairs_are_near(first, second):
    assert distance(first, second) <= TOO_NEAR


@pytest.mark.parametrize(
    ("first", "second"),
    [("fill plug in", "drain plug in"), ("drain plug in", "drain plug out"), ("filled", "lowered")],
)
def test_clear_pairs_are_far(first, second):
    assert distance(first, second) > TOO_NEAR


def test_sound_alikes_name_both_meanings():
    found = sound_alikes({"One": ["engine off"], "Two": ["engine on", "ready to go"]})
    assert [(f.first_means, f.second_means) for f in found] == [("One", "Two")]


def test_new_sheet_checks_clean_and_is_never_overwritten(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["sheet", "new", "coolant-change"]) == 0
    assert main(["sheet", "check", "coolant-change.toml"]) == 0
    told = capsys.readouterr().out  # what a customer would read must be one's own
    assert told.count("remark: the customer would read this line") == len(PLACEHOLDERS) == 2
    assert main(["sheet", "new", "coolant-change"]) == 1
    assert "is there already" in capsys.readouterr().err


def test_check_prints_every_mistake_and_fails(tmp_path, capsys):
    file = tmp_path / "s.toml"
    file.write_text(OIL.replace('after = ["unit-checked"]', 'after = ["nothing"]', 1))
    assert main(["sheet", "check", str(file)]) == 1
    assert f"{file}:{line_with('after = [')}:" in capsys.readouterr().out


def test_a_text_that_is_no_toml_says_that_the_rest_is_not_checked_yet(tmp_path, capsys):
    file = tmp_path / "two-slips.toml"
    two = OIL.replace('after = ["unit-checked"]', 'after = ["nothing"]', 1)
    file.write_text(two.replace("[sheet]", "[sheet", 1))
    assert main(["sheet", "check", str(file)]) == 1
    told = capsys.readouterr().out
    assert "the rest of the sheet is checked only after that" in told
    assert "nothing" not in told
    file.write_text(two)
    assert main(["sheet", "check", str(file)]) == 1
    assert "'nothing'" in capsys.readouterr().out


def test_the_shipped_example_of_an_adapter_says_what_to_set(capsys):
    # T·L/(L + E): 54 x 400 / 450 = 48 [handbook: US Army TM 9-254]; the values are invented
    assert main(["sheet", "show", "hydraulic-pack", "--kit"]) == 0
    assert "Torque wrench 2 (20 to 100 N·m) fits 48 N·m at the line nut." in capsys.readouterr().out
    assert load_sheet("hydraulic-pack").sheet.example


def test_show_try_schema_and_list(capsys):
    assert main(["sheet", "show", "wheel-refit"]) == 0
    assert "EXAMPLE VALUES" in capsys.readouterr().out
    assert main(["sheet", "show", "transaxle-drain-fill", "--kit"]) == 0
    assert "open 4 of 1 US qt" in capsys.readouterr().out
    assert main(["sheet", "show", "coolant", "--grammar"]) == 0
    assert capsys.readouterr().out.startswith("#JSGF V1.0")
    assert main(["sheet", "try", "transaxle-drain-fill", "one quart in", "hello there"]) == 0
    tried = capsys.readouterr().out
    assert "“one quart in”: Adds to the sum that went in: the fluid at hand: 1 US qt." in tried
    assert "“hello there”: not understood." in tried
    typed = ["test pressure 10-12 psi", "test pressure one bar to 12 psi"]
    assert main(["sheet", "try", "marine-gear", *typed, "confirm because it is seized"]) == 0
    one, two_units, reason = capsys.readouterr().out.splitlines()
    assert one.endswith("Records the reading: test pressure: 10 to 12 psi.")
    assert "Records nothing" in two_units
    assert "Lets a finding stand, with your reason" in reason
    assert main(["sheet", "list"]) == 0
    assert "marine-gear" in capsys.readouterr().out
    assert main(["sheet", "schema"]) == 0
    assert json.loads(capsys.readouterr().out)["title"] == "Sheet"


def test_a_right_sheet_is_told_where_it_goes(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("JOBLOG_DATA", str(tmp_path / "data"))
    own = tmp_path / "own.toml"
    own.write_text(OIL, encoding="utf-8")
    assert main(["sheet", "check", str(own), "coolant"]) == 0
    first, second = capsys.readouterr().out.splitlines()
    folder = tmp_path / "data" / "sheets"
    assert f"steps; put it into {folder}, and it stands among the sheets where jobs" in first
    assert second.endswith("steps")  # a shipped one is there already
    there = folder / "own.toml"
    folder.mkdir(parents=True)
    there.write_text(OIL, encoding="utf-8")
    main(["sheet", "check", str(there)])
    assert "it stands among the sheets where jobs start" in capsys.readouterr().out
