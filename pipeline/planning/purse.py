"""Money and the hours of scarce machines that the proven selection leaves to what follows it."""

import numpy as np

from pipeline.planning.world import Work, World
from pipeline.units import Flags, Floats, Ints


class Purse:
    """What is left; jobs that it keeps out are remembered."""

    def __init__(self, world: World, used: Floats) -> None:
        """Begin with all of the city's limits."""
        quarters = len(world.span.quarters)
        self.world, self.used = world, used
        self.money = world.budget.money
        self.machine = world.budget.machine_hours * quarters
        self.dear: tuple[Flags, Flags] = (np.zeros(used.shape, bool), np.zeros(used.shape, bool))

    def reckon(self, work: Work, placed: Ints, pool: Ints) -> None:
        """What the jobs placed or wanted leave.

        Parameters
        ----------
        placed, pool : rows of the jobs and their pools, both of shape (placed,).
        """
        paid = ~work.make_safe[placed]  # making safe is never left out for money
        rows, pool = placed[paid], pool[paid]
        cost = float((self.used[rows] * self.world.rates[pool]).sum())
        self.money = self.world.budget.money - cost
        self.machine = self.world.budget.machine_hours * len(self.world.span.quarters)
        for number in range(self.machine.size):
            self.machine[number] -= float(self.used[rows[work.machine[rows] == number]].sum())

    def affordable(self, work: Work, chosen: Ints, pool: Ints) -> Flags:
        """Which of these jobs, in their order, what is left can pay, shape (chosen,)."""
        fits = np.ones(chosen.shape, dtype=bool)
        for number in range(self.machine.size):
            mine = np.flatnonzero(work.machine[chosen] == number)
            total = np.cumsum(self.used[chosen[mine]])
            fits[mine] = total <= max(self.machine[number], 0.0)
            self.dear[1][chosen[mine[~fits[mine]]]] = True
            self.machine[number] -= float(self.used[chosen[mine[fits[mine]]]].sum())
        if np.isfinite(self.money):
            cost = np.where(fits, self.used[chosen] * self.world.rates[pool], 0.0)
            paid = np.cumsum(cost) <= max(self.money, 0.0)
            self.dear[0][chosen[fits & ~paid]] = True
            fits &= paid
            self.money -= float(cost[fits].sum())
        return fits
