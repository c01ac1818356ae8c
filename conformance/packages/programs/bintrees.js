var common = require('common'), bintrees = require('bintrees/index');
['RBTree', 'BinTree'].forEach(function (kind) {
  common.seed(5);
  var tree = new bintrees[kind](function (a, b) { return a - b; }), log = [];
  for (var i = 0; i < 400; i++) {
    var key = common.next(300);
    log.push(i % 5 < 3 ? tree.insert(key) : tree.remove(key));
  }
  console.log(log.map(Number).join(''), tree.size, tree.min(), tree.max());
  var out = [], it = tree.iterator(), item;
  while ((item = it.next()) !== null) out.push(item);
  console.log(out.join());
  out = [];
  tree.reach(function (x) { out.push(x); });
  console.log(out.join());
  for (i = 0; i < 300; i += 17) console.log(tree.find(i), tree.lowerBound(i).data(), tree.upperBound(i).data());
});
