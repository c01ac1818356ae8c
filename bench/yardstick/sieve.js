// The primes up to 50,000, twenty times over.
function sieve(limit) {
  var composite = [];
  var count = 0;
  for (var i = 0; i <= limit; i++) composite.push(false);
  for (var n = 2; n <= limit; n++) {
    if (!composite[n]) {
      count++;
      for (var m = n + n; m <= limit; m += n) composite[m] = true;
    }
  }
  return count;
}
var total = 0;
for (var round = 0; round < 20; round++) total += sieve(50000);
console.log(total);
