"""Hours from tasks: the price book's productivity, by labour rate, and the crew's days."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_HALF_UP, Decimal

from lawnplat.settings.types import PriceBook
from lawnplat.works.tasks import LAID_BY, LAY_WIRE
from lawnplat.works.types import Labour, Task

TRAVEL = "travel"
_NOT_THE_CREW = "electrician"
_HUNDREDTH = Decimal("0.01")


@dataclass(frozen=True)
class WorkTime:
    """The hours of a job.

    Attributes
    ----------
    labour : tuple of Labour
        A line a task, travel last.
    hours_by_rate : tuple of (str, Decimal)
        In the order in which the rates are first needed.
    crew_days : Decimal
        Without the electrician, to 0.01.
    visits : int
        The survey's and one a crew-day begun.
    missing : tuple of str
        Productivities that the price book lacks.
    """

    labour: tuple[Labour, ...]
    hours_by_rate: tuple[tuple[str, Decimal], ...]
    crew_days: Decimal
    visits: int
    missing: tuple[str, ...]


def work_time(tasks: Sequence[Task], prices: PriceBook) -> WorkTime:
    """Return the hours that a price book makes of tasks."""
    done = [_laid_by(task, prices) for task in tasks]
    productivity = _by_task(prices.tasks_per_hour)
    by_rate: dict[str, Decimal] = {}
    labour, missing = [], []
    for task in done:
        found = productivity.get(task.task)
        rate = prices.paid_as.get(task.task)
        if found is None or rate is None:
            table = "tasks_per_hour" if found is None else "paid_as"
            missing.append(f"{table}.{task.task}")
            labour.append(Labour(task.task, task.quantity, task.unit, 0.0, task.basis))
            continue
        hours = _hours(task.quantity, found)
        by_rate[rate] = by_rate.get(rate, Decimal(0)) + hours
        labour.append(Labour(task.task, task.quantity, task.unit, float(hours), task.basis))
    days = _crew_days(by_rate, prices)
    on_site = int(days.to_integral_value(ROUND_CEILING))
    visits = on_site + sum(task.task == "survey" for task in done)
    basis = f"the survey and {on_site} day(s) of a crew of {prices.crew.people}"
    labour.append(Labour(TRAVEL, visits, "visit", 0.0, basis))
    return WorkTime(tuple(labour), tuple(by_rate.items()), days, visits, tuple(missing))


def tasks_behind(labour: Sequence[Labour]) -> tuple[Task, ...]:
    """Return the tasks that labour lines were made of, ready to be priced from another book."""
    return tuple(
        Task(
            LAY_WIRE if each.task in LAID_BY.values() else each.task,
            each.quantity,
            each.unit,
            each.basis,
        )
        for each in labour
        if each.task != TRAVEL
    )


def _laid_by(task: Task, prices: PriceBook) -> Task:
    """Return the laying of wire as the price book has it done; any other task as it is."""
    if task.task != LAY_WIRE:
        return task
    return Task(LAID_BY[prices.crew.laying], task.quantity, task.unit, task.basis)


def _by_task(tasks_per_hour: Mapping[str, float]) -> dict[str, float]:
    """Return productivity by the task's name without its unit."""
    return {key.rpartition("_")[0]: value for key, value in tasks_per_hour.items()}


def _hours(quantity: float, per_hour: float) -> Decimal:
    hours = Decimal(repr(float(quantity))) / Decimal(repr(float(per_hour)))
    return hours.quantize(_HUNDREDTH, ROUND_HALF_UP)


def _crew_days(by_rate: Mapping[str, Decimal], prices: PriceBook) -> Decimal:
    hours = sum((each for rate, each in by_rate.items() if rate != _NOT_THE_CREW), Decimal(0))
    a_day = prices.crew.people * Decimal(repr(float(prices.crew.hours_a_day)))
    return (hours / a_day).quantize(_HUNDREDTH, ROUND_HALF_UP)
