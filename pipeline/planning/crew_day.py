"""A crew's day while it is filled, and what the jobs and the rules of filling are."""

from collections.abc import Callable
from dataclasses import dataclass, field

from pipeline.planning.clock import NO_PAUSE, Pause, Week
from pipeline.units import Flags, Floats, Ints


@dataclass(frozen=True, slots=True)
class DayJobs:
    """Jobs of one pool in order of urgency, each value of shape (jobs,).

    Parameters
    ----------
    place : number of the place in the travel table.
    work : minutes at the tree.
    estimate : minutes with set-up and expected travel.
    earliest, deadline : day numbers.
    rating : of the tree; make-safe jobs of the worst are done first.
    worth : expected harm removed a year.
    tie : unique rank that settles what is equal.
    quiet : row of the quiet weeks of the rules, -1 where no time of day is kept free.
    """

    place: Ints
    x: Floats
    y: Floats
    work: Floats
    estimate: Floats
    earliest: Ints
    deadline: Ints
    make_safe: Flags
    rating: Ints
    worth: Floats
    tie: Ints
    quiet: Ints


@dataclass(slots=True)
class CrewDay:
    """One crew on one day; filled while planning.

    Parameters
    ----------
    jobs, parts : rows of the jobs in driving order and minutes of work on each.
    head : this many of them stay first; the others stay on the day.
    closed : takes no more.
    free : all working days of the crew in the period that nothing else takes, in order.
    choice : how gladly the crew is sent to make safe, 1 first.
    begins : of the shift, minutes after midnight.
    pause : the break; `shift` is the time at work without it.
    searched : the routing library was there to order the stops.
    """

    crew: int
    day: int
    depot: int
    shift: float
    jobs: list[int] = field(default_factory=list)
    parts: list[float] = field(default_factory=list)
    head: int = 0
    closed: bool = False
    free: tuple[int, ...] = ()
    choice: int = 1
    begins: float = 0.0
    pause: Pause = NO_PAUSE
    searched: bool = True


@dataclass(frozen=True, slots=True)
class Rules:
    """How days are filled.

    Parameters
    ----------
    travel, metres : minutes and straight metres between places.
    setup : minutes at each stop that is farther than `same_stop` metres from the one before.
    block_days : working days filled at once.
    longest_span : shifts in a row that one job may take.
    quiet : weeks with the times that jobs keep free.
    quiet_longest : minutes of work from which a job cannot keep them free.
    near : jobs beside the urgent ones of a block, as a share of its time.
    urgent : of the block's time that goes to the worth of jobs that are not due.
    rounds_per_stop, rounds_most : of the search for routes.
    seed : of the search.
    """

    travel: Callable[[Ints], Floats]
    metres: Callable[[Ints], Floats]
    setup: float
    same_stop: float
    block_days: int
    longest_span: int
    quiet: tuple[Week, ...] = ()
    quiet_longest: float = 0.0
    near: float = 0.25
    urgent: float = 0.35
    rounds_per_stop: int = 10
    rounds_most: int = 2000
    seed: int = 1
