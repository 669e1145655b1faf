"""Small job sheets for tests: a line for each fluid, tool and step, in place of five of the file's.

Where a test is about a sheet's text, or changes it, the text itself stands in the test.
"""

from __future__ import annotations

import json
from typing import Any


def fluid(key: str, name: str, service: str = "", **more: Any) -> str:
    """A fluid; amounts are written '3 L'."""
    amounts = ("service", "total", "container", "tolerance")
    more = ({"service": service} if service else {}) | more
    found = {k: _amount(v) if k in amounts else v for k, v in more.items()}
    return _block("fluids", key=key, name=name, specification="Example", **found)


def tool(key: str, name: str, lowest: str, highest: str) -> str:
    """A torque wrench that is good from ``lowest`` to ``highest``: '20 N.m'."""
    return _block("tools", key=key, name=name, lowest=_amount(lowest), highest=_amount(highest))


def step(key: str, title: str, say: str, *, into: str = "", out: str = "", **wants: Any) -> str:
    """A step and what it wants; ``into`` is the key of a fluid that it fills, ``out`` drains."""
    if into or out:
        wants["pour"] = {"fluid": into or out, "direction": "in" if into else "out"}
    return _block("steps", key=key, title=title, say=[say], **wants)


def torque(fastener: str, value: str, tolerance: float, **more: Any) -> dict[str, Any]:
    """What a step tightens: torque('plug', '30 N.m', 3, count=2)."""
    return {"fastener": fastener, **_amount(value), "tolerance": tolerance, **more}


def reading(name: str, unit: str, **limits: float) -> dict[str, Any]:
    """What a step reads: reading('oil level', 'mm', low=10, high=20)."""
    return {"name": name, "unit": unit, **limits}


def _amount(text: str) -> dict[str, Any]:
    value, unit = text.split()
    return {"value": json.loads(value), "unit": unit}


def _block(kind: str, **fields: Any) -> str:
    lines = (f"{name} = {_toml(value)}\n" for name, value in fields.items())
    return f"\n[[{kind}]]\n{''.join(lines)}"


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{k} = {_toml(v)}' for k, v in value.items())} }}"
    return json.dumps(value, ensure_ascii=False)  # text, numbers and lists look alike in both
