"""How long the key takes beside a floor measured in the same run; not part of the tests.

Sightings are drawn from the catalogue: host, month and region told, of the other characters three
in five looked at, with the observers' errors. The floor is what numpy needs for one product of the
matrices sightings x states and states x taxa, of the same numbers and type: the key cannot do with
less while it adds up the evidence of every state.

    python tests/benchmarks/identification.py
    python tests/benchmarks/identification.py --sightings 100000 --looks 10000 --repeat 5

Prints the seconds of the posterior and the first three taxa of all sightings and of half a million
reports of one and the same sighting, both with multiples of the floor; the seconds of the next
look; and the peak memory of a process that does nothing but load the sightings and ask the key.
"""

import argparse
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path.insert(0, str(ROOT))

from pipeline.published.table import Library  # noqa: E402 - the script runs alone
from pipeline.scoring.assembly.identified import SHOWN, identify  # noqa: E402
from pipeline.scoring.assembly.seen import distinct  # noqa: E402
from pipeline.scoring.identification import key as keys  # noqa: E402
from pipeline.scoring.identification.evidence import (  # noqa: E402
    Evidence,
    looked_at,
    shares,
    without_names,
)
from pipeline.scoring.identification.questions import next_look  # noqa: E402
from pipeline.scoring.parameters.identification import (  # noqa: E402
    IdentificationParameters,
    identification_parameters,
)

SAME = 500_000
KIB_PER_MIB = 1024
SURE = 0.8


def main() -> None:
    """Draw the sightings, measure each part in a process of its own, and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sightings", type=int, default=100_000)
    parser.add_argument("--looks", type=int, default=10_000, help="sightings for the next look")
    parser.add_argument("--repeat", type=int, default=3, help="the median is shown")
    parser.add_argument("--part", choices=PARTS, help=argparse.SUPPRESS)
    parser.add_argument("--file", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.part:
        print(json.dumps(PARTS[given.part](given)))
        return
    with tempfile.TemporaryDirectory() as folder:
        given.file = Path(folder) / "sightings.npz"
        # Drawing too in a process of its own: a child's peak begins with that of its parent.
        found = {part: _apart(part, given) for part in PARTS}
    _tell(found, given)


def _tell(found: dict[str, dict[str, float]], given: argparse.Namespace) -> None:
    all_of, same, looks = found["posterior"], found["same"], found["looks"]
    floor = all_of["floor"]
    lines = [
        (f"floor, product of {given.sightings:,} x {all_of['states']:.0f} x {all_of['taxa']:.0f}",
         f"{floor:6.2f} s", ""),
        ("posterior and first three taxa", f"{all_of['key']:6.2f} s",
         f"{all_of['key'] / floor:.2f} floors (asked: 4)"),
        ("peak memory of that", f"{found['memory']['mib']:6.0f} MiB", "(asked: 1,000 MB)"),
        (f"next look for {given.looks:,}", f"{looks['seconds']:6.2f} s", "(asked: 20 s)"),
        (f"{SAME:,} times the same sighting, next look and all", f"{same['seconds']:6.2f} s",
         f"{same['seconds'] / floor:.2f} floors"),
        ("peak memory of that", f"{same['mib']:6.0f} MiB", ""),
    ]  # fmt: skip
    for what, value, beside in lines:
        print(f"{what:<58} {value:>12}  {beside}")


def _apart(part: str, given: argparse.Namespace) -> dict[str, float]:
    """What a process of its own measures."""
    done = subprocess.run(
        [
            sys.executable, __file__, "--part", part, "--file", str(given.file),
            "--sightings", str(given.sightings), "--looks", str(given.looks),
            "--repeat", str(given.repeat),
        ],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    found: dict[str, float] = json.loads(done.stdout)
    return found


def draw_all(given: argparse.Namespace) -> dict[str, float]:
    """Sightings into a file."""
    from tests.scoring.identification.drawn import draw  # noqa: PLC0415 - reads the tables

    drawn = draw(max(given.sightings, given.looks), seed=1)
    np.savez(given.file, seen=np.packbits(drawn.seen, axis=1), region=drawn.region)
    return {"sightings": len(drawn.taxon)}


def _load(given: argparse.Namespace, count: int) -> tuple[Evidence, IdentificationParameters]:
    parameters = identification_parameters(Library())
    key = parameters.key
    with np.load(given.file) as file:
        packed, region = file["seen"][:count], file["region"][:count]
    seen = np.unpackbits(packed, axis=1, count=key.vocabulary.size).view(np.bool_)
    return without_names(seen, region, taxa=len(key.taxon_id)), parameters


def _ask(evidence: Evidence, key: keys.Key) -> None:
    for _, posterior in keys.batches(evidence, key):
        keys.first(posterior, SHOWN)


def posterior(given: argparse.Namespace) -> dict[str, float]:
    """Seconds of the floor and of the key, one after the other each time."""
    evidence, parameters = _load(given, given.sightings)
    key = parameters.key
    seen, likelihood = shares(evidence.seen, key.vocabulary), np.log(key.likelihood)
    floor, asked = [], []
    for _ in range(given.repeat):
        started = time.perf_counter()
        seen @ likelihood
        floor.append(time.perf_counter() - started)
        started = time.perf_counter()
        _ask(evidence, key)
        asked.append(time.perf_counter() - started)
    return {
        "floor": statistics.median(floor),
        "key": statistics.median(asked),
        "states": seen.shape[1],
        "taxa": likelihood.shape[1],
    }


def memory(given: argparse.Namespace) -> dict[str, float]:
    """Peak of a process that loads the sightings and asks the key."""
    evidence, parameters = _load(given, given.sightings)
    _ask(evidence, parameters.key)
    return {"mib": _peak_mib()}


def looks(given: argparse.Namespace) -> dict[str, float]:
    """Seconds of the next look alone, the posteriors known."""
    evidence, parameters = _load(given, given.looks)
    key = parameters.key
    known = np.vstack([part for _, part in keys.batches(evidence, key)])
    looked = looked_at(evidence.seen, key.vocabulary)
    seconds = []
    for _ in range(given.repeat):
        started = time.perf_counter()
        next_look(known, looked, key, parameters.traits, parameters.looks)
        seconds.append(time.perf_counter() - started)
    return {"seconds": statistics.median(seconds)}


def same(given: argparse.Namespace) -> dict[str, float]:
    """Half a million reports of the first sighting, answered in full."""
    one, parameters = _load(given, 1)
    evidence = one.rows(np.zeros(SAME, np.int64))
    odd = np.zeros(SAME, np.bool_)
    seconds = []
    for _ in range(given.repeat):
        started = time.perf_counter()
        few, first, back = distinct(evidence, odd)
        identify(few, odd[first], parameters, sure=SURE).rows(back)
        seconds.append(time.perf_counter() - started)
    return {"seconds": statistics.median(seconds), "mib": _peak_mib()}


def _peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / KIB_PER_MIB


PARTS: dict[str, Callable[[argparse.Namespace], dict[str, float]]] = {
    "draw": draw_all,
    "posterior": posterior,
    "memory": memory,
    "looks": looks,
    "same": same,
}

if __name__ == "__main__":
    main()
