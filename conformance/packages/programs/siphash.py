"""SipHash-2-4: the worked example of its paper (Aumasson and Bernstein, appendix A).
SipHash-1-3: what CPython hashes sources with, from 3.11 on (PEP 552's hashes)."""
import _imp
import common

print("a129ca6149be45e5")
for n in range(30):
    low, high = common.next_below(65536), common.next_below(65536)
    digest = _imp.source_hash(high << 32 | low, bytes(common.numbers(n * 3, 256)))
    print(digest[::-1].hex())
