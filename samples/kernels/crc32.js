// CRC-32 of two messages, by table and bit by bit.
// Published answer: cbf43926, the usual check value for "123456789".
// The value for the 4,096-byte pattern is computed by an independent program.
// Run: scruple run samples/kernels/crc32.js
// Prints: crc32.out

const POLYNOMIAL = 0xedb88320;

function shiftByte(value) {
  for (let bit = 0; bit < 8; bit++) {
    value = value & 1 ? (value >>> 1) ^ POLYNOMIAL : value >>> 1;
  }
  return value >>> 0;
}

function makeTable() {
  const table = [];
  for (let byte = 0; byte < 256; byte++) {
    table.push(shiftByte(byte));
  }
  return table;
}

const TABLE = makeTable();

function crcByTable(bytes) {
  let crc = 0xffffffff;
  for (let i = 0; i < bytes.length; i++) {
    crc = TABLE[(crc ^ bytes[i]) & 255] ^ (crc >>> 8);
  }
  return (crc ^ 0xffffffff) >>> 0;
}

function crcByBit(bytes) {
  let crc = 0xffffffff;
  for (let i = 0; i < bytes.length; i++) {
    crc = shiftByte(crc ^ bytes[i]);
  }
  return (crc ^ 0xffffffff) >>> 0;
}

function hex(word) {
  return word.toString(16).padStart(8, "0");
}

function bytesOf(text) {
  return text.split("").map(character => character.charCodeAt(0));
}

function pattern(length) {
  const bytes = [];
  for (let i = 0; i < length; i++) {
    bytes.push((i * 7 + (i >> 8) * 31 + 3) & 255);
  }
  return bytes;
}

function report(name, bytes) {
  console.log(name, hex(crcByTable(bytes)), hex(crcByBit(bytes)));
}

report("check", bytesOf("123456789"));
report("pattern", pattern(4096));
