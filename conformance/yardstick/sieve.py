# The primes up to 50,000, counted, and the last of them.
def sieve(limit):
    prime = [True] * (limit + 1)
    count = 0
    last = 0
    for n in range(2, limit + 1):
        if prime[n]:
            count += 1
            last = n
            for m in range(n * n, limit + 1, n):
                prime[m] = False
    print(count, last)


sieve(50000)
