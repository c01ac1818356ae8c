// Counters, function factories, and one binding of `let` for each turn of a loop.
// All values are computed by an independent program.
// Run: scruple run samples/kernels/closures.js
// Prints: closures.out

function makeCounter(start, step) {
  let value = start;
  return {
    next: function () {
      value += step;
      return value;
    },
    reset: function () {
      value = start;
    },
    get value() {
      return value;
    }
  };
}

const adder = amount => number => number + amount;

const compose = (outer, inner) => value => outer(inner(value));

function countersStayApart() {
  const ones = makeCounter(0, 1);
  const threes = makeCounter(100, 3);
  for (let i = 0; i < 5000; i++) {
    ones.next();
    if (i % 2 === 0) {
      threes.next();
    }
  }
  console.log("counters", ones.value, threes.value);
  ones.reset();
  console.log("after reset", ones.value, threes.next());
}

function factoriesCompose() {
  let chain = adder(0);
  for (let amount = 1; amount <= 30; amount++) {
    chain = compose(adder(amount), chain);
  }
  let total = 0;
  for (let i = 0; i < 100; i++) {
    total += chain(i);
  }
  console.log("composed", chain(0), total);
}

function eachTurnHasItsOwnBinding() {
  const readers = [];
  for (let i = 0; i < 5; i++) {
    readers.push(() => i * i);
  }
  for (const word of ["tide", "gate"]) {
    readers.push(() => word);
  }
  console.log("own bindings", readers.map(read => read()).join(" "));
}

function oneBindingIsShared() {
  var shared = [];
  for (var i = 0; i < 5; i++) {
    shared.push(function () { return i; });
  }
  console.log("shared binding", shared.map(read => read()).join(" "));
}

function changesAreSeenByAll() {
  let level = 10;
  const raise = () => { level += 5; };
  const read = () => level;
  raise();
  level *= 2;
  raise();
  console.log("seen by all", read(), level);
}

function memoise(compute) {
  const known = {};
  let misses = 0;
  const lookUp = function (n) {
    if (!(n in known)) {
      misses++;
      known[n] = compute(n, lookUp);
    }
    return known[n];
  };
  lookUp.misses = () => misses;
  return lookUp;
}

function memoisedRecursion() {
  const fib = memoise((n, self) => n < 2 ? n : self(n - 1) + self(n - 2));
  console.log("memoised", fib(60), fib.misses());
}

countersStayApart();
factoriesCompose();
eachTurnHasItsOwnBinding();
oneBindingIsShared();
changesAreSeenByAll();
memoisedRecursion();
