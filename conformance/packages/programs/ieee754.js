var common = require('common'), ieee754 = require('ieee754/index');
var values = [0, -0, 1, -2.5, 0.1, 1e-310, 5e-324, 1.7976931348623157e308, 3.4e38, 1e-45,
  Infinity, -Infinity, 65504, 1 / 3];
for (var i = 0; i < 30; i++) values.push((common.next(65536) - 32768) / (1 + common.next(999)));
values.forEach(function (value) {
  var line = [];
  [[23, 4], [52, 8]].forEach(function (form) {
    [true, false].forEach(function (little) {
      var bytes = new Uint8Array(form[1]);
      if (form[1] === 4 && Math.abs(value) > 3.5e38 && isFinite(value)) return;
      ieee754.write(bytes, value, 0, little, form[0], form[1]);
      line.push(common.hex(bytes), Object.is(ieee754.read(bytes, 0, little, form[0], form[1]), form[1] === 4 ? Math.fround(value) : value));
    });
  });
  console.log(line.join(' '));
});
