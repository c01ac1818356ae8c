"""RFC 4648, section 10, then CPython's base64."""
import base64
import common

print("""
Zg==
Zm8=
Zm9v
Zm9vYg==
Zm9vYmE=
Zm9vYmFy""")
for n in range(0, 40, 3):
    data = bytes(common.numbers(n, 256))
    print(base64.b64encode(data).decode(), data.hex(), len(data))
print(base64.urlsafe_b64decode("_-8=").hex())
