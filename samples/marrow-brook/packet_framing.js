// Frames for the radio link: byte stuffing, and a CRC-16 at the end of each packet.
// Known answer: 29b1, the usual check value of this CRC for "123456789" (computed).
// Input: invented demo data.
// Run: scruple run samples/marrow-brook/packet_framing.js
// Prints: packet_framing.out

const FLAG = 0x7e;
const ESCAPE = 0x7d;
const FLIP = 0x20;

// Polynomial x^16 + x^12 + x^5 + 1, starting from all ones, highest bit first.
function crc16(bytes) {
  let crc = 0xffff;
  for (const byte of bytes) {
    crc ^= byte << 8;
    for (let bit = 0; bit < 8; bit++) {
      crc = crc & 0x8000 ? (crc << 1) ^ 0x1021 : crc << 1;
    }
    crc &= 0xffff;
  }
  return crc;
}

function bytesOf(text) {
  const bytes = [];
  for (let i = 0; i < text.length; i++) {
    bytes.push(text.charCodeAt(i));
  }
  return bytes;
}

function hex(bytes) {
  return bytes.map(byte => byte.toString(16).padStart(2, "0")).join(" ");
}

function stuff(bytes) {
  const stuffed = [FLAG];
  for (const byte of bytes) {
    if (byte === FLAG || byte === ESCAPE) {
      stuffed.push(ESCAPE, byte ^ FLIP);
    } else {
      stuffed.push(byte);
    }
  }
  stuffed.push(FLAG);
  return stuffed;
}

function makeFrame(payload) {
  const crc = crc16(payload);
  return stuff(payload.concat(crc >> 8, crc & 255));
}

// Takes the line one byte at a time; gives whole packets to `onPacket`.
function makeReceiver(onPacket, onError) {
  let held = [];
  let escaped = false;

  function close() {
    if (held.length === 0) {
      return;
    }
    if (held.length < 3) {
      onError("too short: " + held.length);
      return;
    }
    const payload = held.slice(0, -2);
    const sent = (held[held.length - 2] << 8) | held[held.length - 1];
    if (crc16(payload) === sent) {
      onPacket(payload);
    } else {
      onError(`wrong CRC: ${sent.toString(16)} sent, ${crc16(payload).toString(16)} found`);
    }
  }

  return function (byte) {
    if (byte === FLAG) {
      close();
      held = [];
      escaped = false;
    } else if (byte === ESCAPE) {
      escaped = true;
    } else {
      held.push(escaped ? byte ^ FLIP : byte);
      escaped = false;
    }
  };
}

function levelPayload(river, sea) {
  return [0x4c, river >> 8, river & 255, sea >> 8, sea & 255];
}

console.log("check value", crc16(bytesOf("123456789")).toString(16));

const frames = [
  makeFrame(bytesOf("gate shut")),
  makeFrame(levelPayload(1406, 893)),
  makeFrame(levelPayload(0x7e7d, 0x7d7e))
];
frames.forEach(frame => console.log("send", hex(frame)));

let good = 0;
const receive = makeReceiver(
  payload => {
    good++;
    console.log("receive", hex(payload));
  },
  reason => console.log("refuse", reason));

let line = [0x00, 0x55];
for (const frame of frames) {
  line = line.concat(frame);
}
line.forEach(receive);

// The same line with one bit turned over in each of two frames.
const noisy = line.slice();
noisy[5] ^= 0x04;
noisy[20] ^= 0x40;
noisy.forEach(receive);
console.log(`${good} good packets`);
