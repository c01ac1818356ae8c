// The Takeuchi function: many calls, little arithmetic.
// Known answer: tak(18, 12, 6) = 7 (computed).
// The other lines and the counts of calls are computed by an independent program.
// Run: scruple run samples/kernels/tak.js
// Prints: tak.out

let calls = 0;

function tak(x, y, z) {
  calls++;
  if (y >= x) {
    return z;
  }
  return tak(
    tak(x - 1, y, z),
    tak(y - 1, z, x),
    tak(z - 1, x, y)
  );
}

function report(x, y, z) {
  calls = 0;
  const result = tak(x, y, z);
  console.log(`tak(${x}, ${y}, ${z}) = ${result}, ${calls} calls`);
}

report(6, 12, 18);
report(12, 8, 4);
report(14, 7, 3);
report(18, 12, 6);
