"""Integers of CPython."""
import common

for n in range(1, 40, 4):
    value = int.from_bytes(bytes(common.numbers(n, 256)), "big")
    print(value, hex(value))
print("0x0", 0xFFFFFFFFFFFFFFFFFFFF, "null")
