"""zlib's adler32 (RFC 1950)."""
import zlib
import common

print(f"{zlib.adler32(b'Wikipedia'):x}")
print(zlib.adler32("h\u00e9 \u2603 \U0001f600".encode()))
for n in range(20):
    print(zlib.adler32(bytes(common.numbers(n * 311, 256))))
