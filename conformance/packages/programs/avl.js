var common = require('common'), Tree = require('avl/dist/index.cjs').AVLTree;
var tree = new Tree(undefined, true);
for (var i = 0; i < 400; i++) {
  var key = common.next(350);
  if (i % 4 < 3) tree.insert(key, i); else tree.remove(key);
  if (!tree.isBalanced()) console.log('out of balance');
}
console.log(tree.size, tree.keys().join(), tree.values().join());
var out = [];
tree.range(50, 90, function (node) { out.push(node.key); });
console.log(out.join(), tree.at(10).key, tree.min(), tree.max(), tree.contains(51));
console.log(tree.pop().key, tree.popMax().key, tree.next(tree.at(5)).key, tree.prev(tree.at(5)).key);
var loaded = new Tree();
loaded.load(common.numbers(64, 1000), [], true);
console.log(loaded.keys().join(), loaded.isBalanced());
