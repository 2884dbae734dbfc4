"""Which job is done when and by whom: the choice of jobs for periods and crews, as pure maths."""

from pipeline.planning.selection.first import JobArrays, choose, priority, select_quarter
from pipeline.planning.selection.instance import NOWHERE

__all__ = ["NOWHERE", "JobArrays", "choose", "priority", "select_quarter"]
