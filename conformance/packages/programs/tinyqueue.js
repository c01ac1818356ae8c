var common = require('common'), Queue = require('tinyqueue/index');
var list = common.numbers(300, 65536), queue = new Queue(list.slice()), out = [];
while (queue.length) { out.push(queue.pop()); if (out.length % 5 === 0) queue.push(common.next(65536)); }
console.log(out.length, out.join());
