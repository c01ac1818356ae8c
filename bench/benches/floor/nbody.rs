//! The sun and four planets, as in the Computer Language Benchmarks Game.
//!
//! It owns the bodies and the order of the additions, which the last digits
//! depend on.

use std::f64::consts::PI;
use std::hint::black_box;

const SOLAR_MASS: f64 = 4.0 * PI * PI;
const DAYS_PER_YEAR: f64 = 365.24;
const TIME_STEP: f64 = 0.01;

/// Place, speed by the day, and mass by the sun's, of the four planets.
const PLANETS: [([f64; 3], [f64; 3], f64); 4] = [
    (
        [4.841_431_442_464_72, -1.160_320_044_027_428_4, -1.036_220_444_711_231_1e-1],
        [1.660_076_642_744_037e-3, 7.699_011_184_197_404e-3, -6.904_600_169_720_63e-5],
        9.547_919_384_243_266e-4,
    ),
    (
        [8.343_366_718_244_58, 4.124_798_564_124_305, -4.035_234_171_143_214e-1],
        [-2.767_425_107_268_624e-3, 4.998_528_012_349_172e-3, 2.304_172_975_737_639_3e-5],
        2.858_859_806_661_308e-4,
    ),
    (
        [1.289_436_956_213_913_1e1, -1.511_115_140_169_863_1e1, -2.233_075_788_926_557_3e-1],
        [2.964_601_375_647_616e-3, 2.378_471_739_594_809_5e-3, -2.965_895_685_402_375_6e-5],
        4.366_244_043_351_563e-5,
    ),
    (
        [1.537_969_711_485_091_7e1, -2.591_931_460_998_796_4e1, 1.792_587_729_503_711_8e-1],
        [2.680_677_724_903_893_2e-3, 1.628_241_700_382_423e-3, -9.515_922_545_197_159e-5],
        5.151_389_020_466_114_5e-5,
    ),
];

struct Body {
    place: [f64; 3],
    speed: [f64; 3],
    mass: f64,
}

/// The energy before and after 1,000 steps.
pub(crate) fn run() -> String {
    let mut bodies = make_system();
    balance_momentum(&mut bodies);
    let before = energy(&bodies);
    for _ in 0..black_box(1000) {
        advance(&mut bodies);
    }
    format!("{before:.9}\n{:.9}\n", energy(&bodies))
}

fn make_system() -> Vec<Body> {
    let sun = Body { place: [0.0; 3], speed: [0.0; 3], mass: SOLAR_MASS };
    let planets = black_box(PLANETS).map(|(place, speed, mass)| Body {
        place,
        speed: speed.map(|by_the_day| by_the_day * DAYS_PER_YEAR),
        mass: mass * SOLAR_MASS,
    });
    std::iter::once(sun).chain(planets).collect()
}

/// The sun takes the momentum that brings the sum to zero.
fn balance_momentum(bodies: &mut [Body]) {
    for axis in 0..3 {
        let sum: f64 = bodies.iter().map(|body| body.speed[axis] * body.mass).sum();
        bodies[0].speed[axis] = -sum / SOLAR_MASS;
    }
}

fn between(a: &Body, b: &Body) -> ([f64; 3], f64) {
    let [dx, dy, dz] = [0, 1, 2].map(|axis| a.place[axis] - b.place[axis]);
    ([dx, dy, dz], dx * dx + dy * dy + dz * dz)
}

fn advance(bodies: &mut [Body]) {
    for first in 0..bodies.len() {
        let (head, rest) = bodies.split_at_mut(first + 1);
        let a = &mut head[first];
        for b in rest {
            let (way, squared) = between(a, b);
            let pull = TIME_STEP / (squared * squared.sqrt());
            for (axis, &step) in way.iter().enumerate() {
                a.speed[axis] -= step * b.mass * pull;
                b.speed[axis] += step * a.mass * pull;
            }
        }
    }
    for body in bodies {
        for axis in 0..3 {
            body.place[axis] += TIME_STEP * body.speed[axis];
        }
    }
}

fn energy(bodies: &[Body]) -> f64 {
    let mut sum = 0.0;
    for (index, a) in bodies.iter().enumerate() {
        let [vx, vy, vz] = a.speed;
        sum += 0.5 * a.mass * (vx * vx + vy * vy + vz * vz);
        for b in &bodies[index + 1..] {
            let (_, squared) = between(a, b);
            sum -= a.mass * b.mass / squared.sqrt();
        }
    }
    sum
}
