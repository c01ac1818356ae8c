var common = require('common'), earcut = require('earcut/src/earcut');
// A star about a centre is a simple polygon; half of the second one is a hole in it.
for (var n = 5; n < 90; n += 7) {
  var rays = [[2, 0], [1, 1], [0, 2], [-1, 1], [-2, 0], [-1, -1], [0, -2], [1, -1]], flat = [];
  for (var i = 0; i < n; i++) {
    var turn = i * 8 / n, side = Math.floor(turn), rest = turn - side;
    var a = rays[side], b = rays[(side + 1) % 8], far = 100 + common.next(900);
    flat.push(Math.round(far * (a[0] * (1 - rest) + b[0] * rest)));
    flat.push(Math.round(far * (a[1] * (1 - rest) + b[1] * rest)));
  }
  var holes = n % 2 ? [n] : undefined;
  if (holes) flat.push(-20, -20, 20, -20, 0, 30);
  var triangles = earcut(flat, holes);
  console.log(flat.join(), holes === undefined, triangles.join());
}
