// The Mersenne Twister mt19937 with its default seed, 5489.
// Published answer: C++ standard, [rand.predef] (the 10,000th number is 4123659995).
// The first number is computed by an independent program.
// Run: scruple run samples/kernels/mt19937.js
// Prints: mt19937.out

const N = 624;
const M = 397;
const MATRIX = 0x9908b0df;
const UPPER_MASK = 0x80000000;
const LOWER_MASK = 0x7fffffff;

function makeState(seed) {
  const words = [seed >>> 0];
  for (let i = 1; i < N; i++) {
    const previous = words[i - 1];
    words.push((Math.imul(1812433253, previous ^ (previous >>> 30)) + i) >>> 0);
  }
  return words;
}

function twist(words) {
  for (let i = 0; i < N; i++) {
    const joined = (words[i] & UPPER_MASK) | (words[(i + 1) % N] & LOWER_MASK);
    let mixed = words[(i + M) % N] ^ (joined >>> 1);
    if (joined & 1) {
      mixed ^= MATRIX;
    }
    words[i] = mixed >>> 0;
  }
}

function temper(word) {
  let y = word;
  y ^= y >>> 11;
  y ^= (y << 7) & 0x9d2c5680;
  y ^= (y << 15) & 0xefc60000;
  y ^= y >>> 18;
  return y >>> 0;
}

function makeGenerator(seed) {
  const words = makeState(seed);
  let next = N;
  return function () {
    if (next === N) {
      twist(words);
      next = 0;
    }
    return temper(words[next++]);
  };
}

const random = makeGenerator(5489);
console.log(1, random());
for (let i = 2; i < 10000; i++) {
  random();
}
console.log(10000, random());
