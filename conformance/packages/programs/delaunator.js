var common = require('common'), Delaunator = require('delaunator/delaunator');
for (var n = 4; n < 40; n += 5) {
  var flat = common.numbers(2 * n, 65537), found = new Delaunator(flat), list = [];
  for (var i = 0; i < found.triangles.length; i += 3) {
    var corners = [found.triangles[i], found.triangles[i + 1], found.triangles[i + 2]];
    list.push(corners.sort(function (a, b) { return a - b; }));
  }
  list.sort(function (a, b) { return a[0] - b[0] || a[1] - b[1] || a[2] - b[2]; });
  var hull = Array.prototype.slice.call(found.hull).sort(function (a, b) { return a - b; });
  console.log(list.join(' '), hull.join());
}
