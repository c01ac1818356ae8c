// Sorts 1,000 pseudo-random numbers by a heap sort and by the built-in sort.
// Published answer: C++ standard, [rand.predef] (the 10,000th of minstd_rand is 399268537).
// The other values are computed by an independent program.
// Run: scruple run samples/kernels/sort_heap.js
// Prints: sort_heap.out

function makeGenerator() {
  let state = 1;
  return function () {
    state = state * 48271 % 2147483647;
    return state;
  };
}

function siftDown(items, start, end) {
  let root = start;
  while (2 * root + 1 < end) {
    let child = 2 * root + 1;
    if (child + 1 < end && items[child] < items[child + 1]) {
      child++;
    }
    if (items[root] >= items[child]) {
      return;
    }
    const held = items[root];
    items[root] = items[child];
    items[child] = held;
    root = child;
  }
}

function heapSort(items) {
  for (let start = (items.length >> 1) - 1; start >= 0; start--) {
    siftDown(items, start, items.length);
  }
  for (let end = items.length - 1; end > 0; end--) {
    const largest = items[0];
    items[0] = items[end];
    items[end] = largest;
    siftDown(items, 0, end);
  }
}

function weigh(items) {
  let sum = 0;
  for (let i = 0; i < items.length; i++) {
    sum = (sum + (i + 1) * items[i]) % 1000003;
  }
  return sum;
}

function lastDigits(items) {
  return items.map(item => ({ digit: item % 10, item: item }));
}

const random = makeGenerator();
let last = 0;
for (let i = 0; i < 10000; i++) {
  last = random();
}
console.log("10,000th", last);

const data = [];
for (let i = 0; i < 1000; i++) {
  data.push(random());
}
console.log("unsorted", weigh(data));

const byHeap = data.slice();
heapSort(byHeap);
console.log("heap sort", byHeap[0], byHeap[499], byHeap[999], weigh(byHeap));

const byBuiltIn = data.slice().sort((a, b) => a - b);
console.log("built-in", weigh(byBuiltIn), byBuiltIn.every((item, i) => item === byHeap[i]));

const falling = data.slice().sort((a, b) => b - a);
console.log("falling", weigh(falling), falling[0] === byHeap[999]);

// Ties are settled by the item, so the result does not depend on stability.
const byDigit = lastDigits(data.slice(0, 100)).sort((a, b) => a.digit - b.digit || a.item - b.item);
console.log("by last digit", weigh(byDigit.map(entry => entry.item)));

const asText = data.slice(0, 8).sort();
console.log("as text", asText.join(" "));
