// Builds and drops many small binary trees, and counts their nodes.
// Known by arithmetic: a tree of depth d has 2^(d+1) - 1 nodes.
// Run: scruple run samples/kernels/binary_trees.js
// Prints: binary_trees.out

const LEAST_DEPTH = 4;
const MOST_DEPTH = 8;

function Node(left, right) {
  this.left = left;
  this.right = right;
}

Node.prototype.count = function () {
  if (this.left === null) {
    return 1;
  }
  return 1 + this.left.count() + this.right.count();
};

function build(depth) {
  if (depth === 0) {
    return new Node(null, null);
  }
  return new Node(build(depth - 1), build(depth - 1));
}

function countMany(trees, depth) {
  let nodes = 0;
  for (let i = 0; i < trees; i++) {
    nodes += build(depth).count();
  }
  return nodes;
}

const stretch = build(MOST_DEPTH + 1).count();
console.log(`stretch tree of depth ${MOST_DEPTH + 1}: ${stretch} nodes`);

const longLived = build(MOST_DEPTH);
for (let depth = LEAST_DEPTH; depth <= MOST_DEPTH; depth += 2) {
  const trees = 1 << (MOST_DEPTH - depth + LEAST_DEPTH);
  console.log(`${trees} trees of depth ${depth}: ${countMany(trees, depth)} nodes`);
}
console.log(`long-lived tree of depth ${MOST_DEPTH}: ${longLived.count()} nodes`);
