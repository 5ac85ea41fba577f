"""The ground of one site: heights and gradients on one grid, and the slope zones drawn from them.

    raster --warp, reader--> ElevationWindow --+
    spot heights --tin------------------------ build --fill, smoothing, gradient, zones--> Terrain --> sample

Only `lawnplat.terrain.reader` opens a file.
"""
