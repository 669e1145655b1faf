"""What the page on sheets shows is a sheet, and the schema for editors is the model's."""

import json
import re
from pathlib import Path

from joblog.cli import main
from joblog.sheet.load import problems_in
from joblog.sheet.model import Sheet

DOCS = Path(__file__).parents[2] / "docs"


def test_example_on_the_page_has_no_mistakes(tmp_path, capsys):
    text = re.search(r"```toml\n(.*?)```", (DOCS / "sheets.md").read_text("utf-8"), re.DOTALL)[1]
    (tmp_path / "gear-case.toml").write_text(text, encoding="utf-8")
    assert main(["sheet", "check", str(tmp_path / "gear-case.toml")]) == 0
    assert "remark" not in capsys.readouterr().out
    sheet, problems = problems_in(text, "docs/sheets.md")
    assert not problems
    assert len(sheet.steps) == 6


def test_schema_for_editors_is_current():
    kept = json.loads((DOCS / "sheet.schema.json").read_text("utf-8"))
    assert kept == Sheet.model_json_schema(), "run: joblog sheet schema > docs/sheet.schema.json"
