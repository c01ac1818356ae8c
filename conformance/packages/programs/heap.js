var common = require('common'), Heap = require('heap/lib/heap');
var list = common.numbers(200, 1000), heap = new Heap();
list.forEach(function (x) { heap.push(x); });
var out = [];
for (var i = 0; i < 100; i++) out.push(heap.pop(), heap.pushpop(common.next(1000)));
console.log(out.join());
var array = list.slice();
Heap.heapify(array);
console.log(array.join());
for (i = 0; i < 50; i++) { Heap.push(array, common.next(1000)); Heap.replace(array, common.next(1000)); }
console.log(array.join());
console.log(Heap.nsmallest(list, 10).join(), Heap.nlargest(list, 10).join());
