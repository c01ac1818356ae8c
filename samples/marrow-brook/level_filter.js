// Cleans the two level gauges: a median of five readings, then an exponential filter.
// Input: invented demo data (gusty_hour.csv: spray spikes and dropouts).
// Run: scruple run samples/marrow-brook/level_filter.js
// Prints: level_filter.out
// scruple: --until 3595000 --feed gusty_hour.csv

const SAMPLE_MS = 30000;
const REPORT_EVERY = 10;
const WINDOW = 5;
const WEIGHT = 0.25;
const SPIKE_MM = 200;

function median(values) {
  const sorted = values.slice().sort((a, b) => a - b);
  const middle = sorted.length >> 1;
  return sorted.length % 2 === 1 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
}

function makeFilter(column) {
  const recent = [];
  let smooth;
  let readings = 0;
  let spikes = 0;
  return {
    column: column,
    get level() {
      return smooth;
    },
    get summary() {
      return `${column}: ${spikes} spikes in ${readings} readings`;
    },
    add: function (reading) {
      readings++;
      recent.push(reading);
      if (recent.length > WINDOW) {
        recent.shift();
      }
      const middle = median(recent);
      if (Math.abs(reading - middle) > SPIKE_MM) {
        spikes++;
      }
      smooth = smooth === undefined ? middle : smooth + WEIGHT * (middle - smooth);
    }
  };
}

function clockTime(ms) {
  const minutes = Math.floor(ms / 60000);
  const seconds = Math.floor(ms / 1000) % 60;
  return String(minutes).padStart(2, "0") + ":" + String(seconds).padStart(2, "0");
}

const filters = [makeFilter("river_mm"), makeFilter("sea_mm")];
let samples = 0;

function sample() {
  for (const filter of filters) {
    const reading = sensor(filter.column);
    if (reading === undefined) {
      console.log(clockTime(clock()), filter.column, "has no reading yet");
      continue;
    }
    filter.add(reading);
  }
  samples++;
  if (samples % REPORT_EVERY === 0) {
    report();
  }
}

function report() {
  const parts = filters.map(filter =>
    `${filter.column} raw ${sensor(filter.column)} filtered ${filter.level.toFixed(1)}`);
  console.log(clockTime(clock()), parts.join("  "));
}

function summary() {
  for (const filter of filters) {
    console.log(filter.summary);
  }
}

sample();
setInterval(sample, SAMPLE_MS);
setTimeout(summary, 3595000);
