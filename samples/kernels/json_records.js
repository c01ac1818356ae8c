// Builds 100 records, writes them as JSON, reads them back and adds them up.
// All values are computed by an independent program.
// Run: scruple run samples/kernels/json_records.js
// Prints: json_records.out

const RECORDS = 100;

function makeRecord(i) {
  return {
    id: i,
    site: "gauge-" + i % 7,
    level_mm: 1200 + (i * 37) % 500,
    volts: 12 + (i % 8) / 8,
    flags: [i % 2 === 0, i % 3 === 0],
    note: i % 10 === 0 ? "high \"water\"\n" : null,
    at: { hour: i % 24, minute: (i * 7) % 60 }
  };
}

function makeRecords() {
  const records = [];
  for (let i = 0; i < RECORDS; i++) {
    records.push(makeRecord(i));
  }
  return records;
}

function adler32(text) {
  let low = 1;
  let high = 0;
  for (let i = 0; i < text.length; i++) {
    low = (low + text.charCodeAt(i)) % 65521;
    high = (high + low) % 65521;
  }
  return (high * 65536 + low).toString(16).padStart(8, "0");
}

function sum(records, measure) {
  return records.reduce((total, record) => total + measure(record), 0);
}

function countBySite(records) {
  const counts = {};
  for (const record of records) {
    counts[record.site] = (counts[record.site] || 0) + 1;
  }
  return counts;
}

function withoutEmptyNotes(key, value) {
  return key === "note" && value === null ? undefined : value;
}

const text = JSON.stringify(makeRecords());
console.log("written", text.length, adler32(text));

const records = JSON.parse(text);
console.log("same when written again", JSON.stringify(records) === text);
console.log("levels", sum(records, record => record.level_mm));
console.log("volts", sum(records, record => record.volts));
console.log("minutes", sum(records, record => record.at.hour * 60 + record.at.minute));
console.log("flags", sum(records, record => record.flags.filter(flag => flag).length));
console.log("notes", records.filter(record => record.note !== null).length);
console.log(JSON.stringify(countBySite(records)));
console.log(JSON.stringify(records[30], null, 2));
console.log(JSON.stringify(records[31], withoutEmptyNotes));
