var common = require('common'), FFT = require('fft.js/lib/fft');
[2, 4, 8, 64, 128].forEach(function (size) {
  var fft = new FFT(size), data = common.numbers(2 * size, 1000);
  var out = fft.createComplexArray(), back = fft.createComplexArray();
  fft.transform(out, data);
  console.log(out.map(function (x) { return Math.round(x * 1e3) / 1e3 + 0; }).join());
  fft.inverseTransform(back, out);
  console.log(back.map(function (x) { return Math.round(x); }).join());
});
