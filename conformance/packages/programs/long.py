"""Integers of CPython, reduced modulo 2^64. `shiftRight` is arithmetic (its documentation),
of unsigned numbers too."""
import common

DIGITS = "0123456789abcdefghijklmnopqrstuvwxyz"


def text(n, radix):
    if n < 0:
        return "-" + text(-n, radix)
    return (text(n // radix, radix) if n >= radix else "") + DIGITS[n % radix]


def wrap(n, unsigned):
    n %= 1 << 64
    return n if unsigned or n < 1 << 63 else n - (1 << 64)


def word():
    return common.next_below(65536) << 16 | common.next_below(65536)


def number(x):
    """Number::toString for integers of this size (ECMA-262, 6.1.6.1.20)."""
    digits, exponent = f"{float(abs(x)):.17g}", 0
    shortest = repr(float(abs(x)))
    if "e" in shortest:
        mantissa, exponent = shortest.split("e")
        digits = mantissa.replace(".", "")
        digits += "0" * (int(exponent) + 1 - len(digits))
    else:
        digits = shortest[:-2]
    return ("-" if x < 0 else "") + digits


for i in range(60):
    unsigned = i % 2 == 1
    low, high = word(), word()
    a = wrap(high << 32 | low, unsigned)
    low, high = word(), word() if i % 3 else 0
    b = wrap(high << 32 | low, unsigned)
    n = common.next_below(64)
    quotient = abs(a) // abs(b) * (1 if (a < 0) == (b < 0) else -1)
    results = [wrap(a + b, unsigned), wrap(a - b, unsigned), wrap(a * b, unsigned),
               wrap(quotient, unsigned), a - quotient * b]
    print(*results, text(wrap(a << n, unsigned), 16),
          wrap(wrap(a, False) >> n, unsigned),
          wrap(a % (1 << 64) >> n, unsigned), (a > b) - (a < b), text(wrap(a ^ b, unsigned), 36),
          number(a))
print(-(1 << 63), "1" * 64)
print(-0x7fffffffffffffff)
