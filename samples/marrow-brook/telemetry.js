// JSON messages out, JSON commands in, and an answer to each, whatever its state.
// Demo only: switching real machinery needs its own review by licensed people under local codes.
// Input: invented demo data (tide.csv).
// Run: scruple run samples/marrow-brook/telemetry.js
// Prints: telemetry.out
// scruple: --until 7200000 --feed tide.csv

const MINUTE = 60000;

const limits = {
  margin_mm: { least: 20, most: 400 },
  report_minutes: { least: 5, most: 60 }
};

const settings = { margin_mm: 150, report_minutes: 20 };

let sequence = 0;
let gate = "shut";
let reportTimer = null;

function CommandError(message) {
  this.message = message;
}

CommandError.prototype = Object.create(Error.prototype);
CommandError.prototype.constructor = CommandError;
CommandError.prototype.name = "CommandError";

function send(message) {
  console.log(JSON.stringify(message));
}

function report() {
  const river = sensor("river_mm");
  const sea = sensor("sea_mm");
  sequence++;
  send({
    seq: sequence,
    t: clock() / 1000,
    levels: { river: river, sea: sea, drains: river - sea > settings.margin_mm },
    volts: Math.round(sensor("battery_mv") / 10) / 100,
    gate: gate
  });
}

function reportInTurn() {
  report();
  restartReports();
}

function restartReports() {
  if (reportTimer !== null) {
    clearTimeout(reportTimer);
  }
  reportTimer = setTimeout(reportInTurn, settings.report_minutes * MINUTE);
}

function setValue(command) {
  const limit = limits[command.name];
  if (limit === undefined) {
    throw new CommandError("no setting " + command.name);
  }
  if (typeof command.value !== "number") {
    throw new CommandError("value is a " + typeof command.value);
  }
  if (command.value < limit.least || command.value > limit.most) {
    throw new CommandError(`${command.name} goes from ${limit.least} to ${limit.most}`);
  }
  settings[command.name] = command.value;
  if (command.name === "report_minutes") {
    restartReports();
  }
  return { name: command.name, value: command.value };
}

const actions = {
  set: setValue,
  report: function () {
    report();
    return { seq: sequence };
  },
  gate: function (command) {
    if (command.to !== "open" && command.to !== "shut") {
      throw new CommandError("gate goes open or shut");
    }
    gate = command.to;
    return { gate: gate };
  }
};

function obey(command) {
  if (command === null || typeof command !== "object" || typeof command.id !== "number") {
    throw new CommandError("not a command");
  }
  if (!Object.prototype.hasOwnProperty.call(actions, command.do)) {
    throw new CommandError("cannot do " + command.do);
  }
  return actions[command.do](command);
}

function receive(text) {
  let id = null;
  try {
    const command = JSON.parse(text);
    id = command !== null && command.id !== undefined ? command.id : null;
    send({ re: id, ok: true, result: obey(command) });
  } catch (error) {
    if (error instanceof CommandError) {
      send({ re: id, ok: false, error: error.message });
    } else if (error instanceof SyntaxError) {
      send({ re: id, ok: false, error: "not JSON", length: text.length });
    } else {
      throw error;
    }
  }
}

const inbox = [
  [3, "{\"id\":1,\"do\":\"set\",\"name\":\"margin_mm\",\"value\":260}"],
  [7, "{\"id\":2,\"do\":\"report\"}"],
  [11, "{\"id\":3,\"do\":\"set\",\"name\":\"margin"],
  [13, "{\"id\":4,\"do\":\"dance\"}"],
  [17, "{\"id\":5,\"do\":\"set\",\"name\":\"report_minutes\",\"value\":90}"],
  [23, "{\"id\":6,\"do\":\"set\",\"name\":\"report_minutes\",\"value\":\"10\"}"],
  [29, "{\"id\":7,\"do\":\"set\",\"name\":\"report_minutes\",\"value\":35}"],
  [31, "{\"id\":8,\"do\":\"set\",\"name\":\"colour\",\"value\":1}"],
  [37, "null"],
  [41, "[\"gate\",\"open\"]"],
  [43, "{\"id\":9,\"do\":\"gate\",\"to\":\"half\"}"],
  [47, "{\"id\":10,\"do\":\"gate\",\"to\":\"open\"}"],
  [53, ""]
];

reportInTurn();
for (const entry of inbox) {
  setTimeout(() => receive(entry[1]), entry[0] * MINUTE);
}
