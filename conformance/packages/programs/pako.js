var common = require('common'), pako = require('pako/index'), given = require('given');
function text(n) {
  var words = ['gate', 'tide', 'marrow', 'brook', ' ', 'level '], out = '';
  while (out.length < n) out += words[common.next(6)] + (common.next(9) ? '' : common.next(1000));
  return out;
}
// What CPython's zlib packed.
given.forEach(function (packed) {
  console.log(pako.inflate(new Uint8Array(common.unhex(packed)), { to: 'string' }));
});
// What CPython's zlib is to unpack.
[0, 1, 6, 9].forEach(function (level) {
  var data = text(3000);
  var packed = pako.deflate(data, { level: level });
  console.log(common.hex(packed), pako.inflate(packed, { to: 'string' }) === data, data.length);
});
console.log(common.hex(pako.deflateRaw(text(500), { strategy: 4 })));
console.log(common.hex(pako.gzip(text(500))));
try { pako.inflate(new Uint8Array([120, 156, 3, 0, 0, 0, 0, 2])); } catch (e) { console.log(e); }
