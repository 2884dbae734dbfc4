"""The plan beside others, its prices and the curve of hours, as the report shows them."""

from dataclasses import dataclass
from typing import Any

import pyarrow.compute as pc

from pipeline.render.context import RenderContext
from pipeline.render.worth_in_lives import money_per_death

_PER_MILLION = 1e6
_WIDTH, _HEIGHT = 400, 210
_LEFT, _RIGHT, _TOP, _BOTTOM = 52, 16, 14, 44
_KINDS = {
    "plan": "This plan",
    "urgency": "By order of urgency alone",
    "habit": "By habit: worst rating first, then first come first served",
    "bound": "No plan can be better than",
}
_HOW = {
    "solved": "The solver came to its end.",
    "stopped early": "The solver was stopped early; the best plan that it had is used.",
    "greedy": "The plan is by order of urgency: the solver found none that is better, was not "
    "needed, or gave no answer.",
}


@dataclass(frozen=True, slots=True)
class Curve:
    """One curve of the report: points on the page, ticks, and what it says in words."""

    title: str
    points: list[tuple[float, float, str]]
    ticks_x: list[tuple[float, str]]
    ticks_y: list[tuple[float, str]]

    @property
    def line(self) -> str:
        """The points as an SVG polyline wants them."""
        return " ".join(f"{x:.1f},{y:.1f}" for x, y, _ in self.points)


def chosen_work(context: RenderContext) -> dict[str, Any] | None:
    """Everything that the report says of the choice of work; None where nothing was chosen."""
    rows = context.table("planning.figures").to_pylist()
    plan = next((row for row in rows if row["kind"] == "plan"), None)
    if plan is None:
        return None
    bound = next(row for row in rows if row["kind"] == "bound")
    whole = max(row["harm_avoided"] for row in rows)
    beside = [row | {"name": _KINDS[row["kind"]]} for kind in _KINDS
              for row in rows if row["kind"] == kind]  # fmt: skip
    return {
        "how": _HOW[plan["how"]],
        "gap": max(bound["harm_avoided"] - plan["harm_avoided"], 0.0)
        / max(plan["harm_avoided"], 1e-300),
        "beside": [_beside(row, plan) for row in beside],
        "what_if": [_beside(row | {"name": row["plan"]}, plan)
                    for row in rows if row["kind"] == "what_if"],
        "curves": _curves([row for row in rows if row["kind"] == "hours"], whole),
        "prices": _prices(context),
        "years": _years(context),
        "lives": _lives(context),
        "size": (_WIDTH, _HEIGHT),
        "frame": (_LEFT, _WIDTH - _RIGHT, _TOP, _HEIGHT - _BOTTOM),
    }  # fmt: skip


def _years(context: RenderContext) -> float:
    return context.library.table("work_order", key=("rule",), folder="rules").number(
        "value", rule="harm_years"
    )


def _lives(context: RenderContext) -> dict[str, Any] | None:
    """What the work in the plan costs for each expected death that it avoids; None without money.

    Looks and tests avoid nothing by themselves, but they are what the work rests on: their money
    counts, and the harm that they are hoped to avoid does not.
    """
    (row,) = context.store.query(
        """
        select coalesce(sum(j.cost), 0) as cost,
            coalesce(sum(j.harm_removed) filter (where j.action in (
                'remove', 'habitat_pole', 'reduce_crown', 'prune_part', 'move_target'
            )), 0) as harm
        from planning.queue q join planning.jobs j using (job_key)
        """
    ).to_pylist()
    table = context.library.table("prevented_fatality", key=("quantity",))
    value, years, discount = (
        table.number("value", quantity=name) for name in ("value", "years", "discount")
    )
    if row["cost"] <= 0 or row["harm"] <= 0:
        return None
    each = money_per_death(row["cost"], row["harm"], years=years, discount=discount)
    return {
        "each": float(f"{each:.1g}"),
        "years": years,
        "discount": 100 * discount,
        "value": float(f"{value:.2g}"),
    }


def _beside(row: dict[str, Any], plan: dict[str, Any]) -> dict[str, Any]:
    """A row with the harm avoided as a share of this plan's."""
    first = row["harm_first_quarter"]
    return row | {
        "share": row["harm_avoided"] / max(plan["harm_avoided"], 1e-300),
        "first_share": None
        if first is None
        else first / max(plan["harm_first_quarter"] or 0.0, 1e-300),
    }


def _curves(rows: list[dict[str, Any]], whole: float) -> list[Curve]:
    """Harm left and jobs late, against the crews' hours."""
    rows = sorted(rows, key=lambda row: row["hours"])
    hours = [row["hours"] for row in rows]
    if not rows or hours[-1] <= 0:
        return []
    left = [100 * (1 - row["harm_avoided"] / max(whole, 1e-300)) for row in rows]
    late = [float(row["late_jobs"] or 0) for row in rows]
    return [
        _curve("Harm left, of all that this work can avoid", hours, left, " %"),
        _curve("Jobs that miss their deadline", hours, late, ""),
    ]


def _curve(title: str, hours: list[float], values: list[float], unit: str) -> Curve:
    top = _round_up(max(*values, 1.0))

    def x(value: float) -> float:
        return _LEFT + value / hours[-1] * (_WIDTH - _LEFT - _RIGHT)

    def y(value: float) -> float:
        return _HEIGHT - _BOTTOM - value / top * (_HEIGHT - _TOP - _BOTTOM)

    points = [
        (x(a), y(b), f"{a:,.0f} hours: {b:,.1f}{unit}" if unit else f"{a:,.0f} hours: {b:,.0f}")
        for a, b in zip(hours, values, strict=True)
    ]
    steps = [hours[-1] * part / 4 for part in range(5)]
    return Curve(
        title,
        points,
        [(x(one), f"{one:,.0f}") for one in steps],
        [(y(top * part / 2), f"{top * part / 2:,.0f}{unit}") for part in range(3)],
    )


def _round_up(value: float) -> float:
    """The next of 1, 2, 5 times a power of ten."""
    power = 1.0
    while power * 10 <= value:
        power *= 10
    return next(step * power for step in (1, 2, 5, 10) if step * power >= value)


def _prices(context: RenderContext) -> list[dict[str, Any]]:
    """What one more unit of each limit would bring, the dearest first."""
    table = context.table("planning.prices")
    order = pc.sort_indices(
        table.select(["weighted_late_days", "harm_avoided"]),
        sort_keys=[("weighted_late_days", "descending"), ("harm_avoided", "descending")],
    )
    return [
        row | {"per_million": row["harm_avoided"] * _PER_MILLION,
               "when": "before the first quarter" if row["quarter"] == "lead-in"
               else "all quarters" if row["quarter"] == "all" else row["quarter"]}
        for row in table.take(order).to_pylist()
    ]  # fmt: skip
