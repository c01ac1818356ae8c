"""Every point looked at."""
import common

points = [(common.next_below(1000), common.next_below(1000)) for _ in range(250)]
for i in range(20):
    x, y, r = common.next_below(1000), common.next_below(1000), 20 + common.next_below(300)
    inside = [str(n) for n, (a, b) in enumerate(points) if x <= a <= x + r and y <= b <= y + r]
    near = [str(n) for n, (a, b) in enumerate(points) if (a - x) ** 2 + (b - y) ** 2 <= r * r]
    print(",".join(inside), ",".join(near))
