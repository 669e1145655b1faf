"""Remarks on a sheet that may be meant so, and would tell the customer or the bay too little."""

from __future__ import annotations

from joblog.cli import main
from joblog.sheet.load import problems_in

WHEELS = """
[sheet]
key = "wheels"
title = "Wheels"
revision = "1"
summary = "The wheels are tightened."

[[steps]]
key = "left"
title = "Left"
say = ["left wheel"]
torque = { fastener = "wheel nut", value = 110, unit = "N.m", tolerance = 10 }

[[steps]]
key = "right"
title = "Right"
say = ["right wheel"]
torque = { fastener = "wheel nut", value = 110, unit = "N.m", tolerance = 10 }
"""


def test_fasteners_of_one_name_are_remarked_on_where_no_order_tells_them_apart():
    sheet, problems = problems_in(WHEELS, "x.toml")
    (found,) = [p for p in problems if "wheel nut" in p.sentence]
    assert (sheet is not None, found.remark, found.line) == (True, True, WHEELS.count("\n"))
    assert "tightened at 'left', too" in found.sentence
    assert 'write after = ["left"]' in found.sentence
    in_turn = WHEELS.replace('say = ["right', 'after = ["left"]\nsay = ["right')
    assert not [p for p in problems_in(in_turn, "x.toml")[1] if "wheel nut" in p.sentence]


def test_a_sheet_that_tells_the_customer_nothing_is_remarked_on():
    (found,) = [p for p in problems_in(WHEELS, "x.toml")[1] if "customer" in p.sentence]
    assert (found.remark, "only counts the steps" in found.sentence) == (True, True)
    told = WHEELS.replace('say = ["right', 'customer = "It was tightened."\nsay = ["right')
    assert not [p for p in problems_in(told, "x.toml")[1] if "customer" in p.sentence]


def test_a_file_that_would_hide_a_shipped_sheet_is_remarked_on(tmp_path, capsys):
    text = WHEELS.replace('key = "wheels"', 'key = "my-coolant"')
    (tmp_path / "coolant.toml").write_text(text, encoding="utf-8")
    assert main(["sheet", "check", str(tmp_path / "coolant.toml")]) == 0
    assert "takes the place of the shipped sheet 'coolant'; call it my-coolant.toml" in (
        capsys.readouterr().out
    )
    meant = text.replace("my-coolant", "coolant")
    (tmp_path / "coolant.toml").write_text(meant, encoding="utf-8")
    assert main(["sheet", "check", str(tmp_path / "coolant.toml")]) == 0
    assert "takes the place" not in capsys.readouterr().out
