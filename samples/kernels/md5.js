// MD5 of the seven messages of the RFC's test suite.
// Published answers: RFC 1321, appendix A.5 (reproduced by an independent program).
// Run: scruple run samples/kernels/md5.js
// Prints: md5.out

const SINES = [
  0xd76aa478, 0xe8c7b756, 0x242070db, 0xc1bdceee, 0xf57c0faf, 0x4787c62a, 0xa8304613, 0xfd469501,
  0x698098d8, 0x8b44f7af, 0xffff5bb1, 0x895cd7be, 0x6b901122, 0xfd987193, 0xa679438e, 0x49b40821,
  0xf61e2562, 0xc040b340, 0x265e5a51, 0xe9b6c7aa, 0xd62f105d, 0x02441453, 0xd8a1e681, 0xe7d3fbc8,
  0x21e1cde6, 0xc33707d6, 0xf4d50d87, 0x455a14ed, 0xa9e3e905, 0xfcefa3f8, 0x676f02d9, 0x8d2a4c8a,
  0xfffa3942, 0x8771f681, 0x6d9d6122, 0xfde5380c, 0xa4beea44, 0x4bdecfa9, 0xf6bb4b60, 0xbebfbc70,
  0x289b7ec6, 0xeaa127fa, 0xd4ef3085, 0x04881d05, 0xd9d4d039, 0xe6db99e5, 0x1fa27cf8, 0xc4ac5665,
  0xf4292244, 0x432aff97, 0xab9423a7, 0xfc93a039, 0x655b59c3, 0x8f0ccc92, 0xffeff47d, 0x85845dd1,
  0x6fa87e4f, 0xfe2ce6e0, 0xa3014314, 0x4e0811a1, 0xf7537e82, 0xbd3af235, 0x2ad7d2bb, 0xeb86d391
];

const SHIFTS = [[7, 12, 17, 22], [5, 9, 14, 20], [4, 11, 16, 23], [6, 10, 15, 21]];

// The mixing function of each round, and which message word its step i takes.
const MIXERS = [
  (x, y, z) => (x & y) | (~x & z),
  (x, y, z) => (x & z) | (y & ~z),
  (x, y, z) => x ^ y ^ z,
  (x, y, z) => y ^ (x | ~z)
];
const PICKERS = [
  i => i,
  i => (5 * i + 1) & 15,
  i => (3 * i + 5) & 15,
  i => (7 * i) & 15
];

function rotateLeft(word, count) {
  return (word << count) | (word >>> (32 - count));
}

function pad(text) {
  const bytes = [];
  for (let i = 0; i < text.length; i++) {
    bytes.push(text.charCodeAt(i));
  }
  bytes.push(0x80);
  while (bytes.length % 64 !== 56) {
    bytes.push(0);
  }
  for (let shift = 0; shift < 32; shift += 8) {
    bytes.push(((text.length * 8) >>> shift) & 255);
  }
  bytes.push(0, 0, 0, 0);
  return bytes;
}

function wordsOf(bytes, offset) {
  const words = [];
  for (let at = offset; at < offset + 64; at += 4) {
    words.push(bytes[at] | (bytes[at + 1] << 8) | (bytes[at + 2] << 16) | (bytes[at + 3] << 24));
  }
  return words;
}

function digestBlock(state, words) {
  let a = state[0], b = state[1], c = state[2], d = state[3];
  for (let round = 0; round < 4; round++) {
    const mix = MIXERS[round];
    const pick = PICKERS[round];
    const shifts = SHIFTS[round];
    for (let i = 0; i < 16; i++) {
      const sum = (a + mix(b, c, d) + words[pick(i)] + SINES[round * 16 + i]) | 0;
      a = d;
      d = c;
      c = b;
      b = (b + rotateLeft(sum, shifts[i & 3])) | 0;
    }
  }
  return [state[0] + a | 0, state[1] + b | 0, state[2] + c | 0, state[3] + d | 0];
}

function hexOf(word) {
  let text = "";
  for (let shift = 0; shift < 32; shift += 8) {
    text += ((word >>> shift) & 255).toString(16).padStart(2, "0");
  }
  return text;
}

function md5(text) {
  const bytes = pad(text);
  let state = [0x67452301, 0xefcdab89 | 0, 0x98badcfe | 0, 0x10325476];
  for (let offset = 0; offset < bytes.length; offset += 64) {
    state = digestBlock(state, wordsOf(bytes, offset));
  }
  return state.map(hexOf).join("");
}

const MESSAGES = [
  "",
  "a",
  "abc",
  "message digest",
  "abcdefghijklmnopqrstuvwxyz",
  "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789",
  "1234567890".repeat(8)
];

MESSAGES.forEach(message => console.log(md5(message)));
