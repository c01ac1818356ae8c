// Energy of the sun and four planets, before and after 1,000 steps.
// Published answers: Computer Language Benchmarks Game, n-body (-0.169075164, -0.169087605).
// Run: scruple run samples/kernels/nbody.js
// Prints: nbody.out

const SOLAR_MASS = 4 * Math.PI * Math.PI;
const DAYS_PER_YEAR = 365.24;
const TIME_STEP = 0.01;

function Body(x, y, z, vx, vy, vz, mass) {
  this.x = x;
  this.y = y;
  this.z = z;
  this.vx = vx * DAYS_PER_YEAR;
  this.vy = vy * DAYS_PER_YEAR;
  this.vz = vz * DAYS_PER_YEAR;
  this.mass = mass * SOLAR_MASS;
}

function makeSystem() {
  return [
    new Body(0, 0, 0, 0, 0, 0, 1),
    new Body(
      4.84143144246472090e+00, -1.16032004402742839e+00, -1.03622044471123109e-01,
      1.66007664274403694e-03, 7.69901118419740425e-03, -6.90460016972063023e-05,
      9.54791938424326609e-04),
    new Body(
      8.34336671824457987e+00, 4.12479856412430479e+00, -4.03523417114321381e-01,
      -2.76742510726411899e-03, 4.99852801234917238e-03, 2.30417297573763929e-05,
      2.85885980666130812e-04),
    new Body(
      1.28943695621391310e+01, -1.51111514016986312e+01, -2.23307578892655734e-01,
      2.96460137564761618e-03, 2.37847173959480950e-03, -2.96589568540237556e-05,
      4.36624404335156298e-05),
    new Body(
      1.53796971148509165e+01, -2.59193146099879641e+01, 1.79258772950371181e-01,
      2.68067772490389322e-03, 1.62824170038242295e-03, -9.51592254519715870e-05,
      5.15138902046611451e-05)
  ];
}

// The sun takes the momentum that brings the sum to zero.
function balanceMomentum(bodies) {
  let px = 0, py = 0, pz = 0;
  for (const body of bodies) {
    px += body.vx * body.mass;
    py += body.vy * body.mass;
    pz += body.vz * body.mass;
  }
  const sun = bodies[0];
  sun.vx = -px / SOLAR_MASS;
  sun.vy = -py / SOLAR_MASS;
  sun.vz = -pz / SOLAR_MASS;
}

function attract(a, b) {
  const dx = a.x - b.x;
  const dy = a.y - b.y;
  const dz = a.z - b.z;
  const squared = dx * dx + dy * dy + dz * dz;
  const pull = TIME_STEP / (squared * Math.sqrt(squared));
  a.vx -= dx * b.mass * pull;
  a.vy -= dy * b.mass * pull;
  a.vz -= dz * b.mass * pull;
  b.vx += dx * a.mass * pull;
  b.vy += dy * a.mass * pull;
  b.vz += dz * a.mass * pull;
}

function advance(bodies) {
  const count = bodies.length;
  for (let i = 0; i < count; i++) {
    for (let j = i + 1; j < count; j++) {
      attract(bodies[i], bodies[j]);
    }
  }
  for (let i = 0; i < count; i++) {
    const body = bodies[i];
    body.x += TIME_STEP * body.vx;
    body.y += TIME_STEP * body.vy;
    body.z += TIME_STEP * body.vz;
  }
}

function energy(bodies) {
  let sum = 0;
  for (let i = 0; i < bodies.length; i++) {
    const a = bodies[i];
    sum += 0.5 * a.mass * (a.vx * a.vx + a.vy * a.vy + a.vz * a.vz);
    for (let j = i + 1; j < bodies.length; j++) {
      const b = bodies[j];
      const dx = a.x - b.x;
      const dy = a.y - b.y;
      const dz = a.z - b.z;
      sum -= a.mass * b.mass / Math.sqrt(dx * dx + dy * dy + dz * dz);
    }
  }
  return sum;
}

const bodies = makeSystem();
balanceMomentum(bodies);
console.log(energy(bodies).toFixed(9));
for (let step = 0; step < 1000; step++) {
  advance(bodies);
}
console.log(energy(bodies).toFixed(9));
