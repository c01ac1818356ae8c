var common = require('common'), adler = require('adler-32/adler32');
console.log((adler.bstr('Wikipedia') >>> 0).toString(16));
console.log(adler.str('h\u00e9 \u2603 \ud83d\ude00') >>> 0);
for (var n = 0; n < 20; n++) console.log(adler.buf(common.numbers(n * 311, 256)) >>> 0);
