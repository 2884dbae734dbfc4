"""Sentences on the fungus at work, and what it does."""

from collections.abc import Mapping
from typing import Any

from pipeline.render.wording_actions import the
from pipeline.render.wording_numbers import in_hundred

Values = Mapping[str, Any]


def at_work(v: Values) -> str:
    """The fungus and its rot; the rot alone where the first name is of one that does another."""
    rot = f"a {v['rot']} rot" if v["rot"] != "unknown" else "a rot of unknown kind"
    if not v["name"]:
        return (
            f"Among the fungi that it may be, one that does {rot} to {the(v['part'])} counts "
            f"(action code {v['code']}). A fungus as serious is at work here in "
            f"{in_hundred(v['probability'])} such cases."
        )
    return (
        f"{v['name']} rots {the(v['part'])} ({rot}, action code {v['code']}). It, or a fungus as "
        f"serious, is at work here in {in_hundred(v['probability'])} such cases."
    )
