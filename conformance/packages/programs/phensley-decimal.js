var common = require('common'), Decimal = require('@phensley/decimal/lib/decimal').Decimal;
function number() {
  var text = common.next(2) ? '-' : '';
  text += 1 + common.next(65000);
  for (var i = 1 + common.next(4); i > 0; i--) text += 10000 + common.next(50000);
  return new Decimal(text).movePoint(-common.next(9));
}
var modes = ['up', 'down', 'ceiling', 'floor', 'half-up', 'half-down', 'half-even'];
for (var i = 0; i < 70; i++) {
  var a = number(), b = number(), mode = modes[i % 7];
  console.log(a.toString(), a.add(b).toString(), a.subtract(b).toString(),
    a.multiply(b, { precision: 12, round: mode }).toString(), a.compare(b, true),
    a.setScale(3, mode).toString(), a.divide(b, { precision: 20, round: mode }).toString());
}
console.log(new Decimal('0.1').add(new Decimal('0.2')).toString());
var power = new Decimal('1'), base = new Decimal('1.000000001');
for (i = 0; i < 20; i++) power = power.multiply(base, { precision: 400 });
console.log(power.toString());
