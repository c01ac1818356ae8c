// Base64: encode and decode.
// Published answers: RFC 4648, section 10, all seven vectors.
// The checks on the 1,024-byte pattern are computed by an independent program.
// Run: scruple run samples/kernels/base64.js
// Prints: base64.out

const ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

function encode(bytes) {
  const text = [];
  for (let i = 0; i < bytes.length; i += 3) {
    const left = bytes.length - i;
    const group = (bytes[i] << 16) | (left > 1 ? bytes[i + 1] << 8 : 0) | (left > 2 ? bytes[i + 2] : 0);
    text.push(ALPHABET.charAt(group >> 18));
    text.push(ALPHABET.charAt((group >> 12) & 63));
    text.push(left > 1 ? ALPHABET.charAt((group >> 6) & 63) : "=");
    text.push(left > 2 ? ALPHABET.charAt(group & 63) : "=");
  }
  return text.join("");
}

function makeReverse() {
  const reverse = {};
  for (let i = 0; i < ALPHABET.length; i++) {
    reverse[ALPHABET.charAt(i)] = i;
  }
  return reverse;
}

const REVERSE = makeReverse();

function decode(text) {
  const bytes = [];
  let bits = 0;
  let held = 0;
  for (const character of text) {
    if (character === "=") {
      break;
    }
    if (!(character in REVERSE)) {
      throw new Error("not a base64 character: " + character);
    }
    bits = ((bits << 6) | REVERSE[character]) & 0xffff;
    held += 6;
    if (held >= 8) {
      held -= 8;
      bytes.push((bits >> held) & 255);
    }
  }
  return bytes;
}

function bytesOf(text) {
  const bytes = [];
  for (let i = 0; i < text.length; i++) {
    bytes.push(text.charCodeAt(i));
  }
  return bytes;
}

function textOf(bytes) {
  return String.fromCharCode.apply(null, bytes);
}

function checkVectors() {
  const vectors = ["", "f", "fo", "foo", "foob", "fooba", "foobar"];
  for (const vector of vectors) {
    const encoded = encode(bytesOf(vector));
    console.log(`"${vector}" "${encoded}" "${textOf(decode(encoded))}"`);
  }
}

function checkPattern() {
  const bytes = [];
  for (let i = 0; i < 1024; i++) {
    bytes.push((i * 89 + 17) & 255);
  }
  const encoded = encode(bytes);
  const decoded = decode(encoded);
  const same = decoded.length === bytes.length && decoded.every((byte, i) => byte === bytes[i]);
  console.log(encoded.length, encoded.slice(0, 24), encoded.slice(-24), same);
}

function checkRefusal() {
  try {
    decode("Zm9v!mFy");
  } catch (error) {
    console.log(error.message);
  }
}

checkVectors();
checkPattern();
checkRefusal();
