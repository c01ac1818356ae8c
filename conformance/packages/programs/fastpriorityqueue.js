var common = require('common'), Queue = require('fastpriorityqueue/FastPriorityQueue');
var queue = new Queue(function (a, b) { return a[0] < b[0] || a[0] === b[0] && a[1] < b[1]; });
var out = [];
for (var i = 0; i < 500; i++) {
  queue.add([common.next(50), i]);
  if (i % 3 === 2) out.push(queue.poll().join(':'));
}
console.log(out.join(' '));
console.log(queue.kSmallest(5).map(function (x) { return x.join(':'); }).join(' '), queue.size);
var seen = [];
queue.forEach(function (x) { seen.push(x.join(':')); });
console.log(seen.slice(0, 40).join(' '));
