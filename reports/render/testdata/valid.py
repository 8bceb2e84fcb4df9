"""Reads contours with shapely: every polygon must be valid, and bands of one file must not overlap."""
import json
import sys

import shapely
from shapely.geometry import shape
from shapely.validation import explain_validity

polygons = 0
for name in sys.argv[1:]:
    with open(name) as f:
        bands = [(x["properties"]["band"], shape(x["geometry"])) for x in json.load(f)["features"]]
    for band, area in bands:
        polygons += len(area.geoms)
        if not area.is_valid:
            sys.exit(f"{name} {band}: {explain_validity(area)}")
    for i, (band, area) in enumerate(bands):
        for other, beside in bands[i + 1:]:
            # Rounding in degrees moves a corner by at most a 5000th of a cell.
            if area.intersection(beside).area > 1e-3 * min(area.area, beside.area) + 1e-16:
                sys.exit(f"{name}: {band} overlaps {other}")
print("valid", polygons, "polygons of", len(sys.argv) - 1, "maps, shapely", shapely.__version__)
