var common = require('common'), aes = require('aes-js/index');
var text = common.unhex('00112233445566778899aabbccddeeff');
for (var n = 16; n <= 32; n += 8) {
  var key = [];
  for (var i = 0; i < n; i++) key.push(i);
  var ecb = new aes.ModeOfOperation.ecb(key), sealed = ecb.encrypt(text);
  console.log(common.hex(sealed), common.hex(ecb.decrypt(sealed)));
}
key = common.unhex('2b7e151628aed2a6abf7158809cf4f3c');
text = common.unhex('6bc1bee22e409f96e93d7e117393172aae2d8a571e03ac9c9eb76fac45af8e51');
var iv = common.unhex('000102030405060708090a0b0c0d0e0f');
console.log(common.hex(new aes.ModeOfOperation.cbc(key, iv).encrypt(text)));
console.log(common.hex(new aes.ModeOfOperation.cfb(key, iv, 16).encrypt(text)));
console.log(common.hex(new aes.ModeOfOperation.ofb(key, iv).encrypt(text)));
var counter = new aes.Counter(common.unhex('f0f1f2f3f4f5f6f7f8f9fafbfcfdfeff'));
console.log(common.hex(new aes.ModeOfOperation.ctr(key, counter).encrypt(text)));
