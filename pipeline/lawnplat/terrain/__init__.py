"""The ground of one site: heights and gradients on one grid, and the slope zones drawn from them.

    raster        --warp, reader--> ElevationWindow --+
    spot heights  --tin-------------------------------+--> build --> Terrain --> sample
                                 fill, smoothing, gradient, zones

Only `lawnplat.terrain.reader` opens a file.
"""
