"""CPython's heapq and sorted: the order is total, so any priority queue gives this one."""
import heapq
import common

heap, out = [], []
for i in range(500):
    heapq.heappush(heap, (common.next_below(50), i))
    if i % 3 == 2:
        out.append(heapq.heappop(heap))


def show(pairs):
    return " ".join(f"{a}:{b}" for a, b in pairs)


print(show(out))
print(show(heapq.nsmallest(5, heap)), len(heap))
print(show(sorted(heap)[:40]))
