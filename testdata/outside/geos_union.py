"""Union areas by GEOS, through shapely: the outside reader of reconcile/coverage.

Reads from standard input one JSON object a line: {"rings": [[[x, y], ...], ...], "boundary": [ring, ...]}
and writes for each {"area": m2 of the union, "inside": m2 of it inside the boundary}.

Coordinates are rounded to a micrometre and rings without area (the sector of a
turn that does not turn) left out: on exactly straight drives, whose edges meet
within rounding errors, the union of GEOS 3.11 loses whole parts, and points
inside a ring lie outside the union.
"""
import json
import sys

from shapely.geometry import Polygon
from shapely.ops import unary_union

for line in sys.stdin:
    job = json.loads(line)
    rings = [[(round(x, 6), round(y, 6)) for x, y in ring] for ring in job["rings"]]
    polygons = [p for p in map(Polygon, rings) if p.area > 1e-6]
    union = unary_union(polygons)
    field = Polygon(job["boundary"][0], job["boundary"][1:])
    print(json.dumps({"area": union.area, "inside": union.intersection(field).area}), flush=True)
