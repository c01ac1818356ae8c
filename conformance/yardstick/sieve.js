// The primes up to 50,000, counted, and the last of them.
function sieve(limit) {
  const prime = new Array(limit + 1).fill(true);
  let count = 0;
  let last = 0;
  for (let n = 2; n <= limit; n++) {
    if (prime[n]) {
      count++;
      last = n;
      for (let m = n * n; m <= limit; m += n) prime[m] = false;
    }
  }
  console.log(count, last);
}

sieve(50000);
