// SHA-256 of three messages.
// Published answers: FIPS 180-4 ("abc", and the two-block message of its examples).
// The digest of 1,000 times "a" is computed, and the others reproduced, by an independent program.
// Run: scruple run samples/kernels/sha256.js
// Prints: sha256.out

const ROUND_CONSTANTS = [
  0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
  0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
  0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
  0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
  0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
  0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
  0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
  0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2
];

const INITIAL_STATE = [
  0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a, 0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19
];

function rotateRight(word, count) {
  return (word >>> count) | (word << (32 - count));
}

function bytesOf(text) {
  const bytes = [];
  for (let i = 0; i < text.length; i++) {
    bytes.push(text.charCodeAt(i));
  }
  return bytes;
}

// A one bit, zeros, and the length in bits as a 64-bit big-endian number.
function pad(bytes) {
  const message = bytes.slice();
  message.push(0x80);
  while (message.length % 64 !== 56) {
    message.push(0);
  }
  message.push(0, 0, 0, 0);
  for (let shift = 24; shift >= 0; shift -= 8) {
    message.push(((bytes.length * 8) >>> shift) & 255);
  }
  return message;
}

function expand(schedule, message, offset) {
  for (let t = 0; t < 16; t++) {
    const at = offset + t * 4;
    schedule[t] = (message[at] << 24) | (message[at + 1] << 16) | (message[at + 2] << 8) | message[at + 3];
  }
  for (let t = 16; t < 64; t++) {
    const x = schedule[t - 15];
    const y = schedule[t - 2];
    const sigma0 = rotateRight(x, 7) ^ rotateRight(x, 18) ^ (x >>> 3);
    const sigma1 = rotateRight(y, 17) ^ rotateRight(y, 19) ^ (y >>> 10);
    schedule[t] = (schedule[t - 16] + sigma0 + schedule[t - 7] + sigma1) | 0;
  }
}

function compress(state, schedule) {
  let a = state[0], b = state[1], c = state[2], d = state[3];
  let e = state[4], f = state[5], g = state[6], h = state[7];
  for (let t = 0; t < 64; t++) {
    const sum1 = rotateRight(e, 6) ^ rotateRight(e, 11) ^ rotateRight(e, 25);
    const choice = (e & f) ^ (~e & g);
    const first = (h + sum1 + choice + ROUND_CONSTANTS[t] + schedule[t]) | 0;
    const sum0 = rotateRight(a, 2) ^ rotateRight(a, 13) ^ rotateRight(a, 22);
    const majority = (a & b) ^ (a & c) ^ (b & c);
    const second = (sum0 + majority) | 0;
    h = g;
    g = f;
    f = e;
    e = (d + first) | 0;
    d = c;
    c = b;
    b = a;
    a = (first + second) | 0;
  }
  const worked = [a, b, c, d, e, f, g, h];
  for (let i = 0; i < 8; i++) {
    state[i] = (state[i] + worked[i]) | 0;
  }
}

function sha256(bytes) {
  const message = pad(bytes);
  const state = INITIAL_STATE.slice();
  const schedule = [];
  for (let offset = 0; offset < message.length; offset += 64) {
    expand(schedule, message, offset);
    compress(state, schedule);
  }
  return state.map(word => (word >>> 0).toString(16).padStart(8, "0")).join("");
}

console.log(sha256(bytesOf("abc")));
console.log(sha256(bytesOf("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq")));
console.log(sha256(bytesOf("a".repeat(1000))));
