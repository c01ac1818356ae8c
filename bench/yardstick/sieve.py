def sieve(limit):
    composite = []
    count = 0
    for _ in range(limit + 1):
        composite.append(False)
    n = 2
    while n <= limit:
        if not composite[n]:
            count += 1
            m = n + n
            while m <= limit:
                composite[m] = True
                m += n
        n += 1
    return count


total = 0
for _ in range(20):
    total += sieve(50000)
print(total)
