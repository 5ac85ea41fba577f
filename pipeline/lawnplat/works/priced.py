"""From what is counted on one site to its quote."""

from __future__ import annotations

from dataclasses import replace

from lawnplat.settings.digest import digest
from lawnplat.settings.types import PriceBook
from lawnplat.survey.types import Finding
from lawnplat.works.cable import cable_findings, cable_runs
from lawnplat.works.job import Job
from lawnplat.works.options import alternatives_of
from lawnplat.works.quote import quote_of
from lawnplat.works.tasks import tasks_of
from lawnplat.works.types import PRICE_MISSING, BillOfQuantities, Quote, Works


def with_quote(job: Job, counted: Works) -> Works:
    """Return the works with tasks, bill of quantities and quote, and what they advise."""
    tasks = tasks_of(job, counted.pegs, counted.materials)
    bill = BillOfQuantities(
        materials=counted.materials,
        tasks=tasks,
        machine_class=job.machine.name,
        machines=len(job.layouts),
        hand_trim_m2=sum(each.area.area for each in job.ground.hand_trim),
        alternatives=alternatives_of(job),
    )
    quote = quote_of(bill, job.terms.prices, job.terms.issued)
    runs = cable_runs(job.layouts, job.machine, job.rules.cable)
    found = (*cable_findings(runs, job.machine), *quote_findings(quote))
    return replace(
        counted, tasks=tasks, bill=bill, quote=quote, findings=(*counted.findings, *found)
    )


def quote_record(prices: PriceBook, issued: str) -> tuple[tuple[str, str], ...]:
    """Return by what a quote was priced, as key and value for a plan's ``run_info``."""
    return (
        ("quote_price_book_sha256", digest(prices)),
        ("quote_currency", prices.currency),
        ("quote_issued", issued),
        ("quote_valid_days", str(prices.valid_days)),
    )


def quote_findings(quote: Quote) -> tuple[Finding, ...]:
    """Return a warning that names the prices that are missing, if any are."""
    if not quote.missing:
        return ()
    named = ", ".join(quote.missing)
    text = f"the quote is not complete and has no total: the price book lacks {named}"
    return (Finding(rule=PRICE_MISSING, severity="warn", text=text, count=len(quote.missing)),)
