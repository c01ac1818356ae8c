var Twister = require('mersenne-twister/src/mersenne-twister');
var twister = new Twister(5489), out;
for (var i = 0; i < 10000; i++) out = twister.random_int();
console.log(out);
[0, 1, 4357, 4294967295].forEach(function (seed) {
  twister.init_by_array([seed], 1);
  var words = [], doubles = [];
  for (var i = 0; i < 50; i++) words.push(twister.random_int());
  for (i = 0; i < 20; i++) doubles.push(twister.random_long());
  console.log(words.join(), doubles.join());
});
