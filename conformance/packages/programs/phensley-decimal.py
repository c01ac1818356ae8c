"""CPython's decimal, which follows IBM's General Decimal Arithmetic."""
import decimal
from decimal import Decimal
import common

decimal.getcontext().prec = 500
MODES = [decimal.ROUND_UP, decimal.ROUND_DOWN, decimal.ROUND_CEILING, decimal.ROUND_FLOOR,
         decimal.ROUND_HALF_UP, decimal.ROUND_HALF_DOWN, decimal.ROUND_HALF_EVEN]


def number():
    text = "-" if common.next_below(2) else ""
    text += str(1 + common.next_below(65000))
    for _ in range(common.next_below(5)):
        text += str(10000 + common.next_below(50000))
    return Decimal(text).scaleb(-common.next_below(9))


def places(x, n, mode):
    return x.quantize(Decimal(1).scaleb(-n), rounding=mode)


for i in range(70):
    a, b, mode = number(), number(), MODES[i % 7]
    results = [a, a + b, a - b, places(a * b, 4, mode), a.compare(b), places(a, 3, mode),
               places(a / b, 12, mode)]
    print(*[format(result, "f") for result in results])
print(Decimal("0.1") + Decimal("0.2"))
print(format(Decimal("1.000000001") ** 20, "f"))
