// The Mandelbrot set as a 200 by 200 bitmap in the P4 format; prints the file's MD5.
// Published answer: Computer Language Benchmarks Game, mandelbrot, n = 200
// (MD5 of the image: cc65e64bd553ed18896de1dfe7fae3e5, computed).
// Run: scruple run samples/kernels/mandelbrot.js
// Prints: mandelbrot.out

const SIZE = 200;
const MOST_STEPS = 50;
const SHIFTS = [7, 12, 17, 22, 5, 9, 14, 20, 4, 11, 16, 23, 6, 10, 15, 21];

function isInside(cr, ci) {
  let zr = 0, zi = 0, zr2 = 0, zi2 = 0;
  for (let step = 0; step < MOST_STEPS; step++) {
    zi = 2 * zr * zi + ci;
    zr = zr2 - zi2 + cr;
    zr2 = zr * zr;
    zi2 = zi * zi;
    if (zr2 + zi2 > 4) {
      return false;
    }
  }
  return true;
}

function drawRow(y, bytes) {
  const ci = 2 * y / SIZE - 1;
  for (let x = 0; x < SIZE; x += 8) {
    let byte = 0;
    for (let bit = 0; bit < 8; bit++) {
      byte = (byte << 1) | (isInside(2 * (x + bit) / SIZE - 1.5, ci) ? 1 : 0);
    }
    bytes.push(byte);
  }
}

function drawFile() {
  const bytes = [];
  const header = `P4\n${SIZE} ${SIZE}\n`;
  for (let i = 0; i < header.length; i++) {
    bytes.push(header.charCodeAt(i));
  }
  for (let y = 0; y < SIZE; y++) {
    drawRow(y, bytes);
  }
  return bytes;
}

// RFC 1321 defines its table by the sine function.
function makeSines() {
  const sines = [];
  for (let i = 1; i <= 64; i++) {
    sines.push(Math.floor(Math.abs(Math.sin(i)) * 4294967296));
  }
  return sines;
}

// Appends the padding in place: the file is not needed afterwards.
function padInPlace(bytes) {
  const bits = bytes.length * 8;
  bytes.push(0x80);
  while (bytes.length % 64 !== 56) {
    bytes.push(0);
  }
  for (let shift = 0; shift < 32; shift += 8) {
    bytes.push((bits >>> shift) & 255);
  }
  bytes.push(0, 0, 0, 0);
}

function wordAt(bytes, at) {
  return bytes[at] | (bytes[at + 1] << 8) | (bytes[at + 2] << 16) | (bytes[at + 3] << 24);
}

function digestBlock(state, bytes, offset, sines) {
  let a = state[0], b = state[1], c = state[2], d = state[3];
  for (let i = 0; i < 64; i++) {
    const round = i >> 4;
    let mixed, word;
    if (round === 0) {
      mixed = (b & c) | (~b & d);
      word = i;
    } else if (round === 1) {
      mixed = (b & d) | (c & ~d);
      word = (5 * i + 1) & 15;
    } else if (round === 2) {
      mixed = b ^ c ^ d;
      word = (3 * i + 5) & 15;
    } else {
      mixed = c ^ (b | ~d);
      word = (7 * i) & 15;
    }
    const sum = (a + mixed + sines[i] + wordAt(bytes, offset + word * 4)) | 0;
    const shift = SHIFTS[round * 4 + (i & 3)];
    a = d;
    d = c;
    c = b;
    b = (b + ((sum << shift) | (sum >>> (32 - shift)))) | 0;
  }
  state[0] = (state[0] + a) | 0;
  state[1] = (state[1] + b) | 0;
  state[2] = (state[2] + c) | 0;
  state[3] = (state[3] + d) | 0;
}

function hexOf(word) {
  let text = "";
  for (let shift = 0; shift < 32; shift += 8) {
    text += ((word >>> shift) & 255).toString(16).padStart(2, "0");
  }
  return text;
}

function md5(bytes) {
  const sines = makeSines();
  const state = [0x67452301, 0xefcdab89 | 0, 0x98badcfe | 0, 0x10325476];
  padInPlace(bytes);
  for (let offset = 0; offset < bytes.length; offset += 64) {
    digestBlock(state, bytes, offset, sines);
  }
  return state.map(hexOf).join("");
}

console.log(md5(drawFile()));
