// The battery's ledger: what each load takes by its duty cycle, what the sun gives, what is left.
// Input: invented demo data (tide.csv, and the tables below).
// Run: scruple run samples/marrow-brook/battery_budget.js
// Prints: battery_budget.out
// scruple: --until 46800000 --feed tide.csv

const HOUR = 3600000;
const CAPACITY = 7200; // mAh
const LOW_SHARE = 0.4;

// Current while on, in mA, and the share of the time it is on.
const loads = [
  { name: "controller", milliamps: 4.5, duty: 1, taken: 0 },
  { name: "gauges", milliamps: 18, duty: 0.1, taken: 0 },
  { name: "radio", milliamps: 320, duty: 0.0125, taken: 0 },
  { name: "lamp", milliamps: 150, duty: 0.25, taken: 0 }
];

const motor = { name: "motor", milliamps: 5400, secondsByHour: { 1: 95, 2: 210, 7: 95, 8: 40 }, taken: 0 };

// Mean current from the panel in each hour, in mA.
const sunByHour = [0, 4, 35, 110, 180, 240, 265, 250, 205, 140, 60, 12, 0];

const ledger = {
  charge: 2950,
  given: 0,
  wasted: 0,
  get taken() {
    return loads.concat(motor).reduce((sum, load) => sum + load.taken, 0);
  },
  get share() {
    return this.charge / CAPACITY;
  },
  get isLow() {
    return this.share < LOW_SHARE;
  }
};

function takeFor(load, milliampHours) {
  load.taken += milliampHours;
  ledger.charge -= milliampHours;
}

function give(milliampHours) {
  const room = CAPACITY - ledger.charge;
  const accepted = Math.min(milliampHours, room);
  ledger.charge += accepted;
  ledger.given += accepted;
  ledger.wasted += milliampHours - accepted;
}

// The lamp is the first thing that a low battery does without.
function dutyOf(load) {
  return load.name === "lamp" && ledger.isLow ? 0 : load.duty;
}

function bookHour(hour) {
  for (const load of loads) {
    takeFor(load, load.milliamps * dutyOf(load));
  }
  if (hour in motor.secondsByHour) {
    takeFor(motor, motor.milliamps * motor.secondsByHour[hour] / 3600);
  }
  give(sunByHour[hour]);
}

function percent(share) {
  return (share * 100).toFixed(1) + " %";
}

let hour = 0;

const timer = setInterval(() => {
  bookHour(hour);
  hour++;
  const volts = (sensor("battery_mv") / 1000).toFixed(2);
  const mark = ledger.isLow ? " low" : "";
  console.log(`hour ${hour}: ${ledger.charge.toFixed(2)} mAh, ${percent(ledger.share)}, ${volts} V${mark}`);
  if (hour === sunByHour.length) {
    clearInterval(timer);
    settle();
  }
}, HOUR);

function settle() {
  const taken = ledger.taken;
  const largestFirst = loads.concat(motor).sort((a, b) => b.taken - a.taken);
  for (const load of largestFirst) {
    console.log(`${load.name} took ${load.taken.toFixed(2)} mAh, ${percent(load.taken / taken)}`);
  }
  console.log(`given ${ledger.given.toFixed(2)} mAh, wasted ${ledger.wasted.toFixed(2)} mAh`);
  const difference = ledger.charge - (2950 + ledger.given - taken);
  console.log("the books balance:", Math.abs(difference) < 1e-9);
}
