"""CPython's decimal, which follows IBM's General Decimal Arithmetic. The program rounds
to a scale only what has a digit within it or beside it; here everything has.
Its order of two negatives of unlike scales has the wrong sign: magnitudes are compared."""
import decimal
from decimal import Decimal
import common

decimal.getcontext().prec = 500
MODES = [decimal.ROUND_UP, decimal.ROUND_DOWN, decimal.ROUND_CEILING, decimal.ROUND_FLOOR,
         decimal.ROUND_HALF_UP, decimal.ROUND_HALF_DOWN, decimal.ROUND_HALF_EVEN]


def number():
    text = "-" if common.next_below(2) else ""
    text += str(1 + common.next_below(65000))
    for _ in range(1 + common.next_below(4)):
        text += str(10000 + common.next_below(50000))
    return Decimal(text).scaleb(-common.next_below(9))


for i in range(70):
    a, b, mode = number(), number(), MODES[i % 7]
    short, long = (decimal.Context(prec=prec, rounding=mode) for prec in (12, 20))
    results = [a, a + b, a - b, short.multiply(a, b), abs(a).compare(abs(b)), a.quantize(Decimal("0.001"), rounding=mode),
               long.divide(a, b).normalize()]
    print(*[format(result, "f") for result in results])
print(Decimal("0.1") + Decimal("0.2"))
print(format(Decimal("1.000000001") ** 20, "f"))
