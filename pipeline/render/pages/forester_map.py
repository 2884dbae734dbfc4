"""The forester's map: one file, no network; list and map in step, the thread of reasons beside."""

from pathlib import Path
from typing import Any

import numpy as np

from pipeline.render import (
    account,
    attention,
    cautions,
    files,
    fungi,
    ground,
    leaflet,
    map_trees,
    marks,
    packing,
    thread,
    tree_names,
)
from pipeline.render.context import RenderContext

NAME = "forester_map.html"


def write(context: RenderContext) -> list[Path]:
    """Write the page; returns its path.

    Raises
    ------
    RenderError
        If the page would load something, or cannot be written.
    """
    text = html(context)
    leaflet.assert_offline(text, where=NAME)
    return [files.write_text(context.out / NAME, text)]


def html(context: RenderContext) -> str:
    """The page as text, the same for the same run."""
    trees = map_trees.pack(context)
    count = int(trees.order.size)
    values: dict[str, object] = {
        "city": context.city,
        "as_of": context.as_of,
        "trees": count,
        "looked_at": account.looked_at(context).words,
        "cautions": cautions.every_page(context.texts),
        "not_low": "Not inspected is not low.",
    }
    if count:
        longitude, latitude = context.layers.trees
        values["map"] = leaflet.city_map(
            latitude=float(np.nanmedian(latitude)), longitude=float(np.nanmedian(longitude))
        )
        values["blocks"] = {name: block.text for name, block in blocks(context, trees).items()}
    else:
        values["map"] = {"style": ""}
    return files.page("forester_map.html.j2", values)


def blocks(context: RenderContext, trees: map_trees.PackedTrees) -> dict[str, packing.Block]:
    """Everything that the page unpacks: arrays, and texts apart from them."""
    base = ground.basemap(context)
    zones, _ = ground.zones(context)
    facts, said = thread.facts(context, trees)
    evidence, names = thread.evidence(context, trees)
    extras = {
        "groundNames": base.names,
        "zoneNames": zones.names,
        "evidence": names,
        "links": list(thread.LINKS),
        "work": thread.work(context, trees),
        "choices": thread.choices(context, trees),
        "reviews": attention.reviews(context, trees),
        "sightings": attention.sightings(context, trees),
        "asOf": context.as_of.isoformat(),
        "paths": marks.action_paths(),
        "pages": _pages(context, trees),
    }
    name = thread.taxon_names(context)
    found, found_words = fungi.pack(context, trees)
    words = trees.words | {"fungus": ["", *map(name, trees.words["fungus"][1:])]}
    return {
        "trees": trees.block,
        "words": packing.document(words),
        "ground": base.block,
        "zones": zones.block,
        "facts": facts,
        "said": packing.document(said),
        "evidence": evidence,
        "extras": packing.document(extras),
        "fungi": found,
        "fungusTexts": packing.document(found_words),
    }


def _pages(context: RenderContext, trees: map_trees.PackedTrees) -> list[list[Any]]:
    """Trees that have a page of their own: place among the packed trees, and its path."""
    found = [(int(trees.place_of[key]), path) for key, path in tree_names.page_of(context).items()]
    return [[place, path] for place, path in found if place >= 0]
