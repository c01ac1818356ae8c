// Finds high and low water on the sea gauge, and when the river could start or stop draining.
// Input: invented demo data (tide.csv).
// Run: scruple run samples/marrow-brook/tide_marks.js
// Prints: tide_marks.out
// scruple: --until 46790000 --feed tide.csv

const STEP_MS = 1800000;

const marks = [];
const points = [];

function clockTime(ms) {
  const minutes = Math.floor(ms / 60000);
  return String(Math.floor(minutes / 60)).padStart(2, "0") + "h" + String(minutes % 60).padStart(2, "0");
}

// The vertex of the parabola through three points at equal distances.
function vertex(before, middle, after) {
  const bend = before.sea - 2 * middle.sea + after.sea;
  const slope = (after.sea - before.sea) / 2;
  const shift = -slope / bend;
  return {
    at: middle.at + shift * STEP_MS,
    level: middle.sea + slope * shift / 2
  };
}

function isTurn(before, middle, after) {
  const rising = middle.sea - before.sea;
  const falling = middle.sea - after.sea;
  return rising * falling > 0;
}

function findTurn() {
  const n = points.length;
  const before = points[n - 3], middle = points[n - 2], after = points[n - 1];
  if (!isTurn(before, middle, after)) {
    return;
  }
  const top = vertex(before, middle, after);
  const kind = middle.sea > before.sea ? "high water" : "low water";
  marks.push({ kind: kind, at: top.at, level: top.level });
}

// The moment at which the line between two heads passes zero.
function findCrossing() {
  const last = points[points.length - 1];
  const previous = points[points.length - 2];
  const headBefore = previous.river - previous.sea;
  const headNow = last.river - last.sea;
  if ((headBefore < 0) === (headNow < 0)) {
    return;
  }
  const share = headBefore / (headBefore - headNow);
  marks.push({
    kind: headNow > 0 ? "draining starts" : "draining stops",
    at: previous.at + share * STEP_MS,
    level: previous.sea + share * (last.sea - previous.sea)
  });
}

function sample() {
  points.push({ at: clock(), river: sensor("river_mm"), sea: sensor("sea_mm") });
  if (points.length > 3) {
    points.shift();
  }
  if (points.length >= 2) {
    findCrossing();
  }
  if (points.length === 3) {
    findTurn();
  }
}

function report() {
  for (const mark of marks) {
    console.log(`${clockTime(mark.at)} ${mark.kind} at ${Math.round(mark.level)} mm`);
  }
  const turns = marks.filter(mark => mark.kind.endsWith("water"));
  const levels = turns.map(mark => mark.level);
  const range = Math.max.apply(null, levels) - Math.min.apply(null, levels);
  console.log(`${turns.length} turns, tidal range ${(range / 1000).toFixed(2)} m`);
}

sample();
setInterval(sample, STEP_MS);
setTimeout(report, 46790000);
