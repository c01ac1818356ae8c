// A binary tree of 4,095 nodes, built and counted.
function Node(left, right) {
  this.left = left;
  this.right = right;
}

function build(depth) {
  return depth === 0 ? new Node(null, null) : new Node(build(depth - 1), build(depth - 1));
}

function count(node) {
  return node.left === null ? 1 : 1 + count(node.left) + count(node.right);
}

function main() {
  const tree = build(11);
  console.log(count(tree));
}

main();
