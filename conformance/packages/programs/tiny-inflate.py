"""CPython's zlib packs (RFC 1951: stored, fixed and dynamic blocks), ours unpacks."""
import sys
import zlib
import common

PLAIN = [bytes(common.numbers(700, 256)), b"tide gate, tide gate, tide gate",
         bytes(common.numbers(3000, 7)), bytes(common.numbers(900, 3)) * 3]


def pack(plain, level, strategy):
    packer = zlib.compressobj(level, zlib.DEFLATED, -15, 9, strategy)
    return packer.compress(plain) + packer.flush()


HOW = [(0, zlib.Z_DEFAULT_STRATEGY), (9, zlib.Z_FIXED), (9, zlib.Z_HUFFMAN_ONLY),
       (6, zlib.Z_DEFAULT_STRATEGY)]
if "given" in sys.argv:
    pairs = [[pack(plain, *how).hex(), len(plain)] for plain, how in zip(PLAIN, HOW)]
    print("module.exports =", pairs)
    sys.exit()
for plain in PLAIN:
    print(len(plain), plain.hex())
