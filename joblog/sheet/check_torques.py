"""Torques, stages, wrenches and adapters that can't be as a sheet has them."""

from __future__ import annotations

from collections import defaultdict
from decimal import Decimal
from fractions import Fraction

from joblog.errors import InputError
from joblog.measure.torque import crow_foot_setting, permissible_deviation
from joblog.measure.units import UNITS, Quantity
from joblog.sheet.check_order import all_earlier, earlier_steps
from joblog.sheet.complaints import Complaint, Found, in_si, plain, size, told
from joblog.sheet.model import Sheet, Step, Tool

# Of a wrench's maximum: the lowest test point of ISO 6789:2003. Since 2017 a range starts at the
# lowest marked value (ISO 6789-1:2017, 5.1.3), so that this counts where no lowest value is given.
LOWEST_SHARE = Fraction(1, 5)
MOST_FASTENERS = 100
MOST_STAGES = 12  # more can't be said
LARGEST_NM = 20_000
SMALLEST_NM = Fraction(1, 20)


def _values(sheet: Sheet) -> Found:
    for i, step in enumerate(sheet.steps):
        torque = step.torque
        if torque is None:
            continue
        at = ("steps", i, "torque")
        if torque.tolerance >= torque.value:
            yield Complaint(
                (*at, "tolerance"),
                f"a tolerance of {torque.tolerance} allows {torque.value} {torque.unit} to be "
                "nothing at all; write it in the unit of the torque",
            )
        elif torque.tolerance * 2 > torque.value:
            yield Complaint(
                (*at, "tolerance"),
                f"a tolerance of {torque.tolerance} is more than half of {torque.value} "
                f"{torque.unit}; write it in the unit of the torque, not in percent",
            )
        newton_metres = in_si(torque.value, torque.unit, "torque")
        if newton_metres is not None and not SMALLEST_NM <= newton_metres <= LARGEST_NM:
            yield Complaint(
                (*at, "value"),
                f"{torque.value} {torque.unit} is no torque of a fastener; check value and unit",
            )
        if torque.stage > MOST_STAGES:
            yield Complaint(
                (*at, "stage"), f"stage {torque.stage} can't be said; number stages from 1"
            )
        if torque.count > MOST_FASTENERS:
            yield Complaint(
                (*at, "count"), f"{torque.count} fasteners of a kind can't be meant; check 'count'"
            )
        yield from _angle(i, step)


def _angle(i: int, step: Step) -> Found:
    assert step.torque is not None
    angle, around = step.torque.angle, step.torque.angle_tolerance
    at = ("steps", i, "torque")
    if angle is not None and not 0 < angle <= 720:
        yield Complaint(
            (*at, "angle"), f"{angle} degrees can't be turned further; write 1 to 720, or leave it"
        )
    elif around is not None and angle is None:
        yield Complaint(
            (*at, "angle_tolerance"), "there is no 'angle' that this belongs to; add it, in degrees"
        )
    elif around is not None and angle is not None and not 0 <= around < angle:
        yield Complaint(
            (*at, "angle_tolerance"),
            f"an angle of {angle} ± {around} degrees can't be meant; write less than {angle}",
        )


def _stages(sheet: Sheet) -> Found:
    """Stages of one fastener start at one, leave nothing out and come one after another."""
    fasteners: dict[str, list[tuple[int, Step]]] = defaultdict(list)
    for i, step in enumerate(sheet.steps):
        if step.torque:
            fasteners[" ".join(step.torque.fastener.lower().split())].append((i, step))
    earlier = earlier_steps(sheet)
    for name, rows in fasteners.items():
        stages = {step.torque.stage for _, step in rows if step.torque}
        yield from _one_name(rows, earlier)
        yield from _missing_stages(name, rows, stages)
        yield from _stage_order(name, rows, earlier)


def _one_name(rows: list[tuple[int, Step]], earlier: dict[str, set[str]]) -> Found:
    """Two fasteners of one name can't be told apart by voice, so both want the same torque.

    Where one step comes after the other, what is said counts for the step at hand: a job may open.
    Where none does, even one of the same torque may be taken for the other's.
    """
    first: dict[int, Step] = {}
    for i, step in rows:
        assert step.torque is not None
        other = first.setdefault(step.torque.stage, step)
        assert other.torque is not None
        one, two = (in_si(t.value, t.unit, "torque") for t in (other.torque, step.torque))
        in_turn = other.key in all_earlier(earlier, step.key)
        if one == two and other is not step and not in_turn:
            yield Complaint(
                ("steps", i, "torque", "fastener"),
                f"'{step.torque.fastener}' is tightened at '{other.key}', too, and this step need "
                "not come after it: a torque counts for the step just reported, else for the first "
                f'that lacks it; give each a name of its own, or write after = ["{other.key}"]',
                remark=True,
            )
        if one != two:
            before = f"{other.torque.value} {other.torque.unit} at '{other.key}'"
            here = f"{step.torque.value} {step.torque.unit} here"
            yield Complaint(
                ("steps", i, "torque", "fastener"),
                f"'{step.torque.fastener}' is {before} and {here}, which can't be told apart by "
                "voice; give each fastener a name of its own, or number the passes of one with "
                "'stage'",
                stops=not in_turn,
            )


def _missing_stages(name: str, rows: list[tuple[int, Step]], stages: set[int]) -> Found:
    for i, step in rows:
        assert step.torque is not None
        stage = step.torque.stage
        if stage > 1 and stage - 1 not in stages:
            yield Complaint(
                ("steps", i, "torque", "stage"),
                f"'{name}' has a stage {stage} and no stage {stage - 1}; add it, or number the "
                "stages from 1",
            )
        if stage == 1 and "stage" in step.torque.model_fields_set and stages == {1}:
            yield Complaint(
                ("steps", i, "torque", "stage"),
                f"'{name}' has a stage 1 and no stage 2; add stage 2, or take 'stage' out",
            )


def _stage_order(name: str, rows: list[tuple[int, Step]], earlier: dict[str, set[str]]) -> Found:
    for i, step in rows:
        for _, other in rows:
            assert step.torque is not None
            assert other.torque is not None
            if other.torque.stage != step.torque.stage - 1:
                continue
            if other.key not in all_earlier(earlier, step.key):
                yield Complaint(
                    ("steps", i, "after"),
                    f"stage {step.torque.stage} of '{name}' could be done before stage "
                    f'{other.torque.stage}; write after = ["{other.key}"]',
                )
            if other.torque.count != step.torque.count:
                yield Complaint(
                    ("steps", i, "torque", "count"),
                    f"stage {step.torque.stage} tightens {step.torque.count} of '{name}', but "
                    f"stage {other.torque.stage} {other.torque.count}; write the same 'count'",
                )
            first = in_si(other.torque.value, other.torque.unit, "torque")
            second = in_si(step.torque.value, step.torque.unit, "torque")
            if first is not None and second is not None and second < first:
                yield Complaint(
                    ("steps", i, "torque", "value"),
                    f"stage {step.torque.stage} of '{name}' is less than stage "
                    f"{other.torque.stage}; exchange the two unless it is loosened in between",
                    True,
                )


def _ranges(sheet: Sheet) -> Found:
    for i, tool in enumerate(sheet.tools):
        low, high = size(tool.lowest, "torque"), size(tool.highest, "torque")
        for name in ("lowest", "highest", "length", "extension"):
            amount = getattr(tool, name)
            if amount and amount.value <= 0:
                yield Complaint(
                    ("tools", i, name), f"{told(amount)} can't be; write a number above zero"
                )
        if low is not None and high is not None and 0 < high <= low:
            yield Complaint(
                ("tools", i, "lowest"),
                f"'lowest' ({tool.lowest and tool.lowest.value}) is not below 'highest' "
                f"({tool.highest and tool.highest.value}); exchange them",
            )
        if tool.lowest and not tool.highest:
            yield Complaint(
                ("tools", i, "lowest"), "a wrench has a 'highest', too; write what its label says"
            )
        if tool.extension and tool.highest:
            yield Complaint(
                ("tools", i, "extension"),
                "a wrench with a range is no adapter; write a tool of its own for the adapter",
            )


def wrenches_of(sheet: Sheet, step: Step) -> list[Tool]:
    """Return the wrenches with a range that ``step`` names."""
    return [t for t in sheet.tools if t.key in step.tools and t.highest]


def adapter_of(sheet: Sheet, step: Step) -> Tool | None:
    """Return the crow-foot or other adapter through which ``step`` is tightened, or None."""
    return next((t for t in sheet.tools if t.key in step.tools and t.extension), None)


def setting_on(step: Step, wrench: Tool, adapter: Tool | None) -> Quantity | None:
    """Return what ``wrench`` is to be set to at ``step``; None where it can't be told.

    Through an adapter that is less than the fastener gets [handbook: US Army TM 9-254].
    """
    if step.torque is None or step.torque.unit not in UNITS:
        return None
    wanted = Quantity(step.torque.value, step.torque.unit)
    if adapter is None:
        return wanted
    arm, reach = size(wrench.length, "length"), size(adapter.extension, "length")
    if arm is None or reach is None:
        return None
    try:
        return crow_foot_setting(wanted, arm, reach, adapter.extension_angle)
    except InputError:
        return None


def _wrenches(sheet: Sheet) -> Found:
    """Take a wrench from its lowest mark, else from 20 % of its maximum, to the maximum."""
    for i, step in enumerate(sheet.steps):
        if step.torque is None:
            continue
        adapter, wrenches = adapter_of(sheet, step), wrenches_of(sheet, step)
        if adapter and not any(w.length for w in wrenches):
            yield Complaint(
                ("steps", i, "tools"),
                f"'{adapter.key}' makes the wrench longer, but no wrench of this step has a "
                "'length'; write length = { value = 400, unit = \"mm\" } at the wrench, from the "
                "middle of its drive to the middle of its grip",
            )
            continue
        verdicts = [_unfit(step, wrench, adapter) for wrench in wrenches]
        if verdicts and all(sentence for sentence, _ in verdicts):
            mistaken = all(certain for _, certain in verdicts)
            for sentence, certain in verdicts:
                if certain == mistaken:
                    path = ("steps", i, "torque", "value")
                    yield Complaint(path, sentence, remark=not certain, stops=False)


def _unfit(step: Step, wrench: Tool, adapter: Tool | None) -> tuple[str, bool]:
    """Return why ``wrench`` won't do, and whether that is certain; '' where nothing is wrong."""
    assert wrench.highest is not None
    setting = setting_on(step, wrench, adapter)
    top, low = size(wrench.highest, "torque"), size(wrench.lowest, "torque")
    if setting is None or top is None or top <= 0:
        return "", False
    value = in_si(Decimal(1), setting.unit, "torque")
    if value is None:
        return "", False
    exact = setting.exact * value
    fifth, factor = top * LOWEST_SHARE, UNITS[wrench.highest.unit].factor
    bottom = fifth if low is None else low
    through = f" (set through '{adapter.key}')" if adapter else ""
    text = f"{plain(setting.exact)} {setting.unit}{through}"
    if bottom <= exact <= top:
        if exact >= fifth:
            return "", False
        return (
            f"{text} is above the lowest mark of '{wrench.key}' and below a fifth of its "
            f"'highest' ({plain(fifth / factor)} {wrench.highest.unit}): a wrench made before 2017 "
            "need not be right there (ISO 6789:2003); check it, or name another wrench",
            False,
        )
    span = f"{plain(bottom / factor)} to {plain(top / factor)} {wrench.highest.unit}"
    rule = (
        "20 to 100 % of its range, ISO 6789" if low is None else "from its lowest mark, ISO 6789-1"
    )
    return (
        f"{text} is outside the range of '{wrench.key}', which is good for {span} ({rule}); check "
        "value and unit, or name another wrench",
        True,
    )


def _finer_than_the_wrench(sheet: Sheet) -> Found:
    """Remark where the wrench may be off by more than the sheet allows (ISO 6789-1, 5.1.5)."""
    for i, step in enumerate(sheet.steps):
        for wrench in wrenches_of(sheet, step)[:1]:
            top = size(wrench.highest, "torque")
            if step.torque is None or top is None or top <= 0 or wrench.highest is None:
                continue
            share = permissible_deviation(Quantity(wrench.highest.value, wrench.highest.unit))
            around = Fraction(step.torque.value) * share
            if step.torque.tolerance < around:
                yield Complaint(
                    ("steps", i, "torque", "tolerance"),
                    f"a wrench may itself be off by {plain(share * 100)} % (ISO 6789-1), which is "
                    f"{plain(around)} {step.torque.unit} here; ± {step.torque.tolerance} can't be "
                    "kept for sure: check it",
                    remark=True,
                )


TORQUE_RULES = (_values, _stages, _ranges, _wrenches, _finer_than_the_wrench)
