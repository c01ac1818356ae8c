"""A polygon of n corners has n - 2 triangles, two more for each hole's corners and bridge
(Meisters, 1975), and their areas add up to its own by the shoelace formula, exactly. Many
sets of triangles are right: this reads ours, and repeats the line if it is one."""
import sys


def twice_area(corners):
    pairs = zip(corners, corners[1:] + corners[:1])
    return sum(a * d - b * c for (a, b), (c, d) in pairs)


lines = sys.stdin.read().splitlines()
assert len(lines) == 13, len(lines)
for line in lines:
    flat, whole, triangles = line.split(" ")
    flat = list(map(int, flat.split(",")))
    corners = list(zip(flat[::2], flat[1::2]))
    triangles = list(map(int, triangles.split(",")))
    outer, hole = (corners, []) if whole == "true" else (corners[:-3], corners[-3:])
    area = abs(twice_area(outer)) - (abs(twice_area(hole)) if hole else 0)
    parts = [twice_area([corners[i] for i in triangles[at:at + 3]])
             for at in range(0, len(triangles), 3)]
    # None is turned the other way round, so none overlaps another where the sums agree.
    turned_alike = all(part <= 0 for part in parts) or all(part >= 0 for part in parts)
    most = len(corners) - 2 + (2 if hole else 0)
    # Corners on a line give no triangle: fewer may do.
    if turned_alike and sum(map(abs, parts)) == area and len(parts) <= most:
        print(line)
    else:
        print("wrong:", area, parts, most)
