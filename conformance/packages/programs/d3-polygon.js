var common = require('common'), polygon = require('d3-polygon/dist/d3-polygon');
for (var n = 3; n < 60; n += 4) {
  var points = [];
  for (var i = 0; i < n; i++) points.push([common.next(1000), common.next(1000)]);
  var hull = polygon.polygonHull(points), centre = polygon.polygonCentroid(hull);
  var where = [];
  for (i = 0; i < 10; i++) where.push(Number(polygon.polygonContains(hull, [common.next(1000) + 0.5, common.next(1000) + 0.25])));
  console.log(hull.length, Math.abs(polygon.polygonArea(hull)), where.join(''),
    Math.round(centre[0] * 1e6), Math.round(centre[1] * 1e6),
    Math.round(polygon.polygonLength(hull) * 1e6), polygon.polygonArea(points));
}
