var common = require('common'), big = require('big-decimal/build/BigDecimal-all-last');
var BigDecimal = big.BigDecimal, MathContext = big.MathContext;
function number() {
  var text = common.next(2) ? '-' : '';
  text += 1 + common.next(65000);
  for (var i = common.next(4); i > 0; i--) text += 10000 + common.next(50000);
  return new BigDecimal(text).movePointLeft(common.next(9));
}
var modes = ['ROUND_UP', 'ROUND_DOWN', 'ROUND_CEILING', 'ROUND_FLOOR', 'ROUND_HALF_UP',
  'ROUND_HALF_DOWN', 'ROUND_HALF_EVEN'];
for (var i = 0; i < 70; i++) {
  var a = number(), b = number(), mode = MathContext[modes[i % 7]];
  console.log(a.toString(), a.add(b).toString(), a.subtract(b).toString(),
    a.multiply(b).toString(), a.compareTo(b), a.setScale(3, mode).toString(),
    a.divide(b, 12, mode).toString());
}
console.log(new BigDecimal('0.1').add(new BigDecimal('0.2')).toString());
console.log(new BigDecimal('1.000000001').pow(new BigDecimal('20'),
  new MathContext(0, MathContext.PLAIN)).toString());
