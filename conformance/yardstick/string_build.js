// A text of 5,000 short pieces, kept and joined, and the commas in it.
function main() {
  const pieces = [];
  for (let i = 0; i < 5000; i++) {
    pieces.push("gauge-" + i % 7 + ":" + i + ",");
  }
  const text = pieces.join("");
  let commas = 0;
  for (const unit of text) {
    if (unit === ",") commas++;
  }
  console.log(text.length, commas);
}

main();
