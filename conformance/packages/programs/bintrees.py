"""A set, sorted, and bisect."""
import bisect
import common

for _ in range(2):
    common.seed(5)
    held, log = set(), []
    for i in range(400):
        key = common.next_below(300)
        log.append((key not in held) if i % 5 < 3 else (key in held))
        (held.add if i % 5 < 3 else held.discard)(key)
    keys = sorted(held)
    print("".join(str(int(done)) for done in log), len(keys), keys[0], keys[-1])
    print(*keys, sep=",")
    print(*reversed(keys), sep=",")
    for i in range(0, 300, 17):
        found = [keys[at] if at < len(keys) else "null"
                 for at in (bisect.bisect_left(keys, i), bisect.bisect_right(keys, i))]
        print(i if i in held else "null", *found)
