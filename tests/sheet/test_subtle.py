"""Sheets whose form is right and whose sense is not."""

import pytest

from joblog.sheet.check import check
from joblog.sheet.load import load_sheet
from joblog.sheet.model import Sheet

BASE = load_sheet("engine-oil-filter").model_dump()


@pytest.mark.parametrize(
    ("table", "row", "words"),
    [
        ("steps", {"only_when": ("c",)}, "nothing ever sets"),
        ("steps", {"clears": ("c",)}, "nothing ever sets"),
        ("steps", {"window": {"since": "extra", "opens": 0}}, "does not come before"),
        ("fluids", {"service": {"value": 5, "unit": "L"}, "total": {"value": 4, "unit": "L"}},
         "more than the unit holds"),
        ("tools", {"lowest": {"value": 90, "unit": "N.m"}, "highest": {"value": 9, "unit": "N.m"}},
         "not below"),
    ],
)  # fmt: skip
def test_each_is_one_sentence(table, row, words):
    form = {
        "steps": {"key": "extra", "title": "Extra", "say": ("extra thing",)},
        "fluids": {"key": "g", "name": "G", "specification": "S"},
        "tools": {"key": "t-extra", "name": "T"},
    }[table]
    data = {**BASE, "conditions": {**BASE["conditions"], "c": "it is so"}}
    data["fluids"] = (*data["fluids"], {"key": "f", "name": "F", "specification": "S"})
    data[table] = (*data[table], {**form, **row})
    found = [c for c in check(Sheet.model_validate(data)) if words in c.sentence]
    assert len(found) == 1
    assert found[0].path[0] == table


def test_vin_pattern():
    data = {**BASE, "applies": {**BASE["applies"], "vin": "[A-"}}
    assert any("regular expression" in c.sentence for c in check(Sheet.model_validate(data)))
