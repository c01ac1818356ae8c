var common = require('common'), inflate = require('tiny-inflate/index'), given = require('given');
given.forEach(function (pair) {
  var out = inflate(new Uint8Array(common.unhex(pair[0])), new Uint8Array(pair[1]));
  console.log(out.length, common.hex(out));
});
