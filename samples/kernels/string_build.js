// Builds a text of about 20,000 characters by += and by join, and cuts it up again.
// The checksum is Adler-32 (RFC 1950); all values are computed by an independent program.
// Run: scruple run samples/kernels/string_build.js
// Prints: string_build.out

const PIECES = 2600;

function piece(i) {
  return i.toString(36) + ":" + (i * i) % 997 + ";";
}

function buildByAppending() {
  let text = "";
  for (let i = 0; i < PIECES; i++) {
    text += piece(i);
  }
  return text;
}

function buildByJoining() {
  const pieces = [];
  for (let i = 0; i < PIECES; i++) {
    pieces.push(piece(i));
  }
  return pieces.join("");
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

// Cuts at each semicolon without making an array of the pieces.
function countPiecesWith(text, digit) {
  let found = 0;
  let start = 0;
  let end = text.indexOf(";");
  while (end >= 0) {
    if (text.slice(start, end).includes(digit)) {
      found++;
    }
    start = end + 1;
    end = text.indexOf(";", start);
  }
  return found;
}

const appended = buildByAppending();
console.log("appended", appended.length, adler32(appended));

const joined = buildByJoining();
console.log("joined", joined.length, adler32(joined), joined === appended);

console.log("upper case", adler32(appended.toUpperCase()));
console.log("pieces with a 9", countPiecesWith(appended, "9"));
console.log("ends", appended.slice(0, 20), appended.slice(-20));
