"""The same determinants in exact fractions. The program's y points down: its signs are
turned against the textbook's (its README); for the circle, its corners run clockwise."""
from fractions import Fraction
import common

ulp = Fraction(1, 1 << 53)


def sign(x):
    return (x > 0) - (x < 0)


def rounded(x):
    return Fraction(float(x))


for i in range(40):
    p = []
    for k in range(6):
        base = Fraction(1, 2) if k < 2 else Fraction(12 * (1 if k < 4 else 2))
        p.append(rounded(base + common.next_below(32) * ulp * (1 if k < 2 else 32)))
    ax, ay, bx, by, cx, cy = p
    turn = (ay - cy) * (bx - cx) - (ax - cx) * (by - cy)
    q = [rounded(x * 5 + common.next_below(3) * ulp * 8) for x in (0, 1, 1, 0, 0, -1, -1, 0)]
    px, py = q[6:]
    rows = [(q[at] - px, q[at + 1] - py) for at in (0, 2, 4)]
    (ax, ay), (bx, by), (cx, cy) = rows
    a2, b2, c2 = (x * x + y * y for x, y in rows)
    circle = a2 * (bx * cy - cx * by) - b2 * (ax * cy - cx * ay) + c2 * (ax * by - bx * ay)
    print(sign(turn), sign(circle))
