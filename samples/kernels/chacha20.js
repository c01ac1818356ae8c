// The ChaCha20 quarter round, block function and cipher.
// Published answers: RFC 8439, sections 2.1.1, 2.3.2 and 2.4.2 (reproduced by an independent program).
// The round trip over 4,096 bytes is checked by the script itself.
// Run: scruple run samples/kernels/chacha20.js
// Prints: chacha20.out

const CONSTANTS = [0x61707865, 0x3320646e, 0x79622d32, 0x6b206574];

function rotateLeft(word, count) {
  return (word << count) | (word >>> (32 - count));
}

function quarterRound(state, a, b, c, d) {
  state[a] = (state[a] + state[b]) | 0;
  state[d] = rotateLeft(state[d] ^ state[a], 16);
  state[c] = (state[c] + state[d]) | 0;
  state[b] = rotateLeft(state[b] ^ state[c], 12);
  state[a] = (state[a] + state[b]) | 0;
  state[d] = rotateLeft(state[d] ^ state[a], 8);
  state[c] = (state[c] + state[d]) | 0;
  state[b] = rotateLeft(state[b] ^ state[c], 7);
}

function doubleRound(state) {
  quarterRound(state, 0, 4, 8, 12);
  quarterRound(state, 1, 5, 9, 13);
  quarterRound(state, 2, 6, 10, 14);
  quarterRound(state, 3, 7, 11, 15);
  quarterRound(state, 0, 5, 10, 15);
  quarterRound(state, 1, 6, 11, 12);
  quarterRound(state, 2, 7, 8, 13);
  quarterRound(state, 3, 4, 9, 14);
}

function wordsOf(bytes) {
  const words = [];
  for (let i = 0; i < bytes.length; i += 4) {
    words.push(bytes[i] | (bytes[i + 1] << 8) | (bytes[i + 2] << 16) | (bytes[i + 3] << 24));
  }
  return words;
}

function blockWords(key, counter, nonce) {
  const start = CONSTANTS.concat(key, [counter], nonce);
  const state = start.slice();
  for (let round = 0; round < 10; round++) {
    doubleRound(state);
  }
  return state.map((word, i) => (word + start[i]) | 0);
}

// Encrypting and decrypting are the same step.
function cipher(key, counter, nonce, bytes) {
  const result = [];
  let block = [];
  for (let i = 0; i < bytes.length; i++) {
    if (i % 64 === 0) {
      block = blockWords(key, counter + i / 64, nonce);
    }
    const stream = (block[(i % 64) >> 2] >>> ((i & 3) * 8)) & 255;
    result.push(bytes[i] ^ stream);
  }
  return result;
}

function hexWord(word) {
  return (word >>> 0).toString(16).padStart(8, "0");
}

function hexBytes(bytes) {
  return bytes.map(byte => byte.toString(16).padStart(2, "0")).join("");
}

function range(length) {
  const numbers = [];
  for (let i = 0; i < length; i++) {
    numbers.push(i);
  }
  return numbers;
}

function zeros(length) {
  return range(length).map(() => 0);
}

const key = wordsOf(range(32));

const quarter = [0x11111111, 0x01020304, 0x9b8d6f43 | 0, 0x01234567];
quarterRound(quarter, 0, 1, 2, 3);
console.log(quarter.map(hexWord).join(" "));

const blockNonce = wordsOf([0, 0, 0, 9, 0, 0, 0, 0x4a, 0, 0, 0, 0]);
const state = blockWords(key, 1, blockNonce);
for (let row = 0; row < 16; row += 4) {
  console.log(state.slice(row, row + 4).map(hexWord).join(" "));
}
console.log(hexBytes(cipher(key, 1, blockNonce, zeros(64))));

const textNonce = wordsOf([0, 0, 0, 0, 0, 0, 0, 0x4a, 0, 0, 0, 0]);
const text = "Ladies and Gentlemen of the class of '99: If I could offer you only one tip " +
  "for the future, sunscreen would be it.";
const plain = text.split("").map(character => character.charCodeAt(0));
const sealed = cipher(key, 1, textNonce, plain);
console.log(hexBytes(sealed));
console.log(String.fromCharCode.apply(null, cipher(key, 1, textNonce, sealed)));

const long = range(4096).map(i => (i * 11) & 255);
const twice = cipher(key, 7, textNonce, cipher(key, 7, textNonce, long));
console.log(twice.every((byte, i) => byte === long[i]));
