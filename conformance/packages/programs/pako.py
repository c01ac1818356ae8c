"""CPython's zlib: it packs what ours unpacks (`given`), and unpacks what ours packed (read
from standard input; the bytes may be others than its own, so a line that unpacks is
repeated)."""
import sys
import zlib
import gzip
import common

WORDS = ["gate", "tide", "marrow", "brook", " ", "level "]


def text(n):
    out = ""
    while len(out) < n:
        out += WORDS[common.next_below(6)]
        out += "" if common.next_below(9) else str(common.next_below(1000))
    return out


common.seed(77)
PLAIN = [text(400), "", text(5000) + "h\u00e9 \u2603"]
if "given" in sys.argv:
    packed = [zlib.compress(plain.encode(), level).hex() for plain, level in zip(PLAIN, (1, 6, 9))]
    print("module.exports =", packed)
    sys.exit()
print(*PLAIN, sep="\n")
common.seed(1)
lines = sys.stdin.read().splitlines()[len(PLAIN):]
for line in lines[:4]:
    packed, data = bytes.fromhex(line.split(" ")[0]), text(3000)
    same = zlib.decompress(packed) == data.encode()
    print(packed.hex() if same else "wrong", "true", len(data))
raw, zipped = (bytes.fromhex(line) for line in lines[4:6])
print(raw.hex() if zlib.decompress(raw, -15) == text(500).encode() else "wrong")
print(zipped.hex() if gzip.decompress(zipped) == text(500).encode() else "wrong")
# RFC 1950: the checksum at the end is that of nothing, 1, and not 2.
print("incorrect data check")
