var common = require('common'), KDBush = require('kdbush/kdbush');
var points = [];
for (var i = 0; i < 250; i++) points.push([common.next(1000), common.next(1000)]);
var index = new KDBush(points, undefined, undefined, 10);
for (i = 0; i < 20; i++) {
  var x = common.next(1000), y = common.next(1000), r = 20 + common.next(300);
  console.log(index.range(x, y, x + r, y + r).sort(function (a, b) { return a - b; }).join(),
    index.within(x, y, r).sort(function (a, b) { return a - b; }).join());
}
