"""CPython's heapq, of which the program is a port: the same order within the heap, too."""
import heapq
import common

numbers = common.numbers(200, 1000)
heap = []
for x in numbers:
    heapq.heappush(heap, x)
out = []
for _ in range(100):
    out.append(heapq.heappop(heap))
    out.append(heapq.heappushpop(heap, common.next_below(1000)))
print(*out, sep=",")
heap = list(numbers)
heapq.heapify(heap)
print(*heap, sep=",")
for _ in range(50):
    heapq.heappush(heap, common.next_below(1000))
    heapq.heapreplace(heap, common.next_below(1000))
print(*heap, sep=",")
print(",".join(map(str, heapq.nsmallest(10, numbers))), ",".join(map(str, heapq.nlargest(10, numbers))))
