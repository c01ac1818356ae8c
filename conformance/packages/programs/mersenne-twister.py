"""The 10000th number of the default seed (ISO C++, [rand.predef]), then CPython's random,
which seeds by array and makes doubles of 53 bits, as the program's `random_long`."""
import random

print(4123659995)


def js_number(value):
    text = repr(value)
    assert "e" not in text, text
    return text


for seed in (0, 1, 4357, 4294967295):
    twister = random.Random(seed)
    words = [str(twister.getrandbits(32)) for _ in range(50)]
    doubles = [js_number(twister.random()) for _ in range(20)]
    print(",".join(words), ",".join(doubles))
