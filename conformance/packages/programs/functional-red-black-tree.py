"""A sorted list and bisect."""
import bisect
import common

held, versions = {}, []
for i in range(300):
    key = common.next_below(500)
    if i % 3 == 2:
        held.pop(key, None)
    else:
        held.setdefault(key, i)
    if i % 100 == 99:
        versions.append(sorted(held.items()))
for items in versions:
    print(len(items), ",".join(str(k) for k, _ in items), ",".join(str(v) for _, v in items))
keys = [k for k, _ in versions[-1]]


def at(index):
    return keys[index] if 0 <= index < len(keys) else "undefined"


for i in range(0, 500, 23):
    left, right = bisect.bisect_left(keys, i), bisect.bisect_right(keys, i)
    print(common.js(i not in held), at(left), at(right), at(left - 1), at(right - 1), left)
print(keys[0], keys[-1], keys[7])
