"""The check value of CRC-32 in the catalogue of parametrised CRC algorithms, then zlib."""
import zlib
import common

print("cbf43926")
print(zlib.crc32("h\u00e9 \u2603 \U0001f600".encode()))
for n in range(40):
    print(zlib.crc32(bytes(common.numbers(n * 7, 256))))
print(zlib.crc32(b"abc", zlib.crc32(b"xyz")))
