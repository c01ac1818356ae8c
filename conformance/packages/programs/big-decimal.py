"""CPython's decimal: IBM's specification, of which the program's source is the older kin.
Its fixed-point arithmetic is that of ANSI X3.274: exact, with trailing zeros."""
import decimal
from decimal import Decimal
import common

decimal.getcontext().prec = 300
MODES = [decimal.ROUND_UP, decimal.ROUND_DOWN, decimal.ROUND_CEILING, decimal.ROUND_FLOOR,
         decimal.ROUND_HALF_UP, decimal.ROUND_HALF_DOWN, decimal.ROUND_HALF_EVEN]


def number():
    text = "-" if common.next_below(2) else ""
    text += str(1 + common.next_below(65000))
    for _ in range(common.next_below(4)):
        text += str(10000 + common.next_below(50000))
    return Decimal(text).scaleb(-common.next_below(9))


for i in range(70):
    a, b, mode = number(), number(), MODES[i % 7]
    scaled = a.quantize(Decimal("0.001"), rounding=mode)
    ratio = (a / b).quantize(Decimal(1).scaleb(-12), rounding=mode)
    results = [a, a + b, a - b, a * b, a.compare(b), scaled, ratio]
    print(*[format(result, "f") if result else "0" for result in results])
print(Decimal("0.1") + Decimal("0.2"))
print(format(Decimal("1.000000001") ** 20, "f"))
