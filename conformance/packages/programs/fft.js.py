"""The sum that defines the transform. Where a value lies between two roundings to three
places, either is right: ours is read from standard input and held against the sum to 1e-3."""
import cmath
import sys
import common

lines = iter(sys.stdin.read().splitlines())
for size in (2, 4, 8, 64, 128):
    flat = common.numbers(2 * size, 1000)
    data = [complex(*pair) for pair in zip(flat[::2], flat[1::2])]
    out = [sum(x * cmath.exp(-2j * cmath.pi * k * n / size) for n, x in enumerate(data))
           for k in range(size)]
    expected = [part for value in out for part in (value.real, value.imag)]
    line = next(lines)
    ours = list(map(float, line.split(",")))
    right = len(ours) == len(expected) and all(abs(a - b) < 1e-3 for a, b in zip(ours, expected))
    print(line if right else expected)
    next(lines)
    print(*flat, sep=",")
