"""By the definition (Delaunay, 1934), in exact integers: the triangles whose circumcircle
holds no other point, of all triples. The hull: points that all others lie to one side of, with another."""
import itertools
import common


def turn(a, b, c):
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def in_circle(a, b, c, d):
    rows = [(p[0] - d[0], p[1] - d[1]) for p in (a, b, c)]
    (ax, ay), (bx, by), (cx, cy) = rows
    a2, b2, c2 = (x * x + y * y for x, y in rows)
    return (a2 * (bx * cy - cx * by) - b2 * (ax * cy - cx * ay) + c2 * (ax * by - bx * ay))


for n in range(4, 40, 5):
    flat = common.numbers(2 * n, 65537)
    points = list(zip(flat[::2], flat[1::2]))
    triangles = []
    for corners in itertools.combinations(range(n), 3):
        a, b, c = (points[i] for i in corners)
        side = turn(a, b, c)
        if side and all(in_circle(a, b, c, points[i]) * side < 0
                        for i in range(n) if i not in corners):
            triangles.append(corners)
    hull = set()
    for i, j in itertools.permutations(range(n), 2):
        if all(turn(points[i], points[j], points[k]) >= 0 for k in range(n) if k not in (i, j)):
            hull |= {i, j}
    print(" ".join(",".join(map(str, t)) for t in sorted(triangles)), ",".join(map(str, sorted(hull))))
