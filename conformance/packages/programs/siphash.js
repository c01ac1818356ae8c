var common = require('common');
var sip24 = require('siphash/lib/siphash'), sip13 = require('siphash/lib/siphash13');
function word(bytes, at) {
  return bytes[at] | bytes[at + 1] << 8 | bytes[at + 2] << 16 | bytes[at + 3] << 24;
}
var key = [], text = [];
for (var i = 0; i < 16; i++) key.push(i);
for (i = 0; i < 15; i++) text.push(i);
var words = new Uint32Array([word(key, 0), word(key, 4), word(key, 8), word(key, 12)]);
console.log(sip24.hash_hex(words, new Uint8Array(text)));
for (var n = 0; n < 30; n++) {
  var half = new Uint32Array([common.next(65536), common.next(65536), 0, 0]);
  console.log(sip13.hash_hex(half, new Uint8Array(common.numbers(n * 3, 256))));
}
