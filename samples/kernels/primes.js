// Primes below one million: the sieve of Eratosthenes over the odd numbers,
// with 30 of them in each element of an ordinary array.
// Published answer: OEIS A006880 (78498 below 10^6; 168 below 10^3).
// Run: scruple run samples/kernels/primes.js
// Prints: primes.out

const BITS = 30;

// A set bit marks an odd number that is known to be composite.
function makeBitSet(length) {
  const words = [];
  for (let i = 0; i < length; i += BITS) {
    words.push(0);
  }
  return words;
}

function has(words, index) {
  return (words[(index / BITS) | 0] >> (index % BITS)) & 1;
}

function add(words, index) {
  words[(index / BITS) | 0] |= 1 << (index % BITS);
}

// Index i stands for the odd number 2 * i + 1.
function sieve(limit) {
  const length = limit >> 1;
  const composites = makeBitSet(length);
  for (let i = 1; (2 * i + 1) * (2 * i + 1) < limit; i++) {
    if (!has(composites, i)) {
      const prime = 2 * i + 1;
      for (let j = (prime * prime) >> 1; j < length; j += prime) {
        add(composites, j);
      }
    }
  }
  return composites;
}

function countBits(word) {
  let count = 0;
  while (word !== 0) {
    word &= word - 1;
    count++;
  }
  return count;
}

// Index 0 is the number 1: it is not prime, and two is, so the two cancel.
function countPrimes(limit) {
  let composites = 0;
  for (const word of sieve(limit)) {
    composites += countBits(word);
  }
  return (limit >> 1) - composites;
}

console.log(1000, countPrimes(1000));
console.log(1000000, countPrimes(1000000));
