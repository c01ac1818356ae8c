var common = require('common'), makeTree = require('functional-red-black-tree/rbtree');
var tree = makeTree(), versions = [];
for (var i = 0; i < 300; i++) {
  var key = common.next(500);
  tree = i % 3 === 2 ? tree.remove(key) : tree.get(key) === undefined ? tree.insert(key, i) : tree;
  if (i % 100 === 99) versions.push(tree);
}
// The tree is persistent: the older versions are as they were.
versions.forEach(function (tree) { console.log(tree.length, tree.keys.join(), tree.values.join()); });
for (i = 0; i < 500; i += 23) {
  console.log(tree.get(i) === undefined, tree.ge(i).key, tree.gt(i).key, tree.lt(i).key, tree.le(i).key,
    tree.ge(i).index);
}
console.log(tree.begin.key, tree.end.key, tree.at(7).key);
