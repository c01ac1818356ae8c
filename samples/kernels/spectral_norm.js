// Spectral norm of an infinite matrix cut to n = 100, by the power method.
// Published answer: Computer Language Benchmarks Game, spectral-norm (1.274219991).
// Run: scruple run samples/kernels/spectral_norm.js
// Prints: spectral_norm.out

function entry(row, column) {
  return 1 / ((row + column) * (row + column + 1) / 2 + row + 1);
}

function multiply(vector, result) {
  const n = vector.length;
  for (let i = 0; i < n; i++) {
    let sum = 0;
    for (let j = 0; j < n; j++) {
      sum += entry(i, j) * vector[j];
    }
    result[i] = sum;
  }
}

function multiplyTransposed(vector, result) {
  const n = vector.length;
  for (let i = 0; i < n; i++) {
    let sum = 0;
    for (let j = 0; j < n; j++) {
      sum += entry(j, i) * vector[j];
    }
    result[i] = sum;
  }
}

function filled(length, value) {
  const vector = [];
  for (let i = 0; i < length; i++) {
    vector.push(value);
  }
  return vector;
}

function dot(a, b) {
  let sum = 0;
  for (let i = 0; i < a.length; i++) {
    sum += a[i] * b[i];
  }
  return sum;
}

function spectralNorm(n) {
  const u = filled(n, 1);
  const v = filled(n, 0);
  const between = filled(n, 0);
  for (let round = 0; round < 10; round++) {
    multiply(u, between);
    multiplyTransposed(between, v);
    multiply(v, between);
    multiplyTransposed(between, u);
  }
  return Math.sqrt(dot(u, v) / dot(v, v));
}

console.log(spectralNorm(2).toFixed(9));
console.log(spectralNorm(100).toFixed(9));
