var common = require('common');
var orient = require('robust-predicates/umd/orient2d'), inside = require('robust-predicates/umd/predicates');
// Points so nearly on a line or a circle that plain arithmetic guesses: steps of one unit
// in the last place around 0.5 and 12.
var ulp = Math.pow(2, -53);
for (var i = 0; i < 40; i++) {
  var p = [];
  for (var k = 0; k < 6; k++) p.push((k < 2 ? 0.5 : 12 * (k < 4 ? 1 : 2)) + common.next(32) * ulp * (k < 2 ? 1 : 32));
  var turn = orient.orient2d(p[0], p[1], p[2], p[3], p[4], p[5]);
  var q = [0, 1, 1, 0, 0, -1, -1, 0].map(function (x) { return x * 5 + common.next(3) * ulp * 8; });
  var circle = inside.incircle.apply(null, q);
  console.log(turn > 0 ? 1 : turn < 0 ? -1 : 0, circle > 0 ? 1 : circle < 0 ? -1 : 0);
}
