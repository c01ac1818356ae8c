// 300 records written as JSON and read back, while the first ones are kept.
function makeRecord(i) {
  return {
    id: i,
    site: "gauge-" + i % 7,
    level_mm: 1200 + (i * 37) % 500,
    volts: 12 + (i % 8) / 8,
    flags: [i % 2 === 0, i % 3 === 0],
    at: { hour: i % 24, minute: (i * 7) % 60 }
  };
}

function main() {
  const records = [];
  for (let i = 0; i < 300; i++) records.push(makeRecord(i));
  const text = JSON.stringify(records);
  const again = JSON.parse(text);
  let levels = 0;
  let minutes = 0;
  for (const record of again) {
    levels += record.level_mm;
    minutes += record.at.hour * 60 + record.at.minute;
  }
  console.log(records.length, again.length, levels, minutes);
}

main();
