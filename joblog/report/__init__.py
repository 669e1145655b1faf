"""The report room: from a replayed job to a page that the customer understands.

``build_report`` makes the view model, ``render_html`` and ``render_pdf`` lay it out; ``attached``
takes the record out of a PDF again and says whether the two agree. The names below are loaded when
first used, because the typesetter and the pictures' library are heavy.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from joblog.report.build import build_report
    from joblog.report.history_report import build_history
    from joblog.report.html import render_html
    from joblog.report.model import Report
    from joblog.report.pdf import render_pdf
    from joblog.report.settings import ShopSettings, load_settings

_HOMES = {
    "Report": "model",
    "ShopSettings": "settings",
    "build_history": "history_report",
    "build_report": "build",
    "load_settings": "settings",
    "render_html": "html",
    "render_pdf": "pdf",
}

__all__ = [
    "Report",
    "ShopSettings",
    "build_history",
    "build_report",
    "load_settings",
    "render_html",
    "render_pdf",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(importlib.import_module(f"{__name__}.{_HOMES[name]}"), name)
