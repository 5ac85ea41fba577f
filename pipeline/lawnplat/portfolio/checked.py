"""Hold written plans against the rules, and against survey and heights where they are given."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pyproj
import shapely
from shapely import MultiPolygon, Polygon

from lawnplat.deliver.contract import PLAN_FILE
from lawnplat.deliver.gpkg import is_ours
from lawnplat.deliver.recorded import read_recorded
from lawnplat.errors import SettingsError, SurveyError
from lawnplat.geometry import polygons
from lawnplat.proving.check import check_plan
from lawnplat.proving.evidence import Evidence
from lawnplat.proving.recorded import RecordedPlan
from lawnplat.settings.load import shipped_class, shipped_classes
from lawnplat.settings.types import MachineClass, PriceBook, RuleBook
from lawnplat.survey.crs import reproject
from lawnplat.survey.field_map import FieldMap
from lawnplat.survey.read import read_survey
from lawnplat.survey.types import Finding, Site
from lawnplat.terrain.build import build_terrain
from lawnplat.terrain.reader import ElevationRaster
from lawnplat.terrain.types import Terrain


@dataclass(frozen=True)
class Against:
    """What plans are held against.

    ``machine`` None takes each plan's own class, which then must be a shipped one. ``field_map``
    and ``crs`` are for the survey's files. ``elevation`` is a raster.
    """

    rules: RuleBook
    machine: MachineClass | None = None
    prices: PriceBook | None = None
    field_map: FieldMap | None = None
    crs: str | None = None
    elevation: Path | None = None
    elevation_unit: str = "m"


@dataclass(frozen=True)
class Proved:
    """One plan's file, and what it breaks."""

    path: Path
    property_id: str
    crs: str
    findings: tuple[Finding, ...]


def plans_and_survey(words: Sequence[str]) -> tuple[tuple[Path, ...], tuple[str, ...]]:
    """Return which words of a call name plans, and which name a survey.

    The first word names plans. So does any other that is a plan, or a folder with plans in it.

    Raises
    ------
    SurveyError
        The first word is a folder without plans.
    """
    paths: list[Path] = []
    rest: list[str] = []
    for place, word in enumerate(words):
        found = _plans_at(Path(word))
        if place == 0 and not found:
            if Path(word).is_dir():
                raise SurveyError(word, "holds no plan", "Name a folder that lawnplat plan wrote.")
            found = [Path(word)]
        paths.extend(found)
        rest.extend([] if found else [word])
    return tuple(dict.fromkeys(paths)), tuple(rest)


def _plans_at(path: Path) -> list[Path]:
    if path.is_dir():
        below = [path / PLAN_FILE, *sorted(path.glob(f"*/{PLAN_FILE}"))]
        return [each for each in below if each.is_file()]
    return [path] if path.is_file() and is_ours(path) else []


def prove_files(
    paths: Sequence[Path], against: Against, sources: Sequence[str] = ()
) -> tuple[Proved, ...]:
    """Hold every plan against the rules, in the order given.

    Parameters
    ----------
    paths : sequence of pathlib.Path
        Plan files.
    against : Against
    sources : sequence of str
        The survey's files; without any, the plans' own layers of features are taken.

    Raises
    ------
    SurveyError
        A plan, the survey or the raster cannot be read, or the survey lacks a plan's property.
    SettingsError
        A plan is for a machine class that does not ship, and ``against`` names none.
    """
    plans = [read_recorded(path) for path in paths]
    sites = _sites(paths, plans, against, sources)
    with _raster(against) as raster:
        return tuple(
            Proved(
                path,
                plan.property_id,
                plan.crs,
                check_plan(_evidence(path, plan, against, site, raster)),
            )
            for path, plan, site in zip(paths, plans, sites, strict=True)
        )


def evidence_of(path: Path, against: Against, sources: Sequence[str] = ()) -> Evidence:
    """Return one plan with what it is held against.

    Raises
    ------
    SurveyError, SettingsError
        As for `prove_files`.
    """
    plan = read_recorded(path)
    (site,) = _sites([path], [plan], against, sources)
    with _raster(against) as raster:
        return _evidence(path, plan, against, site, raster)


def _raster(against: Against) -> AbstractContextManager[ElevationRaster | None]:
    if against.elevation is None:
        return nullcontext()
    return ElevationRaster(against.elevation, unit=against.elevation_unit)


def _evidence(
    path: Path,
    plan: RecordedPlan,
    against: Against,
    site: Site | None,
    raster: ElevationRaster | None,
) -> Evidence:
    machine = against.machine or _machine_of(path, plan)
    return Evidence(
        plan=plan,
        rules=against.rules,
        machine=machine,
        prices=against.prices,
        site=site,
        terrain=_terrain(plan, site, machine, against.rules, raster),
    )


def _machine_of(path: Path, plan: RecordedPlan) -> MachineClass:
    """Return the shipped class that a plan names.

    Raises
    ------
    SettingsError
        No shipped class has that name.
    """
    name = plan.facts.get("machine_class", "")
    if name not in {each.name for each in shipped_classes()}:
        raise SettingsError(
            str(path),
            f"is planned for the machine class '{name}', which does not ship with lawnplat",
            "Give the class's own file with --machine.",
        )
    return shipped_class(name)


def _sites(
    paths: Sequence[Path],
    plans: Sequence[RecordedPlan],
    against: Against,
    sources: Sequence[str],
) -> list[Site | None]:
    """Return each plan's property as the survey has it, in the plan's CRS; None without survey."""
    if not sources:
        return [None] * len(plans)
    survey = read_survey(
        sources, rules=against.rules, field_map=against.field_map, crs=against.crs
    )
    by_id = {site.property_id: site for site in survey.sites}
    found: list[Site | None] = []
    for path, plan in zip(paths, plans, strict=True):
        if plan.property_id not in by_id:
            raise SurveyError(
                str(path),
                f"its property '{plan.property_id}' is not in the survey, or cannot be read there",
                "lawnplat inspect lists the properties; give the survey that it was planned from.",
            )
        found.append(site_in(by_id[plan.property_id], plan.crs))
    return found


def site_in(site: Site, crs: str) -> Site:
    """Return a site in another CRS; the same site where it is in that one."""
    if site.crs == crs:
        return site
    source = pyproj.CRS.from_user_input(site.crs)
    spots = site.spot_heights
    if len(spots):
        places = [shapely.Point(x, y) for x, y in spots[:, :2]]
        moved = shapely.get_coordinates(reproject(places, source, crs))
        spots = np.column_stack([moved, spots[:, 2]])
    return replace(
        site,
        crs=crs,
        parcel=reproject([site.parcel], source, crs)[0],
        lawns=tuple(reproject(list(site.lawns), source, crs)) if site.lawns else (),
        features=tuple(
            replace(each, geometry=reproject([each.geometry], source, crs)[0])
            for each in site.features
        ),
        spot_heights=spots,
    )


def _terrain(
    plan: RecordedPlan,
    site: Site | None,
    machine: MachineClass,
    rules: RuleBook,
    raster: ElevationRaster | None,
) -> Terrain | None:
    """Return the ground from the raster or the survey's spot heights; None where neither tells."""
    pieces: list[Polygon] = polygons(plan.union("parcel"))
    if site is None and not pieces:
        return None
    here = site or Site(plan.property_id, "", plan.crs, MultiPolygon(pieces))
    window = None if raster is None else raster.window(here, machine, rules)
    if window is None and len(here.spot_heights) == 0:
        return None
    terrain = build_terrain(here, machine, rules, window)
    return None if terrain.source == "level" else terrain
