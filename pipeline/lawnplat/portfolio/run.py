"""Planning every property of a survey and writing each one's folder."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from functools import partial
from itertools import chain
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

from lawnplat.deliver.contract import PLAN_FILE, SHEET_FILE, SHEET_PDF_FILE
from lawnplat.deliver.gpkg import is_ours, write_plan
from lawnplat.deliver.index_page import index_page
from lawnplat.deliver.names import FolderName, folder_names
from lawnplat.deliver.picture import draw
from lawnplat.deliver.picture_file import write_picture
from lawnplat.deliver.place import make_folder
from lawnplat.deliver.portfolio_files import write_portfolio
from lawnplat.deliver.printing import Printer, drop_printed, print_sheet
from lawnplat.deliver.quote_files import write_quote, write_quote_book
from lawnplat.deliver.rover_file import write_rover
from lawnplat.deliver.sheet_file import write_index, write_sheet
from lawnplat.deliver.site_sheet import site_sheet
from lawnplat.errors import DeliveryError
from lawnplat.planned import Outcome, Plan, Status
from lawnplat.portfolio.outcomes import outcome_of_error, outcome_of_plan, outcome_of_refusal
from lawnplat.portfolio.prove import proved
from lawnplat.settings.load import DEFAULT_CLASS, shipped_class
from lawnplat.settings.types import MachineClass, RuleBook, Terms
from lawnplat.survey.types import Finding, Site, Survey

if TYPE_CHECKING:
    from lawnplat.terrain.reader import ElevationRaster

Report = Callable[[Outcome, str], None]
"""Told each outcome in order, as it comes, with the traceback of what stopped it or nothing."""


@dataclass(frozen=True)
class RunSettings:
    """What every property of one run is planned with.

    Attributes
    ----------
    rules : RuleBook
    machine : MachineClass or None
        None lets each parcel name its own class.
    elevation : pathlib.Path or None
        An elevation raster. Each property opens it for itself: an open raster cannot go from one
        process to another, and opening takes a few milliseconds.
    elevation_unit : str
        ``m``, ``ft`` or ``us-ft``.
    inputs : tuple of (str, str)
        Key and value for each plan's ``run_info``: what the run was given.
    terms : Terms or None
        Prices and climate; None takes the shipped ones, which are invented.
    printer : Printer or None
        What prints each site sheet as PDF; None prints none.
    prove : bool
        Whether each plan is held against every rule and simulated before it is written.
    """

    rules: RuleBook
    machine: MachineClass | None = None
    elevation: Path | None = None
    elevation_unit: str = "m"
    inputs: tuple[tuple[str, str], ...] = ()
    terms: Terms | None = None
    printer: Printer | None = None
    prove: bool = False


@dataclass(frozen=True)
class _Task:
    site: Site
    name: FolderName


@dataclass(frozen=True)
class _Done:
    outcome: Outcome
    trace: str = ""


def run_portfolio(
    survey: Survey,
    settings: RunSettings,
    out: Path,
    *,
    workers: int = 1,
    report: Report | None = None,
) -> tuple[Outcome, ...]:
    """Plan every property of a survey, write its folder below ``out``, then the portfolio files.

    Parameters
    ----------
    survey : Survey
    settings : RunSettings
    out : pathlib.Path
        Output folder; made where it is missing.
    workers : int
        Processes; 1 plans in this one. A script that asks for more needs the usual
        ``if __name__ == "__main__"`` guard.
    report : callable, optional
        Told each outcome as it comes.

    Returns
    -------
    tuple of Outcome
        One a property: those planned, in the survey's order, then those that the survey refused.
        An error or an unexpected exception in one is its own outcome and never stops the others.

    Raises
    ------
    DeliveryError
        If the output folder cannot be made or the portfolio files cannot be written.
    """
    make_folder(out)
    names = folder_names([site.property_id for site in survey.sites])
    tasks = [_Task(site, name) for site, name in zip(survey.sites, names, strict=True)]
    work = partial(_plan_one, settings, out)
    count = min(workers, len(tasks))
    planned = _in_processes(work, tasks, count) if count > 1 else map(work, tasks)
    outcomes = []
    for done in chain(planned, _refused(survey, out)):
        outcomes.append(done.outcome)
        if report is not None:
            report(done.outcome, done.trace)
    write_portfolio(outcomes, out)
    write_quote_book(outcomes, out)
    write_index(index_page(outcomes, issued=_issued(settings)), out)
    return tuple(outcomes)


def _plan_one(settings: RunSettings, out: Path, task: _Task) -> _Done:
    """Plan and write one property; whatever goes wrong becomes its outcome."""
    try:
        return _Done(_planned(settings, out, task))
    except Exception as error:  # noqa: BLE001 - one property's trouble never stops the others
        outcome = outcome_of_error(task.site, error)
        outcome = _with_earlier_plan(outcome, out, task.name.folder)
        return _Done(outcome, traceback.format_exc())


def _planned(settings: RunSettings, out: Path, task: _Task) -> Outcome:
    from lawnplat.plan import plan_site  # noqa: PLC0415 - brings every room's heavy modules

    machine = settings.machine or shipped_class(task.site.machine_class or DEFAULT_CLASS)
    with _elevation(settings) as elevation:
        plan = plan_site(
            task.site,
            machine=machine,
            rules=settings.rules,
            elevation=elevation,
            elevation_unit=settings.elevation_unit,
            inputs=settings.inputs,
            terms=settings.terms,
        )
    if task.name.finding is not None:
        plan = replace(plan, findings=(*plan.findings, task.name.finding))
    if settings.prove:
        plan = proved(plan, settings.rules, settings.terms)
    plan = _deliver(plan, out / task.name.folder, settings)
    return outcome_of_plan(plan, task.name.folder)


def _deliver(plan: Plan, folder: Path, settings: RunSettings) -> Plan:
    """Write a property's files; return the plan with what the printing of its sheet asks to say."""
    sheet, picture = site_sheet(plan, issued=_issued(settings)), draw(plan)
    drop_printed(folder)
    write_sheet(sheet, folder)
    if settings.printer is not None:
        fault = _printed(folder, settings.printer)
        if fault is not None:
            plan = _with(plan, fault)
            picture = draw(plan)
            write_sheet(site_sheet(plan, issued=_issued(settings)), folder)
    write_plan(plan, folder)
    write_picture(picture, folder)
    write_rover(plan, folder)
    write_quote(plan.site.property_id, plan.works.quote if plan.works else None, folder)
    return plan


def _with(plan: Plan, fault: Finding) -> Plan:
    status = Status.PLANNED_WITH_ADVISORIES if plan.status == Status.PLANNED else plan.status
    return replace(plan, status=status, findings=(*plan.findings, fault))


def _printed(folder: Path, printer: Printer) -> Finding | None:
    try:
        print_sheet(folder, printer)
    except DeliveryError as error:
        text = f"{SHEET_PDF_FILE} was not made: {error.what}; print {SHEET_FILE} from a browser"
        return Finding("site_sheet_pdf", "warn", text)
    return None


def _issued(settings: RunSettings) -> str:
    return settings.terms.issued if settings.terms is not None else ""


def _elevation(settings: RunSettings) -> AbstractContextManager[ElevationRaster | None]:
    if settings.elevation is None:
        return nullcontext()
    from lawnplat.terrain.reader import ElevationRaster  # noqa: PLC0415 - brings rasterio

    return ElevationRaster(settings.elevation, unit=settings.elevation_unit)


def _refused(survey: Survey, out: Path) -> Iterator[_Done]:
    refusals = survey.refusals
    names = folder_names([refusal.property_id for refusal in refusals])
    for refusal, name in zip(refusals, names, strict=True):
        yield _Done(_with_earlier_plan(outcome_of_refusal(refusal), out, name.folder))


def _with_earlier_plan(outcome: Outcome, out: Path, folder: str) -> Outcome:
    """Say so where a plan of the property lies there from an earlier run: nobody may dig by it."""
    there = out / folder / PLAN_FILE
    if not (there.is_file() and is_ours(there, outcome.property_id)):
        return outcome
    return replace(outcome, reason=f"{outcome.reason}; the plan in '{folder}' is an earlier run's")


def _in_processes(
    work: Callable[[_Task], _Done], tasks: Sequence[_Task], workers: int
) -> Iterator[_Done]:
    """Yield the result of each task in order; a task whose process dies stops no other.

    When one dies, which of those under way killed it is not known: the next few are run each in a
    process of its own, the others together again.
    """
    at = 0
    while at < len(tasks):
        for done in _until_broken(work, tasks[at:], workers):
            at += 1
            yield done
        for task in tasks[at : at + workers]:
            at += 1
            yield _alone(work, task)


def _until_broken(
    work: Callable[[_Task], _Done], tasks: Sequence[_Task], workers: int
) -> Iterator[_Done]:
    """Yield results in order, up to the first that is lost because a process died."""
    pool = _pool(workers)
    try:
        futures = [pool.submit(work, task) for task in tasks]
        for future in futures:
            yield future.result()
    except BrokenProcessPool:
        return
    finally:
        # Where the run is broken off, thousands of waiting properties must not be planned first.
        pool.shutdown(cancel_futures=True)


def _alone(work: Callable[[_Task], _Done], task: _Task) -> _Done:
    """Run one task in a process of its own, so that only the task that kills it is lost."""
    for done in _until_broken(work, [task], 1):
        return done
    fault = RuntimeError("the process that planned it was killed (out of memory?)")
    return _Done(outcome_of_error(task.site, fault))


def _pool(workers: int) -> ProcessPoolExecutor:
    # A forked process would share open rasters and locks with this one: start afresh instead.
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"))
