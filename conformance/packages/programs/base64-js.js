var common = require('common'), base64 = require('base64-js/index');
['', 'f', 'fo', 'foo', 'foob', 'fooba', 'foobar'].forEach(function (text) {
  console.log(base64.fromByteArray(common.ascii(text)));
});
for (var n = 0; n < 40; n += 3) {
  var text = base64.fromByteArray(new Uint8Array(common.numbers(n, 256)));
  console.log(text, common.hex(base64.toByteArray(text)), base64.byteLength(text));
}
console.log(common.hex(base64.toByteArray('_-8=')));
