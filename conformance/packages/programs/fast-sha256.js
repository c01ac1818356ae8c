var common = require('common'), sha256 = require('fast-sha256/sha256');
function bytes(list) { return new Uint8Array(list); }
function show(out) { console.log(common.hex(out)); }
show(sha256(bytes(common.ascii('abc'))));
show(sha256(bytes(common.ascii('abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq'))));
show(sha256.hmac(bytes(common.ascii('Jefe')), bytes(common.ascii('what do ya want for nothing?'))));
show(sha256.pbkdf2(bytes(common.ascii('passwd')), bytes(common.ascii('salt')), 1, 64));
for (var n = 50; n < 80; n += 3) show(sha256(bytes(common.numbers(n, 256))));
show(sha256.hmac(bytes(common.numbers(100, 256)), bytes(common.numbers(200, 256))));
show(sha256.pbkdf2(bytes(common.ascii('tide')), bytes(common.ascii('gate')), 7, 40));
