"""The plan of a session as a printed page: the tests in their order, then the blocks, then why each shift is there."""

from __future__ import annotations

from collections.abc import Sequence

from truestop.app.sheet_layout import Block, Heading, Paper, Sheet
from truestop.app.sheet_ports import PageMaker
from truestop.domain.plan import Plan, PlanItem
from truestop.domain.wording import ENGLISH, Wording, saying

BETWEEN = "\u2003"
"""Between two boxes of a line: a space, which nobody sees where the line ends with it."""


def make_plan_sheet(
    plan: Plan, *, player: str, make_pdf: PageMaker, paper: Paper = Paper.A4, wording: Wording = ENGLISH
) -> bytes:
    """The session as a PDF of a page or two."""
    sheet = Sheet(
        title=wording.say("plan.title", **wording.day_fields(plan.day)),
        kind=wording.say("plan.kind"),
        credit=player,
        facts=(
            wording.say("plan.minutes", minutes=f"{plan.planned_minutes:.0f}"),
            _attempts(plan.attempts, wording),
            *_passages(plan),
        ),
        rules=wording.say("plan.rule"),
        cautions=wording.say("sheet.cautions"),
        page_words=wording.texts["sheet.page"],
        paper=paper,
        blocks=(*_tests(plan, wording), *_blocks(plan, wording), *_shifts(plan, wording), *_rest(plan, wording)),
    )
    return make_pdf(sheet)


def _passages(plan: Plan) -> tuple[str, ...]:
    return tuple(dict.fromkeys(item.passage.title for item in plan.items if item.passage))


def _of(plan: Plan, what: str) -> list[PlanItem]:
    return [item for item in plan.items if item.what == what]


def _aside(items: Sequence[PlanItem], wording: Wording) -> str:
    minutes, attempts = sum(item.minutes for item in items), sum(item.attempts for item in items)
    return f"{wording.say('plan.minutes', minutes=f'{minutes:.0f}')}, {_attempts(attempts, wording)}"


def _attempts(count: int, wording: Wording) -> str:
    return wording.say("plan.attempts.one" if count == 1 else "plan.attempts", attempts=count)


def _tests(plan: Plan, wording: Wording) -> list[Block]:
    tests = _of(plan, "cold test")
    if not tests:
        return []
    said = (saying("plan.test", label=plan.label_of(item), reason=item.reason) for item in tests if item.shift)
    lines = [wording.tell(each) for each in said]
    return [
        Heading(
            title=wording.say("plan.tests"),
            aside=_aside(tests, wording),
            lines=(wording.say("plan.tests.rule"), *lines),
        )
    ]


def _blocks(plan: Plan, wording: Wording) -> list[Block]:
    """The blocks in their order, as many in a line as there is room for. Breaks have lines of their own; where there
    are several pieces, each begins a line, behind its name."""
    work = _of(plan, "work")
    if not work:
        return []
    lines: list[str] = []
    begun: str | None = None
    """The piece whose line is open."""
    for item in plan.items:
        if item.what == "work" and item.shift:
            words = wording.say("plan.block", number=item.shift.card.number, stage=item.stage, attempts=item.attempts)
            words = words.replace(" ", "\u00a0")
            title = item.passage.title if plan.several and item.passage else ""
            if title == begun:
                lines[-1] += f"{BETWEEN}{words}"
            else:
                lines.append(f"{wording.say('plan.piece', title=title)} {words}" if title else words)
            begun = title
        elif item.what == "break":
            lines.append(wording.tell(saying("plan.break", minutes=f"{item.minutes:.0f}", reason=item.reason)))
            begun = None
    return [Heading(title=wording.say("plan.work"), aside=_aside(work, wording), lines=tuple(lines))]


def _shifts(plan: Plan, wording: Wording) -> list[Block]:
    """Why each shift is worked at, and how, once."""
    by_shift: dict[str, list[PlanItem]] = {}
    for item in _of(plan, "work"):
        if item.shift:
            by_shift.setdefault(item.shift.card.key, []).append(item)
    lines = []
    for items in by_shift.values():
        exercises = dict.fromkeys(wording.tell(item.exercise) for item in items if item.exercise)
        label = wording.tell(plan.label_of(items[0]))
        lines.append(f"{label}. {wording.tell(items[0].reason)} {' '.join(exercises)}".strip())
    return [Heading(title=wording.say("plan.why"), aside="", lines=tuple(lines))] if lines else []


def _rest(plan: Plan, wording: Wording) -> list[Block]:
    end = next(item for item in plan.items if item.what == "end")
    left = tuple(wording.tell(saying("plan.left out", label=label, reason=reason)) for label, reason in plan.left_out)
    return [Heading(title=wording.say("plan.end"), aside="", lines=(wording.tell(end.reason), *left))]
