// Five million turns of an integer loop in a function.
function loop(turns) {
  var sum = 0;
  for (var i = 0; i < turns; i++) sum = (sum + i) & 0xffff;
  return sum;
}
console.log(loop(5000000));
