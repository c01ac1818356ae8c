var common = require('common'), convert = require('hex2dec/index');
for (var n = 1; n < 40; n += 4) {
  var hex = common.hex(common.numbers(n, 256));
  var decimal = convert.hexToDec(hex);
  console.log(decimal, convert.decToHex(decimal));
}
console.log(convert.decToHex('0'), convert.hexToDec('0xFFFFFFFFFFFFFFFFFFFF'), convert.decToHex('1x'));
