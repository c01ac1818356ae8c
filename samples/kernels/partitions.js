// Ways to write a number as a sum of positive whole numbers.
// Published answers: OEIS A000041 (100: 190569292; 200: 3972999029388).
// Run: scruple run samples/kernels/partitions.js
// Prints: partitions.out

// counts[n] holds the ways to reach n with the parts admitted so far.
function countBySums(limit) {
  const counts = [1];
  for (let n = 1; n <= limit; n++) {
    counts.push(0);
  }
  for (let part = 1; part <= limit; part++) {
    for (let n = part; n <= limit; n++) {
      counts[n] += counts[n - part];
    }
  }
  return counts;
}

// Euler's recurrence over the pentagonal numbers k (3k - 1) / 2 and k (3k + 1) / 2.
function countByPentagonals(limit) {
  const counts = [1];
  for (let n = 1; n <= limit; n++) {
    let sum = 0;
    let k = 1;
    let pentagonal = 1;
    while (pentagonal <= n) {
      const sign = k % 2 === 1 ? 1 : -1;
      sum += sign * counts[n - pentagonal];
      if (pentagonal + k <= n) {
        sum += sign * counts[n - pentagonal - k];
      }
      k++;
      pentagonal = k * (3 * k - 1) / 2;
    }
    counts.push(sum);
  }
  return counts;
}

const bySums = countBySums(200);
const byPentagonals = countByPentagonals(200);
[5, 10, 50, 100, 200].forEach(n => console.log(n, bySums[n], byPentagonals[n]));
