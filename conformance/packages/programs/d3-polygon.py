"""The monotone chain for the hull, and area, centre and contents in exact fractions."""
import math
from fractions import Fraction
import common


def turn(a, b, c):
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def hull_of(points):
    def chain(points):
        out = []
        for p in points:
            while len(out) > 1 and turn(out[-2], out[-1], p) <= 0:
                out.pop()
            out.append(p)
        return out[:-1]
    points = sorted(set(points))
    return chain(points) + chain(points[::-1])


def edges(corners):
    return zip(corners, corners[1:] + corners[:1])


def js_number(fraction):
    value = float(fraction)
    return str(int(value)) if value == int(value) else repr(value)


def rounded(value):
    return math.floor(value * 10**6 + Fraction(1, 2))


for n in range(3, 60, 4):
    points = [(common.next_below(1000), common.next_below(1000)) for _ in range(n)]
    hull = hull_of(points)
    area = sum(Fraction(a * d - b * c, 2) for (a, b), (c, d) in edges(hull))
    crossed = [((a * d - b * c), a + c, b + d) for (a, b), (c, d) in edges(hull)]
    x, y = (sum(cross * s[axis] for cross, *s in crossed) / (6 * area) for axis in (0, 1))
    where = []
    for _ in range(10):
        p = (common.next_below(1000) + Fraction(1, 2), common.next_below(1000) + Fraction(1, 4))
        where.append(str(int(all(turn(a, b, p) > 0 for a, b in edges(hull)))))
    around = sum(math.dist(a, b) for a, b in edges(hull))
    # In a plane whose y points down, counterclockwise is positive.
    of_points = -sum(Fraction(a * d - b * c, 2) for (a, b), (c, d) in edges(points))
    print(len(hull), js_number(area), "".join(where), rounded(x), rounded(y),
          rounded(Fraction(around)), js_number(of_points))
