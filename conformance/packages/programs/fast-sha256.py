"""FIPS 180-2 appendix B, RFC 4231 test case 2, RFC 7914 section 11, then hashlib and hmac."""
import hashlib
import hmac
import common

print("""ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad
248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1
5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843
55ac046e56e3089fec1691c22544b605f94185216dde0465e68b9d57c20dacbc\
49ca9cccf179b645991664b39d77ef317c71b845b1e30bd509112041d3a19783""")
for n in range(50, 80, 3):
    print(hashlib.sha256(bytes(common.numbers(n, 256))).hexdigest())
key, text = bytes(common.numbers(100, 256)), bytes(common.numbers(200, 256))
print(hmac.new(key, text, "sha256").hexdigest())
print(hashlib.pbkdf2_hmac("sha256", b"tide", b"gate", 7, 40).hex())
