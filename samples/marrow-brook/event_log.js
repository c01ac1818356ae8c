// The station's event log: a ring buffer with severities, counts and plain formatting.
// Input: invented demo data.
// Run: scruple run samples/marrow-brook/event_log.js
// Prints: event_log.out

const SEVERITIES = ["debug", "info", "warning", "alarm"];

function EventLog(capacity) {
  this.capacity = capacity;
  this.entries = [];
  this.next = 0;
  this.dropped = 0;
  this.counts = SEVERITIES.map(() => 0);
}

EventLog.prototype.add = function (severity, source, text) {
  const level = SEVERITIES.indexOf(severity);
  if (level < 0) {
    throw new RangeError("no severity " + severity);
  }
  const entry = { at: clock(), level: level, source: source, text: text };
  if (this.entries.length < this.capacity) {
    this.entries.push(entry);
  } else {
    this.entries[this.next] = entry;
    this.dropped++;
  }
  this.next = (this.next + 1) % this.capacity;
  this.counts[level]++;
};

// Visits the entries from the oldest to the newest.
EventLog.prototype.forEach = function (visit) {
  const start = this.entries.length < this.capacity ? 0 : this.next;
  for (let i = 0; i < this.entries.length; i++) {
    visit(this.entries[(start + i) % this.entries.length], i);
  }
};

EventLog.prototype.select = function (least) {
  const level = SEVERITIES.indexOf(least);
  const selected = [];
  this.forEach(entry => {
    if (entry.level >= level) {
      selected.push(entry);
    }
  });
  return selected;
};

Object.defineProperty(EventLog.prototype, "worst", {
  get: function () {
    let worst = 0;
    this.forEach(entry => {
      worst = Math.max(worst, entry.level);
    });
    return SEVERITIES[worst];
  }
});

function padded(number, width) {
  return String(number).padStart(width, "0");
}

function formatTime(ms) {
  const hours = Math.floor(ms / 3600000);
  const minutes = Math.floor(ms / 60000) % 60;
  const seconds = Math.floor(ms / 1000) % 60;
  return `${padded(hours, 2)}:${padded(minutes, 2)}:${padded(seconds, 2)}.${padded(ms % 1000, 3)}`;
}

function column(text, width) {
  return text.length >= width ? text.slice(0, width) : text + " ".repeat(width - text.length);
}

function format(entry) {
  const severity = column(SEVERITIES[entry.level].toUpperCase(), 7);
  return `${formatTime(entry.at)} ${severity} ${column(entry.source, 7)} ${entry.text}`;
}

const log = new EventLog(8);

function dump(title, entries) {
  console.log(`--- ${title} (${entries.length})`);
  for (const entry of entries) {
    console.log(format(entry));
  }
}

const events = [
  [250, "info", "main", "started"],
  [1010, "debug", "gauge", "river 1421 mm"],
  [1020, "debug", "gauge", "sea 968 mm"],
  [61500, "info", "gate", "opening"],
  [97075, "warning", "gate", "slow: 34 s for 60 %"],
  [151001, "info", "gate", "open"],
  [600000, "info", "radio", "report 1 sent"],
  [1200000, "warning", "radio", "no answer, try 1"],
  [1205400, "warning", "radio", "no answer, try 2"],
  [1216300, "info", "radio", "report 2 sent"],
  [3599999, "alarm", "battery", "11790 mV"],
  [3660000, "info", "battery", "saving on"],
  [7322042, "debug", "gauge", "sea 1377 mm"]
];

for (const event of events) {
  setTimeout(() => log.add(event[1], event[2], event[3]), event[0]);
}

setTimeout(() => dump("after two minutes", log.select("debug")), 120000);

setTimeout(() => {
  dump("at the end", log.select("debug"));
  dump("warnings and worse", log.select("warning"));
  console.log(SEVERITIES.map((name, level) => `${name} ${log.counts[level]}`).join(", "));
  console.log(`dropped ${log.dropped}, worst kept: ${log.worst}`);
  try {
    log.add("fatal", "main", "no such severity");
  } catch (error) {
    console.log(error instanceof RangeError, error.name, error.message);
  }
}, 8000000);
