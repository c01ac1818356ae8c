var common = require('common'), Long = require('long/dist/long');
function word() { return common.next(65536) * 65536 + common.next(65536) | 0; }
for (var i = 0; i < 60; i++) {
  var unsigned = i % 2 === 1;
  var a = new Long(word(), word(), unsigned), b = new Long(word(), i % 3 ? word() : 0, unsigned);
  var n = common.next(64);
  console.log(a.add(b).toString(), a.subtract(b).toString(), a.multiply(b).toString(),
    a.divide(b).toString(), a.modulo(b).toString(), a.shiftLeft(n).toString(16),
    a.shiftRight(n).toString(), a.shiftRightUnsigned(n).toString(), a.compare(b),
    a.xor(b).toString(36), a.toNumber());
}
console.log(Long.MIN_VALUE.toString(), Long.MAX_UNSIGNED_VALUE.toString(2));
console.log(Long.fromString('-7fffffffffffffff', 16).toString());
