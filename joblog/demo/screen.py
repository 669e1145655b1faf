"""The demo in the terminal: what was said and answered on the left, the job on the right."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from rich.console import Console, Group, RenderableType
from rich.layout import Layout
from rich.live import Live
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from joblog.job.ranges import value_shown
from joblog.job.types import JobState, StepStatus, Value
from joblog.measure.units import Quantity

_WORDS = {StepStatus.DONE: "done", StepStatus.INCOMPLETE: "value missing", StepStatus.OPEN: ""}


def job_time(seconds: float) -> str:
    """Return job time as minutes and seconds: '18:40'."""
    return f"{int(seconds) // 60:02d}:{int(seconds) % 60:02d}"


@dataclass(frozen=True)
class Exchange:
    """One thing said or photographed, and joblog's answer."""

    at: float
    who: str
    heard: str
    meant: str
    answer: str
    tone: str


def _block(exchange: Exchange) -> list[Text]:
    """Return one exchange as lines: who and what was heard, how surely, the answer."""
    who = exchange.who.split(",")[0]
    mark = {"warn": "stop: ", "again": "asks: "}.get(exchange.tone, "says: ")
    style = "reverse" if exchange.tone in ("warn", "again") else ""
    rows = [Text(f"{job_time(exchange.at)}  {who}: {exchange.heard}", style="bold")]
    if exchange.meant:
        rows.append(Text(f"       {exchange.meant}", style="dim"))
    return [*rows, Text(f"       joblog {mark}{exchange.answer}", style=style), Text(" ")]


@dataclass
class Screen:
    """Draws the job as it happens; ``plain`` prints lines instead, for files and narrow windows."""

    console: Console
    plain: bool
    exchanges: deque[Exchange] = field(default_factory=lambda: deque(maxlen=12))
    state: JobState | None = None
    live: Live | None = None

    def __enter__(self) -> Screen:
        """Take the terminal over, unless lines are printed."""
        if not self.plain:
            self.live = Live(console=self.console, screen=True, auto_refresh=False)
            self.live.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Give the terminal back."""
        if self.live:
            self.live.stop()

    def show(self, exchange: Exchange, state: JobState) -> None:
        """Add one exchange and redraw."""
        self.exchanges.append(exchange)
        self.state = state
        if self.plain:
            self._print(exchange)
        elif self.live:
            self.live.update(self._draw(), refresh=True)

    def _print(self, exchange: Exchange) -> None:
        self.console.print(
            Text(f"{job_time(exchange.at)}  {exchange.who.split(',')[0]}: {exchange.heard}")
        )
        if exchange.meant:
            self.console.print(Text(f"       {exchange.meant}"), style="dim")
        self.console.print(Text(f"       joblog: {exchange.answer}\n"), style="bold")

    def _draw(self) -> RenderableType:
        assert self.state is not None
        layout = Layout()
        layout.split_column(Layout(name="head", size=3), Layout(name="body"))
        layout["body"].split_row(Layout(name="said", ratio=3), Layout(name="job", ratio=2))
        unit = self.state.opened["unit"]
        now = job_time(self.exchanges[-1].at)
        title = f"{self.state.sheet.sheet.title}  |  {unit['make']} {unit['model']}"
        layout["head"].update(Panel(Text(f"{now}  {title}", style="bold"), title="joblog demo"))
        layout["said"].update(Panel(self._said(), title="Heard and answered"))
        layout["job"].update(Panel(self._job(), title="The job"))
        return layout

    def _said(self) -> RenderableType:
        """Return the newest exchanges that fit, the newest always whole."""
        width, room = self.console.width * 3 // 5 - 6, self.console.height - 5
        rows: list[Text] = []
        for exchange in reversed(self.exchanges):
            block = _block(exchange)
            lines = sum(len(text.wrap(self.console, width)) for text in block)
            if rows and lines > room:
                break
            rows = [*block, *rows]
            room -= lines
        return Group(*rows)

    def _job(self) -> RenderableType:
        assert self.state is not None
        table = Table(box=None, padding=(0, 1), show_header=False, expand=True)
        table.add_column(ratio=5, no_wrap=True, overflow="ellipsis")
        table.add_column(ratio=3, no_wrap=True, overflow="ellipsis")
        following = self.state.next_step
        for step in self.state.steps:
            values = ", ".join(_shown(v) for v in step.values)
            word = values or _WORDS[step.status]
            style = "dim" if step.status is StepStatus.DONE else ""
            lead = "> " if following and step.step.key == following.step.key else "  "
            table.add_row(Text(lead + step.step.title, style=style), Text(word, style=style))
        open_findings = [f for f in self.state.findings if not f.resolved]
        found = [Text("")]
        found += [Text(f"! {f.text}", style="bold") for f in open_findings[-3:]]
        return Group(table, *found)


def _shown(value: Value) -> str:
    if value.upper is not None:
        return value_shown(value)
    return str(Quantity.of(value.value, value.unit))
