// The radio's timetable: a slot each quarter of an hour, retries that wait longer each time,
// and a limit on air time within any hour.
// Input: invented demo data; the lossy link is simulated by minstd_rand.
// Run: scruple run samples/marrow-brook/radio_schedule.js
// Prints: radio_schedule.out
// scruple: --until 14300000

const SLOT_MS = 900000;
const HOUR_MS = 3600000;
const AIR_LIMIT_MS = 12000;
const BITS_PER_SECOND = 600;
const MOST_TRIES = 4;
const FIRST_WAIT_MS = 4000;

function makeRandom(seed) {
  let state = seed;
  return limit => {
    state = state * 48271 % 2147483647;
    return state % limit;
  };
}

const random = makeRandom(26);

const airTime = {
  spans: [],
  usedSince: function (from) {
    while (this.spans.length > 0 && this.spans[0].at <= from) {
      this.spans.shift();
    }
    return this.spans.reduce((sum, span) => sum + span.ms, 0);
  },
  allows: function (ms) {
    return this.usedSince(clock() - HOUR_MS) + ms <= AIR_LIMIT_MS;
  },
  book: function (ms) {
    this.spans.push({ at: clock(), ms: ms });
  }
};

const totals = { sent: 0, lost: 0, tries: 0, held: 0 };

function note(text) {
  const seconds = Math.floor(clock() / 1000);
  const parts = [Math.floor(seconds / 3600), Math.floor(seconds / 60) % 60, seconds % 60];
  console.log(parts.map(part => String(part).padStart(2, "0")).join(":"), text);
}

function onAirMs(bytes) {
  return Math.ceil(bytes * 8 * 1000 / BITS_PER_SECOND);
}

// Six tries in ten get through.
function linkCarries() {
  return random(10) < 6;
}

function waitBefore(tries) {
  return FIRST_WAIT_MS * (1 << (tries - 1)) + random(1000);
}

function attempt(message) {
  const ms = onAirMs(message.bytes);
  if (!airTime.allows(ms)) {
    totals.held++;
    note(`${message.name}: held, the hour's air time is used up`);
    return;
  }
  airTime.book(ms);
  message.tries++;
  totals.tries++;
  if (linkCarries()) {
    totals.sent++;
    note(`${message.name}: sent in ${ms} ms, try ${message.tries}`);
  } else if (message.tries === MOST_TRIES) {
    totals.lost++;
    note(`${message.name}: given up after ${MOST_TRIES} tries`);
  } else {
    const wait = waitBefore(message.tries);
    note(`${message.name}: no answer to try ${message.tries}, again in ${wait} ms`);
    setTimeout(() => attempt(message), wait);
  }
}

let slot = 0;

function openSlot() {
  slot++;
  attempt({ name: "report " + slot, bytes: 56 + random(96), tries: 0 });
  if (slot % 4 === 0) {
    setTimeout(() => attempt({ name: "log " + slot / 4, bytes: 240, tries: 0 }), 120500);
  }
}

function summary() {
  note(`${totals.sent} sent, ${totals.lost} lost, ${totals.held} held, ${totals.tries} tries`);
}

setInterval(openSlot, SLOT_MS);
setTimeout(summary, 14300000);
