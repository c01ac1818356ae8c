"""A dictionary, sorted. A key that is there already stays as it was (`noDuplicates`)."""
import common

held = {}
for i in range(400):
    key = common.next_below(350)
    if i % 4 < 3:
        held.setdefault(key, i)
    else:
        held.pop(key, None)
keys = sorted(held)
print(len(keys), ",".join(map(str, keys)), ",".join(str(held[k]) for k in keys))
within = [k for k in keys if 50 <= k <= 90]
print(",".join(map(str, within)), keys[10], keys[0], keys[-1], common.js(51 in held))
first, last = keys[0], keys[-1]
rest = keys[1:-1]
print(first, last, rest[6], rest[4])
print(",".join(map(str, sorted(common.numbers(64, 1000)))), "true")
