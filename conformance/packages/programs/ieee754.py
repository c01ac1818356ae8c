"""CPython's struct: binary32 and binary64 of IEEE 754, in both orders of bytes."""
import math
import struct
import common

values = [0.0, -0.0, 1, -2.5, 0.1, 1e-310, 5e-324, 1.7976931348623157e308, 3.4e38, 1e-45,
          math.inf, -math.inf, 65504, 1 / 3]
for _ in range(30):
    above = common.next_below(65536) - 32768
    values.append(above / (1 + common.next_below(999)))
for value in values:
    line = []
    for form in ("<f", ">f", "<d", ">d"):
        if form[1] == "f" and abs(value) > 3.5e38 and math.isfinite(value):
            continue
        line += [struct.pack(form, value).hex(), "true"]
    print(*line)
