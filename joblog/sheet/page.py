"""A sheet as one page of HTML: to read on a screen, to print and to hang up.

The page needs nothing beside itself. Every word of the sheet is escaped: a sheet comes from
anywhere. What can be said, and the grammar, come from the job's room through the command.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from html import escape

from joblog.measure.units import unit_of
from joblog.sheet.check_torques import adapter_of, setting_on, wrenches_of
from joblog.sheet.complaints import plain
from joblog.sheet.model import Amount, Fluid, Sheet, Step, Tool, Torque
from joblog.sheet.show import EXAMPLE

Phrases = Mapping[str, Iterable[tuple[str, str]]]  # heading -> (what is said, what it does)

_STYLE = """
:root { color-scheme: light dark; --paper: #f7f4ec; --ink: #1b2a2e; --soft: #4d5a57;
  --rule: #8d8a7d; --accent: #0e545e; }
@media (prefers-color-scheme: dark) { :root { --paper: #14191b; --ink: #ece7da; --soft: #b3bcb9;
  --rule: #77827f; --accent: #8fd0d4; } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--paper); color: var(--ink); line-height: 1.5;
  font-family: "Segoe UI", "Helvetica Neue", "Noto Sans", "DejaVu Sans", sans-serif; }
main { max-width: 60rem; margin: 0 auto; padding: 1rem 1.25rem 3rem; }
h1, h2 { font-family: Georgia, "Noto Serif", "DejaVu Serif", serif; line-height: 1.2; }
h1 { font-size: clamp(1.6rem, 4vw, 2.4rem); margin: .5rem 0; }
h2 { font-size: 1.35rem; margin: 2rem 0 .5rem; border-bottom: 3px double var(--rule); }
h3 { font-size: 1.05rem; margin: 0; }
.soft { color: var(--soft); } .example { border: 2px solid var(--ink); padding: .5rem .75rem;
  font-weight: 600; }
.plate { font-family: "DejaVu Sans Mono", Consolas, monospace; font-size: .95em; }
ul { padding-left: 1.25rem; } p, ul { margin: .35rem 0; overflow-wrap: anywhere; }
ol.steps { list-style: none; padding: 0; counter-reset: step; }
ol.steps > li { counter-increment: step; border-top: 1px solid var(--rule); padding: .75rem 0 .75rem
  2.75rem; position: relative; break-inside: avoid; }
ol.steps > li::before { content: counter(step); position: absolute; left: 0; top: .6rem;
  font: 600 1.5rem Georgia, "DejaVu Serif", serif; color: var(--accent); }
dl { display: grid; grid-template-columns: minmax(6.5rem, max-content) 1fr; gap: .1rem 1rem;
  margin: .35rem 0; }
dt { color: var(--soft); } dd { margin: 0; overflow-wrap: anywhere; }
q { font-style: italic; }
pre { white-space: pre-wrap; overflow-wrap: anywhere; font-size: .8rem; border-left: 3px solid
  var(--rule); padding-left: .75rem; }
@media (max-width: 30rem) { dl { grid-template-columns: 1fr; gap: 0; } dd { margin-bottom: .35rem; }
  ol.steps > li { padding-left: 2rem; } }
@media print { :root { color-scheme: light; --paper: #fff; --ink: #000; --soft: #333;
  --rule: #777; --accent: #000; } main { max-width: none; padding: 0; } body { font-size: 10pt; }
  h2 { break-after: avoid; } .grammar { break-before: page; } @page { margin: 15mm; } }
"""


def sheet_page(sheet: Sheet, phrases: Phrases, grammar: str) -> str:
    """Return the whole page."""
    head = sheet.sheet
    parts = [
        f"<h1>{_text(head.title)}</h1>",
        f'<p class="soft"><span class="plate">{_text(head.key)}</span>, revision '
        f"{_text(head.revision)}, {_text(head.trade)}{_minutes(head.minutes)}</p>",
        f'<p class="example">{_text(EXAMPLE)}</p>' if head.example else "",
        f"<p>{_text(head.summary)}</p>",
        _section("For which unit", _applies(sheet)),
        _section("Cautions", _list(_caution(c.text, c.source) for c in sheet.cautions)),
        _section("Fetch", _fetch(sheet)),
        _section("Steps", _steps(sheet)),
        _section("Next time", _next_due(sheet)),
        _section("What can be said", _sayings(phrases)),
        f'<section class="grammar"><h2>Grammar</h2><p class="soft">JSGF, as a recogniser reads it.'
        f"</p><pre>{_text(grammar)}</pre></section>",
    ]
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{_text(head.title)} – job sheet {_text(head.key)}</title>\n"
        f"<style>{_STYLE}</style>\n</head>\n<body>\n<main>\n"
        + "\n".join(part for part in parts if part)
        + "\n</main>\n</body>\n</html>\n"
    )


def _text(text: object) -> str:
    return escape(str(text), quote=True)


def _section(title: str, body: str) -> str:
    return f"<section><h2>{title}</h2>{body}</section>" if body else ""


def _list(items: Iterable[str]) -> str:
    made = "".join(f"<li>{item}</li>" for item in items if item)
    return f"<ul>{made}</ul>" if made else ""


def _facts(facts: Iterable[tuple[str, str]]) -> str:
    made = "".join(f"<dt>{name}</dt><dd>{value}</dd>" for name, value in facts if value)
    return f"<dl>{made}</dl>" if made else ""


def _amount(amount: Amount | None) -> str:
    return f"{_text(amount.value)} {_unit(amount.unit)}" if amount else ""


def _unit(code: str) -> str:
    return _text(unit_of(code).symbol)


def _minutes(minutes: int | None) -> str:
    return f", about {minutes} minutes" if minutes else ""


def _applies(sheet: Sheet) -> str:
    applies = sheet.applies
    facts = [
        ("For", _text(", ".join(applies.to)) or "any unit"),
        ("Engine", _text(", ".join(applies.engines))),
        ("VIN", f'<span class="plate">{_text(applies.vin)}</span>' if applies.vin else ""),
    ]
    for exclusion in applies.not_to:
        use = f"; use the sheet <q>{_text(exclusion.use)}</q>" if exclusion.use else ""
        facts.append(("Not for", f"{_text(exclusion.unit)}: {_text(exclusion.why)}{use}"))
    return _facts(facts)


def _caution(text: str, source: str | None) -> str:
    return _text(text) + (f' <span class="soft">[{_text(source)}]</span>' if source else "")


def _fetch(sheet: Sheet) -> str:
    return _list(
        [
            *(_fluid(fluid) for fluid in sheet.fluids),
            *(
                f"{p.quantity} × {_text(p.name)} {_text(p.number or '')}"
                f"{', ' + _text(p.fitted) if p.fitted else ''}"
                for p in sheet.parts
            ),
            *(_tool(tool) for tool in sheet.tools),
        ]
    )


def _fluid(fluid: Fluid) -> str:
    amounts = [
        f"{name} {_amount(amount)}"
        for name, amount in (
            ("service", fluid.service),
            ("in all", fluid.total),
            ("sold by", fluid.container),
            ("in and out may differ by", fluid.tolerance),
        )
        if amount
    ]
    return "; ".join([f"{_text(fluid.name)}: {_text(fluid.specification)}", *amounts])


def _tool(tool: Tool) -> str:
    words = [_text(tool.name), _text(tool.size or "")]
    if tool.highest:
        low = f"{_text(tool.lowest.value)} to " if tool.lowest else "up to "
        words.append(f"{low}{_amount(tool.highest)}")
    if tool.length:
        words.append(f"{_amount(tool.length)} from drive to grip")
    if tool.extension:
        angle = tool.extension_angle
        words.append(f"{_amount(tool.extension)} from drive to fastener")
        words.append(f"at {plain(angle)}°" if angle else "")
    said = " or ".join(f"<q>{_text(phrase)}</q>" for phrase in tool.say)
    words.append(f"said {said}" if said else "")
    return ", ".join(word for word in words if word)


def _steps(sheet: Sheet) -> str:
    rows = []
    titles = {step.key: step.title for step in sheet.steps}
    for step in sheet.steps:
        name = _text(step.title) + (
            ' <span class="soft">(optional)</span>' if step.optional else ""
        )
        rows.append(f"<li><h3>{name}</h3>{_facts(_step(step, sheet, titles))}</li>")
    note = '<p class="soft">Words in [ ] may be left out; | stands between variants.</p>'
    return f'{note}<ol class="steps">{"".join(rows)}</ol>'


def _step(step: Step, sheet: Sheet, titles: Mapping[str, str]) -> list[tuple[str, str]]:
    def named(keys: Iterable[str], names: Mapping[str, str]) -> str:
        return "; ".join(_text(names.get(key, key)) for key in keys)

    facts = [
        ("Say", " or ".join(f"<q>{_text(phrase)}</q>" for phrase in step.say)),
        ("Why", _text(step.why or "")),
        ("After", named(step.after, titles)),
        ("Before", named(step.before, titles)),
        ("Only when", named(step.only_when, sheet.conditions)),
        ("Not while", named(step.not_while, sheet.conditions)),
        ("Parts", named(step.parts, {p.key: p.name for p in sheet.parts})),
        ("Tools", named(step.tools, {t.key: t.name for t in sheet.tools})),
    ]
    if step.torque:
        facts.append(("Torque", _torque(step.torque)))
        facts.append(("Set", _setting(step, sheet)))
    if step.pour:
        names = {fluid.key: fluid.name for fluid in sheet.fluids}
        way = "comes out" if step.pour.direction == "out" else "goes in"
        facts.append(("Quantity", f"{named([step.pour.fluid], names)} that {way}"))
    if step.window:
        closes = f"to {step.window.closes} s" if step.window.closes is not None else "s or more"
        since = _text(titles.get(step.window.since, step.window.since))
        facts.append(("Time", f"{_text(step.window.opens)} {_text(closes)} after “{since}”"))
    if step.photo:
        wanted = "" if step.photo.required else ", if possible"
        facts.append(("Photo", f"{_text(step.photo.kind)}, {_text(step.photo.phase)}{wanted}"))
    if step.reading:
        low, high = step.reading.low, step.reading.high
        limits = " to ".join(_text(v) for v in (low, high) if v is not None)
        at = "at least " if high is None and low is not None else ""
        at = "at most " if low is None and high is not None else at
        unit = _unit(step.reading.unit)
        facts.append(("Reading", f"{_text(step.reading.name)}: {at}{limits} {unit}"))
    cautions = [c for c in sheet.cautions if step.key in c.steps]
    facts.append(("Caution", " ".join(_caution(c.text, c.source) for c in cautions)))
    return facts


def _torque(torque: Torque) -> str:
    turn = ""
    if torque.angle is not None:
        around = Decimal(5) if torque.angle_tolerance is None else torque.angle_tolerance
        turn = f", then {_text(torque.angle)}° ± {_text(around)}° further"
    times = f", {torque.count} of them" if torque.count > 1 else ""
    stage = f", stage {torque.stage}" if torque.stage > 1 else ""
    return (
        f"{_text(torque.fastener)}{stage}: <strong>{_text(torque.value)} ± "
        f"{_text(torque.tolerance)} {_unit(torque.unit)}</strong>{turn}{times}"
    )


def _setting(step: Step, sheet: Sheet) -> str:
    adapter = adapter_of(sheet, step)
    if adapter is None:
        return ""
    made = []
    for wrench in wrenches_of(sheet, step):
        setting = setting_on(step, wrench, adapter)
        if setting is not None:
            made.append(
                f"{_text(wrench.name)} to {float(setting.exact):.1f} {_unit(setting.unit)}, "
                f"through {_text(adapter.name)}"
            )
    return " or ".join(made)


def _next_due(sheet: Sheet) -> str:
    due = sheet.sheet.next_due
    if due is None:
        return ""
    limits = [
        _amount(due.distance),
        f"{_text(due.hours)} hours" if due.hours is not None else "",
        f"{due.months} months" if due.months is not None else "",
    ]
    whichever = ", whichever comes first" if sum(map(bool, limits)) > 1 else ""
    again = ", ".join(limit for limit in limits if limit)
    watch = _list(map(_text, due.watch))
    return _facts([("Due again", f"after {again}{whichever}" if again else ""), ("Watch", watch)])


def _sayings(phrases: Phrases) -> str:
    return "".join(
        f"<h3>{_text(heading)}</h3>"
        + _facts((f"<q>{_text(say)}</q>", _text(does)) for say, does in rows)
        for heading, rows in phrases.items()
    )
