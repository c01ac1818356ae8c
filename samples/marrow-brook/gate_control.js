// Works the tide gate: hysteresis on the level difference, and a motor with a run-time limit.
// Demo only: switching real machinery needs its own review by licensed people under local codes.
// Input: invented demo data (tide.csv).
// Run: scruple run samples/marrow-brook/gate_control.js
// Prints: gate_control.out
// scruple: --until 46790000 --feed tide.csv

const CHECK_MS = 60000;

// Head: how far the river stands above the sea, in mm.
const PART_ABOVE = 150;
const SHUT_BELOW = 40;
const FULL_ABOVE = 500;
const PART_BELOW = 400;

const TRAVEL = { shut: 0, part: 40, full: 100 };

const MOTOR = {
  stepMs: 5000,
  limitMs: 90000,
  restMs: 300000,
  stiffAbove: 450
};

const gate = {
  demand: "shut",
  travel: 0,
  motorTimer: null,
  motorMs: 0,
  resting: false,
  starts: 0,
  totalMs: 0
};

function two(number) {
  return String(number).padStart(2, "0");
}

function note(text) {
  const seconds = clock() / 1000;
  const stamp = [seconds / 3600, seconds / 60 % 60, seconds % 60].map(part => two(Math.floor(part)));
  console.log(stamp.join(":"), text);
}

function head() {
  return sensor("river_mm") - sensor("sea_mm");
}

// Each state is left at another level than it is entered at, so the gate does not chatter.
function nextDemand(demand, mm) {
  switch (demand) {
    case "shut":
      return mm > PART_ABOVE ? "part" : "shut";
    case "part":
      if (mm > FULL_ABOVE) {
        return "full";
      }
      return mm < SHUT_BELOW ? "shut" : "part";
    case "full":
      return mm < PART_BELOW ? "part" : "full";
    default:
      throw new Error("no such demand: " + demand);
  }
}

function startMotor() {
  if (gate.motorTimer !== null || gate.resting || gate.travel === TRAVEL[gate.demand]) {
    return;
  }
  gate.motorMs = 0;
  gate.starts++;
  note(`motor on at ${gate.travel} %`);
  gate.motorTimer = setInterval(turn, MOTOR.stepMs);
}

function stopMotor(reason) {
  clearInterval(gate.motorTimer);
  gate.motorTimer = null;
  gate.totalMs += gate.motorMs;
  note(`motor off at ${gate.travel} %: ${reason} after ${gate.motorMs / 1000} s`);
}

// One step of travel: a gate under a high head is stiff and moves at half the speed.
function turn() {
  const target = TRAVEL[gate.demand];
  const step = Math.abs(head()) > MOTOR.stiffAbove ? 2.5 : 5;
  gate.motorMs += MOTOR.stepMs;
  gate.travel = gate.travel < target
    ? Math.min(gate.travel + step, target)
    : Math.max(gate.travel - step, target);
  if (gate.travel === target) {
    stopMotor("in place");
  } else if (gate.motorMs >= MOTOR.limitMs) {
    stopMotor("run-time limit");
    rest();
  }
}

function rest() {
  gate.resting = true;
  setTimeout(() => {
    gate.resting = false;
    startMotor();
  }, MOTOR.restMs);
}

function check() {
  const demand = nextDemand(gate.demand, head());
  if (demand !== gate.demand) {
    note(`head ${head()} mm: ${gate.demand} -> ${demand}`);
    gate.demand = demand;
  }
  startMotor();
}

function summary() {
  note(`${gate.starts} motor starts, ${gate.totalMs / 1000} s in all, gate at ${gate.travel} %`);
}

check();
setInterval(check, CHECK_MS);
setTimeout(summary, 46790000);
