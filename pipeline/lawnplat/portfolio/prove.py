"""A plan held against every rule and simulated, as it will be written."""

from __future__ import annotations

from dataclasses import replace

from lawnplat.deliver.recorded import recorded_plan
from lawnplat.planned import Plan, Status
from lawnplat.settings.load import load_price_book, shipped_classes
from lawnplat.settings.types import MachineClass, RuleBook, Terms
from lawnplat.survey.types import Finding

BROKEN_RULE = "the finished plan breaks a rule"
"""How the reason begins where a plan is refused for what the proof found."""


def proved(plan: Plan, rules: RuleBook, terms: Terms | None) -> Plan:
    """Return a plan with what the checks and the simulation say of it.

    A plan on which nothing is laid comes back as it is. A breach of severity ``stop`` makes the
    property not plannable: nobody may dig by it.
    """
    if not plan.layouts or plan.works is None:
        return plan
    # numba and the checks are costly to import, and only a proof needs them.
    from lawnplat.proving.check import check_plan  # noqa: PLC0415
    from lawnplat.proving.evidence import Evidence  # noqa: PLC0415
    from lawnplat.proving.simulation.build import simulate  # noqa: PLC0415

    recorded = recorded_plan(plan)
    prices = terms.prices if terms is not None else load_price_book()
    evidence = Evidence(recorded, rules, plan.machine, prices, plan.site, plan.terrain)
    breaches = tuple(map(_said, check_plan(evidence)))
    simulation = simulate(recorded, plan.machine, rules, _classes(plan), plan.terrain)
    findings = (*plan.findings, *breaches, *simulation.findings)
    return replace(
        plan,
        status=_status(plan, (*breaches, *simulation.findings)),
        findings=findings,
        simulation=simulation,
        run_info=(*plan.run_info, *simulation.record),
    )


def _classes(plan: Plan) -> tuple[MachineClass, ...]:
    """Return the shipped classes, and the plan's own where it is none of them."""
    shipped = shipped_classes()
    own = () if any(each.name == plan.machine.name for each in shipped) else (plan.machine,)
    return (*shipped, *own)


def _said(finding: Finding) -> Finding:
    if finding.severity != "stop":
        return finding
    return replace(finding, text=f"{BROKEN_RULE}: {finding.text}")


def _status(plan: Plan, found: tuple[Finding, ...]) -> Status:
    severities = {finding.severity for finding in found}
    if "stop" in severities:
        return Status.NOT_PLANNABLE
    if "warn" in severities and plan.status is Status.PLANNED:
        return Status.PLANNED_WITH_ADVISORIES
    return plan.status
