// Pancake flips over all permutations of seven.
// Published answer: Computer Language Benchmarks Game, fannkuch-redux (checksum 228, 16 flips).
// Run: scruple run samples/kernels/fannkuch.js
// Prints: fannkuch.out

function countFlips(permutation) {
  const stack = permutation.slice();
  let flips = 0;
  while (stack[0] !== 0) {
    let low = 0;
    let high = stack[0];
    while (low < high) {
      const held = stack[low];
      stack[low] = stack[high];
      stack[high] = held;
      low++;
      high--;
    }
    flips++;
  }
  return flips;
}

// Moves the first item behind the next `length` items.
function rotate(permutation, length) {
  const first = permutation[0];
  for (let i = 0; i < length; i++) {
    permutation[i] = permutation[i + 1];
  }
  permutation[length] = first;
}

// Steps to the next permutation; false after the last one.
function advance(permutation, counts) {
  for (let length = 1; length < permutation.length; length++) {
    rotate(permutation, length);
    counts[length]++;
    if (counts[length] <= length) {
      return true;
    }
    counts[length] = 0;
  }
  return false;
}

function fannkuch(n) {
  const permutation = [];
  const counts = [];
  for (let i = 0; i < n; i++) {
    permutation.push(i);
    counts.push(0);
  }
  let checksum = 0;
  let most = 0;
  let even = true;
  do {
    const flips = countFlips(permutation);
    checksum += even ? flips : -flips;
    most = Math.max(most, flips);
    even = !even;
  } while (advance(permutation, counts));
  console.log(checksum);
  console.log(`Pfannkuchen(${n}) = ${most}`);
}

fannkuch(7);
