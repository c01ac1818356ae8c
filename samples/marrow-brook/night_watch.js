// The night watch: samples both gauges, works the gate, sends packets, obeys commands,
// raises the alarm, and saves a tired battery.
// Demo only: switching real machinery needs its own review by licensed people under local codes.
// Input: invented demo data (night.csv).
// Run: scruple run samples/marrow-brook/night_watch.js
// Prints: night_watch.out
// scruple: --until 43190000 --feed night.csv

const MINUTE = 60000;
const START = 0x4d;

const settings = {
  openAbove: 120, shutBelow: 30,
  alarmAt: 2200, alarmBand: 50, alarmSamples: 3,
  saveBelow: 11800, saveUntil: 12000,
  travelMs: 9000 // for a tenth of the way
};

function note(text) {
  const seconds = Math.floor(clock() / 1000);
  const parts = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60];
  console.log(parts.map(part => String(part).padStart(2, "0")).join(":"), text);
}

// Packets: start, type, length, payload, CRC-16 of what lies between.
function crc16(bytes) {
  let crc = 0xffff;
  for (const byte of bytes) {
    crc ^= byte << 8;
    for (let bit = 0; bit < 8; bit++) {
      crc = (crc & 0x8000 ? (crc << 1) ^ 0x1021 : crc << 1) & 0xffff;
    }
  }
  return crc;
}

const bytesOfWord = word => [(word >> 8) & 255, word & 255];

function send(type, payload) {
  const bytes = [type.charCodeAt(0), payload.length].concat(payload);
  const packet = [START].concat(bytes, bytesOfWord(crc16(bytes)));
  note("send " + packet.map(byte => byte.toString(16).padStart(2, "0")).join(""));
}

function openPacket(bytes) {
  if (bytes[0] !== START || bytes[2] !== bytes.length - 5) {
    throw new Error("not a packet");
  }
  // A CRC that runs over its own check value ends at zero.
  if (crc16(bytes.slice(1)) !== 0) {
    throw new Error("wrong CRC");
  }
  return { type: String.fromCharCode(bytes[1]), payload: bytes.slice(3, -2) };
}

function bytesOfHex(text) {
  const bytes = [];
  for (let i = 0; i < text.length; i += 2) {
    bytes.push(Number("0x" + text.slice(i, i + 2)));
  }
  return bytes;
}

// Gauges: the median of the last three readings.
function makeGauge(column) {
  let last = [];
  return {
    sample: function () {
      last = last.slice(-2).concat(sensor(column));
    },
    get level() {
      return last.slice().sort((a, b) => a - b)[last.length >> 1];
    }
  };
}

const river = makeGauge("river_mm");
const sea = makeGauge("sea_mm");

// The gate moves a tenth at a time towards its target.
const gate = { travel: 0, target: 0, held: false, timer: null, starts: 0 };

function moveGate(target) {
  gate.target = target;
  if (gate.timer === null && gate.travel !== target) {
    gate.starts++;
    note(`gate from ${gate.travel} % to ${target} %`);
    gate.timer = setInterval(stepGate, settings.travelMs);
  }
}

function stepGate() {
  gate.travel += Math.sign(gate.target - gate.travel) * 10;
  if (gate.travel === gate.target) {
    clearInterval(gate.timer);
    gate.timer = null;
    note(`gate rests at ${gate.travel} %`);
  }
}

// A tired battery still shuts the gate, but opens it only halfway.
function workGate() {
  const head = river.level - sea.level;
  if (gate.held) {
    return;
  }
  if (gate.target === 0 && head > settings.openAbove) {
    moveGate(battery.saving ? 50 : 100);
  } else if (gate.target !== 0 && head < settings.shutBelow) {
    moveGate(0);
  }
}

const battery = { saving: false };

function checkBattery() {
  const millivolts = sensor("battery_mv");
  const limit = battery.saving ? settings.saveUntil : settings.saveBelow;
  if ((millivolts < limit) !== battery.saving) {
    battery.saving = !battery.saving;
    note(`battery ${millivolts} mV, saving ${battery.saving ? "on" : "off"}`);
  }
}

const alarm = { on: false, count: 0 };

function checkAlarm() {
  const level = river.level;
  alarm.count = level >= settings.alarmAt ? alarm.count + 1 : 0;
  if (!alarm.on && alarm.count >= settings.alarmSamples) {
    alarm.on = true;
    note(`alarm: river at ${level} mm`);
    send("A", bytesOfWord(level));
  } else if (alarm.on && level < settings.alarmAt - settings.alarmBand) {
    alarm.on = false;
    note(`alarm over: river at ${level} mm`);
  }
}

function report() {
  const words = [clock() / MINUTE, river.level, sea.level, sensor("battery_mv")];
  const flags = (alarm.on ? 1 : 0) | (battery.saving ? 2 : 0) | (gate.held ? 4 : 0);
  const payload = words.reduce((bytes, word) => bytes.concat(bytesOfWord(word)), []);
  send("R", payload.concat(gate.travel, flags));
}

function reportInTurn() {
  report();
  setTimeout(reportInTurn, (battery.saving ? 90 : 45) * MINUTE);
}

function obey(packet) {
  switch (packet.type) {
    case "H":
      gate.held = true;
      moveGate(packet.payload[0]);
      return "hold at " + packet.payload[0] + " %";
    case "F":
      gate.held = false;
      return "free";
    case "Q":
      report();
      return "answered";
    default:
      throw new Error("no command " + packet.type);
  }
}

function receive(text) {
  try {
    note(obey(openPacket(bytesOfHex(text))));
  } catch (error) {
    note("refused " + text + ": " + error.message);
  }
}

// What the radio brings, by the minute.
const inbox = {
  50: "4d51002081", // question
  100: "4d51002091", // damaged
  510: "4d4801004ba1", // hold shut
  560: "4d4600ba65", // free
  600: "4d58009a19", // unknown
  620: "4d4802646783" // wrong length
};

function tick() {
  river.sample();
  sea.sample();
  checkBattery();
  checkAlarm();
  workGate();
}

tick();
setInterval(tick, MINUTE);
setTimeout(reportInTurn, 20000);
Object.keys(inbox).forEach(minute => setTimeout(() => receive(inbox[minute]), minute * MINUTE + 40000));
setTimeout(() => note(`${gate.starts} moves, gate at ${gate.travel} %, alarm ${alarm.on ? "on" : "off"}`), 43190000);
