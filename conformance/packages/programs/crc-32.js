var common = require('common'), crc = require('crc-32/crc32');
console.log((crc.str('123456789') >>> 0).toString(16));
console.log(crc.str('h\u00e9 \u2603 \ud83d\ude00') >>> 0);
for (var n = 0; n < 40; n++) console.log(crc.buf(common.numbers(n * 7, 256)) >>> 0);
console.log(crc.bstr('abc', crc.bstr('xyz')) >>> 0);
