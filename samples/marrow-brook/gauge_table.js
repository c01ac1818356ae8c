// Gauge calibration: from raw counts to mm and back by a table of straight lines.
// Input: invented demo data.
// Run: scruple run samples/marrow-brook/gauge_table.js
// Prints: gauge_table.out

function CalibrationError(message) {
  this.name = "CalibrationError";
  this.message = message;
}

CalibrationError.prototype = Object.create(Error.prototype);
CalibrationError.prototype.constructor = CalibrationError;

function requireRising(points, key) {
  for (let i = 1; i < points.length; i++) {
    if (!(points[i][key] > points[i - 1][key])) {
      throw new CalibrationError(`${key} does not rise at point ${i}`);
    }
  }
}

// The index of the last point whose key is at most the value, but never the very last point.
function lineFor(points, key, value) {
  let low = 0;
  let high = points.length - 2;
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (points[middle][key] <= value) {
      low = middle;
    } else {
      high = middle - 1;
    }
  }
  return low;
}

function interpolate(points, from, to, value) {
  const i = lineFor(points, from, value);
  const a = points[i];
  const b = points[i + 1];
  return a[to] + (value - a[from]) * (b[to] - a[to]) / (b[from] - a[from]);
}

function makeGauge(name, points) {
  if (points.length < 2) {
    throw new CalibrationError("a table needs two points");
  }
  requireRising(points, "raw");
  requireRising(points, "mm");
  const first = points[0];
  const last = points[points.length - 1];
  return Object.freeze({
    name: name,
    toMm: raw => interpolate(points, "raw", "mm", raw),
    toRaw: mm => Math.round(interpolate(points, "mm", "raw", mm)),
    covers: raw => raw >= first.raw && raw <= last.raw,
    get span() {
      return last.mm - first.mm;
    }
  });
}

function pointsOf(text) {
  return text.split(" ").map(pair => {
    const parts = pair.split("=");
    return { raw: Number(parts[0]), mm: Number(parts[1]) };
  });
}

function show(gauge, raw) {
  const mm = gauge.toMm(raw);
  const mark = gauge.covers(raw) ? "" : " (beyond the table)";
  console.log(`${gauge.name} ${raw} -> ${mm.toFixed(1)} mm -> ${gauge.toRaw(mm)}${mark}`);
}

const river = makeGauge("river", pointsOf("410=0 812=500 1630=1500 2441=2500 3650=4000"));
const sea = makeGauge("sea", pointsOf("-20=-600 388=0 1203=1200 2850=3600"));

console.log(`spans ${river.span} mm and ${sea.span} mm`);
[410, 611, 812, 1000, 2440, 3000, 3649, 3800, 200].forEach(raw => show(river, raw));
[-20, -7, 388, 1202.25, 2049, 2900].forEach(raw => show(sea, raw));

try {
  river.name = "brook";
} catch (error) {
  console.log("frozen:", error instanceof TypeError, river.name);
}

for (const text of ["10=0", "10=0 20=5 20=9", "10=0 20=5 30=5", "10=0 x=7"]) {
  try {
    makeGauge("trial", pointsOf(text));
    console.log(`"${text}" accepted`);
  } catch (error) {
    console.log(`"${text}" ${error.name}: ${error.message}`);
  }
}
