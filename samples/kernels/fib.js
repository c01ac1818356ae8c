// Fibonacci numbers by plain recursion and by a loop.
// Published answers: OEIS A000045 (20: 6765; 78: 8944394323791464, the last below 2^53).
// Run: scruple run samples/kernels/fib.js
// Prints: fib.out

function fib(n) {
  return n < 2 ? n : fib(n - 1) + fib(n - 2);
}

function fibByLoop(n) {
  let previous = 0;
  let current = 1;
  for (let i = 0; i < n; i++) {
    const next = previous + current;
    previous = current;
    current = next;
  }
  return previous;
}

function firstNumbers(count) {
  const numbers = [];
  for (let n = 0; n < count; n++) {
    numbers.push(fib(n));
  }
  return numbers.join(" ");
}

console.log(firstNumbers(12));
console.log(20, fib(20));
console.log(78, fibByLoop(78));
