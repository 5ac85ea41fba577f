"""From a plan to files: the layer contract, GeoPackage, picture, tables."""
