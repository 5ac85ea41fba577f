"""A plan's layers as geopandas frames, for library users."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lawnplat.deliver.contract import layer
from lawnplat.deliver.rows import layer_rows

if TYPE_CHECKING:
    import geopandas as gpd

    from lawnplat.planned import Plan

_DTYPES = {"str": "object", "float": "float64", "int": "Int64", "bool": "boolean"}


def layer_frame(plan: Plan, layer_name: str) -> gpd.GeoDataFrame:
    """Return one layer of a plan as a frame, with the columns that the plan file has.

    Parameters
    ----------
    plan : Plan
        A plan, complete or as far as it came.
    layer_name : str
        A layer of `lawnplat.deliver.contract.LAYERS`.

    Returns
    -------
    geopandas.GeoDataFrame
        In the site's CRS. A table without geometry has an all-missing geometry column. An empty
        layer has its columns and no rows.

    Raises
    ------
    KeyError
        If a plan has no such layer.

    Examples
    --------
    >>> wire = layer_frame(plan, "perimeter_wire")  # doctest: +SKIP
    >>> wire.length_m.sum()  # doctest: +SKIP
    118.4
    """
    import geopandas as gpd  # noqa: PLC0415 - half a second that the command line must not pay

    about = layer(layer_name)
    rows = layer_rows(plan, about)
    columns = {
        column.name: [row.values[i] for row in rows] for i, column in enumerate(about.all_columns)
    }
    geometry = gpd.GeoSeries([row.geometry for row in rows], crs=plan.site.crs)
    frame = gpd.GeoDataFrame(columns, geometry=geometry, crs=plan.site.crs)
    return frame.astype({column.name: _DTYPES[column.type] for column in about.all_columns})
