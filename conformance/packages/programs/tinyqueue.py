"""CPython's heapq."""
import heapq
import common

heap, out = common.numbers(300, 65536), []
heapq.heapify(heap)
while heap:
    out.append(heapq.heappop(heap))
    if len(out) % 5 == 0:
        heapq.heappush(heap, common.next_below(65536))
print(len(out), ",".join(map(str, out)))
