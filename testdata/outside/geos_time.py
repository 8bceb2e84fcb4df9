"""How long GEOS takes for a union of swaths, through shapely: the peer of reconcile/coverage.

Reads from standard input one JSON object a line: {"path": [[x, y], ...], "width": m} and writes for
each {preparation: {"Seconds": s, "AreaM2": m2}}. Making the quadrilaterals and cutting the path is not timed,
what GEOS itself does is: union, or buffer and union. Preparations:

quads       a quadrilateral a segment, joined at once (the sectors of turns are not in it)
groups N    the quadrilaterals of N segments in a row joined first, then all
buffers N   the path in pieces of N segments, each as one buffer with flat ends, then joined
simplified  the same, each piece simplified to 5 mm before
"""
import json
import math
import sys
import time

from shapely.geometry import LineString, Polygon
from shapely.ops import unary_union


def quads(path, width):
    for (ax, ay), (bx, by) in zip(path, path[1:]):
        d = math.hypot(bx - ax, by - ay)
        nx, ny = -(by - ay) / d * width / 2, (bx - ax) / d * width / 2
        ring = [(ax - nx, ay - ny), (bx - nx, by - ny), (bx + nx, by + ny), (ax + nx, ay + ny)]
        yield Polygon([(round(x, 6), round(y, 6)) for x, y in ring])


def timed(union):
    begin = time.perf_counter()
    area = union().area
    return {"Seconds": time.perf_counter() - begin, "AreaM2": area}


for line in sys.stdin:
    job = json.loads(line)
    path, width = job["path"], job["width"]
    polygons = list(quads(path, width))
    out = {"quads": timed(lambda: unary_union(polygons))}
    n = 32
    out["groups %d" % n] = timed(lambda: unary_union([unary_union(polygons[i : i + n]) for i in range(0, len(polygons), n)]))
    for n in (25, 100, 400):
        lines = [LineString(path[i : i + n + 1]) for i in range(0, len(path) - 1, n)]

        def buffers(tolerance):
            pieces = [x.simplify(tolerance) if tolerance else x for x in lines]
            return unary_union([x.buffer(width / 2, cap_style=2, join_style=1) for x in pieces])

        out["buffers %d" % n] = timed(lambda: buffers(0))
        out["simplified %d" % n] = timed(lambda: buffers(0.005))
    print(json.dumps(out), flush=True)
