"""One property from survey to plan: the only place that knows the order of the rooms."""

from lawnplat.plan.run import plan_site

__all__ = ["plan_site"]
