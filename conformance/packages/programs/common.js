// What the programs' drivers share; `common.py` is the same for their answers.
var state = 1;

// A linear congruential sequence modulo 65537, small enough to be exact anywhere.
exports.seed = function (n) { state = n; };
exports.next = function (below) {
  state = (state * 75 + 74) % 65537;
  return state % below;
};
exports.numbers = function (n, below) {
  var out = [];
  for (var i = 0; i < n; i++) out.push(exports.next(below));
  return out;
};
exports.ascii = function (text) {
  var out = [];
  for (var i = 0; i < text.length; i++) out.push(text.charCodeAt(i));
  return out;
};
exports.hex = function (bytes) {
  var out = '';
  for (var i = 0; i < bytes.length; i++) out += (bytes[i] + 256).toString(16).slice(1);
  return out;
};
exports.unhex = function (text) {
  var out = [];
  for (var i = 0; i < text.length; i += 2) out.push(parseInt(text.slice(i, i + 2), 16));
  return out;
};
