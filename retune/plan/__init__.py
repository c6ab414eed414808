"""The plan: a text file with what was decided, which the musician may edit and have obeyed.

In: the text of a plan (`read_plan`), or the results of an analysis (`write_plan`). Out: a `Plan`, and from it
what the stages take: `hints` for the harmony, `plan_ratios` for the ratios, `window_limits` for the tuning.
"""

from retune.plan.apply import hints, plan_ratios, window_limits
from retune.plan.model import Plan, PlanWindow, Section
from retune.plan.read import read_plan, read_plan_file
from retune.plan.write import write_plan

__all__ = [
    "Plan",
    "PlanWindow",
    "Section",
    "hints",
    "plan_ratios",
    "read_plan",
    "read_plan_file",
    "window_limits",
    "write_plan",
]
