"""The marks of this project, as inline SVG: the stem section, the rating's ground, the action.

The stem section is a ring whose wall is the sound wood left: solid where nine in ten estimates
leave wood, lighter over the 10-90 % range, a line at the median; broken where a cavity is open;
empty and dashed where nobody has estimated the wood. It is a plain diagram, no measurement.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from pipeline.render.style import RATINGS, variable
from pipeline.terms import RatingWord, word

GROUND, WALL, VIEW = 46.0, 36.0, 60.0  # radii in the drawing's own units
_FULL = 100.0  # path length that dashes are told in
_TICKS_DEG = (0, 45, 90, 135, 180, 225, 270, 315)

_ACTION_PATHS = {
    "make_safe": "M3 9h18v6H3zM7 15l4-6M13 15l4-6M6 15v5M18 15v5",
    "remove": "M12 3v8M12 15v6M6 21h12M4 13h16",
    "habitat_pole": "M9 21V8l3-4 3 4v13M15 12l4-3M6 21h12",
    "prune_part": "M8 21V4M8 12l9-7M12 4l6 7",
    "reduce_crown": "M12 21v-7M12 14a5 5 0 1 0 0-10 5 5 0 0 0 0 10M4 4l3 3M20 4l-3 3",
    "dig_root_collar": "M12 3v9M3 12h5c0 6 8 6 8 0h5M9 20h6",
    "sound": "M5 19l6-6M9 5l10 10M11 3l10 10-3 2L9 6z",
    "drill": "M12 21a7 7 0 1 0 0-14 7 7 0 0 0 0 14M12 2v12M10 12l2 3 2-3",
    "tomography": "M12 20a8 8 0 1 0 0-16 8 8 0 0 0 0 16M12 4v16M4 12h16M6 6l12 12M18 6L6 18",
    "pull_test": "M6 21V4M6 6l14 8M16 14h4v-4M3 21h7",
    "expert_identification": "M2 12c5-8 15-8 20 0-5 8-15 8-20 0zM12 15a3 3 0 1 0 0-6 3 3 0 0 0 0 6",
    "move_target": "M3 12h14M13 7l5 5-5 5M21 4v16",
    "retain_monitor": "M12 21a9 9 0 1 0 0-18 9 9 0 0 0 0 18M12 7v5l4 3",
    "inspect": "M10 17a7 7 0 1 0 0-14 7 7 0 0 0 0 14M15 15l6 6",
    "none": "M5 12h14",
}
ACTIONS = tuple(_ACTION_PATHS)


@dataclass(frozen=True, slots=True)
class Section:
    """What a stem section shows; shares are of the diameter, the opening of the girth."""

    rating: RatingWord
    decayed_share: float | None = None
    low: float | None = None
    high: float | None = None
    opening_share: float | None = None


def section_mark(
    section: Section,
    *,
    size_px: int = 80,
    shells: Sequence[tuple[float, float]] = (),
    lean_deg: float | None = None,
) -> Markup:
    """The stem section on its rating's ground.

    Parameters
    ----------
    size_px : 80 in lists, 240 in panels.
    shells : measured sound shells as (azimuth [deg], share of the radius).
    lean_deg : azimuth to which the tree leans [deg].
    """
    parts = [_ground(section.rating), *_wall(section)]
    parts += [
        Markup('<path d="M0 {:.1f}V{:.1f}" transform="rotate({:.0f})" class="shell"/>').format(
            -WALL - 3, -WALL * (1 - share), azimuth
        )
        for azimuth, share in shells
    ]
    if lean_deg is not None:
        parts.append(
            Markup('<path d="M-4 -52L0 -59L4 -52Z" transform="rotate({:.0f})" class="lean"/>')
            .format(lean_deg)
        )  # fmt: skip
    return Markup(
        '<svg class="section" role="img" width="{0}" height="{0}" viewBox="-{1:.0f} -{1:.0f} '
        '{2:.0f} {2:.0f}"><title>{3}</title>{4}</svg>'
    ).format(size_px, VIEW, 2 * VIEW, section_text(section), Markup("").join(parts))


def section_text(section: Section) -> str:
    """The drawing in words."""
    rating = f"Rating: {word(section.rating)}."
    if section.decayed_share is None:
        return f"{rating} Nobody has estimated how much sound wood is left."
    text = f"{rating} About {section.decayed_share:.0%} of the diameter is decayed"
    if section.low is not None and section.high is not None:
        text += f", {section.low:.0%} to {section.high:.0%} in 8 of 10 estimates"
    opening = f" Open on {section.opening_share:.0%} of the girth." if section.opening_share else ""
    return f"{text}.{opening}"


def rating_mark(rating: RatingWord, *, size_px: int = 20) -> Markup:
    """The rating's ground and outline alone; print the word beside it."""
    return Markup(
        '<svg class="ground" aria-hidden="true" width="{0}" height="{0}" '
        'viewBox="-{1:.0f} -{1:.0f} {2:.0f} {2:.0f}">{3}</svg>'
    ).format(size_px, VIEW, 2 * VIEW, _ground(rating))


def action_mark(action: str, *, size_px: int = 20) -> Markup:
    """The mark of an action; print its word beside it."""
    return Markup(
        '<svg class="action" aria-hidden="true" width="{0}" height="{0}" viewBox="0 0 24 24">'
        '<path d="{1}" fill="none" stroke="currentColor" stroke-width="1.8" '
        'stroke-linecap="round" stroke-linejoin="round"/></svg>'
    ).format(size_px, _ACTION_PATHS[action])


def action_paths() -> dict[str, str]:
    """The drawing of each action, for scripts."""
    return dict(_ACTION_PATHS)


def _ground(rating: RatingWord) -> Markup:
    look = RATINGS[rating]
    disc = Markup('<circle r="{:.0f}" fill="var({})"/>').format(GROUND, variable(rating))
    line = Markup('<circle r="{:.0f}" class="outline"{}/>')
    if look.outline == "none":
        return disc
    if look.outline == "dashed":
        return disc + line.format(GROUND, Markup(' stroke-dasharray="9 7"'))
    if look.outline == "thin":
        return disc + line.format(GROUND, "")
    double = disc + line.format(GROUND, "") + line.format(GROUND + 6, "")
    if look.outline == "double":
        return double
    ticks = Markup("").join(
        Markup('<path d="M0 -52V-60" class="outline" transform="rotate({})"/>').format(at)
        for at in _TICKS_DEG
    )
    return double + ticks


def _wall(section: Section) -> list[Markup]:
    if section.decayed_share is None:
        return [Markup('<circle r="{:.0f}" class="unknown"/>').format(WALL)]
    median = section.decayed_share
    low = median if section.low is None else section.low
    high = median if section.high is None else section.high
    gap = min(max(section.opening_share or 0.0, 0.0), 1.0) * _FULL
    return [
        Markup('<circle r="{:.1f}" class="hole"/>').format(WALL + 2.5),
        _annulus(low, high, "maybe", gap),
        _annulus(high, 1.0, "wood", gap),
        Markup('<circle r="{:.1f}" class="median"/>').format(WALL * median),
    ]


def _annulus(inner: float, outer: float, kind: str, gap: float) -> Markup:
    """A ring between two shares of the radius, broken below by the opening."""
    width = WALL * max(outer - inner, 0.0)
    middle = WALL * (outer + inner) / 2
    dashes = (
        Markup(' pathLength="100" stroke-dasharray="{:.1f} {:.1f}" transform="rotate({:.1f})"')
        .format(_FULL - gap, gap, 90 + 1.8 * gap)
        if gap
        else ""
    )  # fmt: skip
    return Markup('<circle r="{:.1f}" class="{}" stroke-width="{:.1f}"{}/>').format(
        middle, kind, width, dashes
    )
