//! More hands that sweep a trimmer, no motor among them: shares of the travel,
//! 200 times a second. All of it invented, seeded.

use std::f64::consts::TAU;

use super::sweeps::{Dice, RATE_HZ};

/// A hand whose doings lie on top of an even turning out and back.
struct Turning {
    positions: Vec<f64>,
    /// +1 on the way out, −1 on the way back, 0 at rest.
    way: Vec<f64>,
}

impl Turning {
    /// Out and back in so many seconds each, with rests about them.
    fn of(ways_s: [f64; 2], dice: &mut Dice) -> Self {
        let ends = [dice.between(0.02, 0.04), dice.between(0.96, 0.98)];
        let mut turning = Self {
            positions: Vec::new(),
            way: Vec::new(),
        };
        turning.rest(ends[0], dice.between(0.5, 2.5));
        turning.turn(ends, ways_s[0]);
        turning.rest(ends[1], dice.between(0.3, 2.0));
        turning.turn([ends[1], ends[0]], ways_s[1]);
        turning.rest(ends[0], dice.between(0.5, 2.0));
        turning
    }

    fn rest(&mut self, at: f64, seconds: f64) {
        let count = (seconds * RATE_HZ) as usize;
        self.positions.extend(std::iter::repeat_n(at, count));
        self.way.extend(std::iter::repeat_n(0.0, count));
    }

    fn turn(&mut self, [from, to]: [f64; 2], seconds: f64) {
        let count = (seconds * RATE_HZ) as usize;
        let share = |k: usize| k as f64 / count as f64;
        self.positions
            .extend((0..count).map(|k| from + (to - from) * share(k)));
        self.way
            .extend(std::iter::repeat_n((to - from).signum(), count));
    }
}

fn even_ways(dice: &mut Dice) -> [f64; 2] {
    let round_s = dice.between(16.0, 40.0);
    let out = dice.between(0.42, 0.58);
    [round_s * out, round_s * (1.0 - out)]
}

/// A slow trembling of the whole hand: it goes quicker and slower 0.3 to 2
/// times a second, not to the clock.
pub fn wobbling(dice: &mut Dice) -> Vec<f64> {
    let hz = dice.between(0.3, 2.0);
    let depth = dice.between(0.4, 1.1);
    let unsteady = dice.between(0.0, 0.25);
    let mut turning = Turning::of(even_ways(dice), dice);
    let (mut phase, mut wander) = (dice.between(0.0, TAU), 0.0);
    let keep = (-1.0 / (0.8 * RATE_HZ)).exp();
    let mut moved = turning.positions[0];
    for k in 1..turning.positions.len() {
        wander = keep * wander + (1.0 - keep * keep).sqrt() * dice.gaussian();
        phase += TAU * hz * (1.0 + unsteady * wander) / RATE_HZ;
        let step = turning.positions[k] - turning.positions[k - 1];
        turning.positions[k - 1] = moved;
        moved += step * (1.0 + depth * phase.sin());
    }
    if let Some(last) = turning.positions.last_mut() {
        *last = moved;
    }
    finished(turning.positions, 0.0003, dice)
}

/// A wobble to the clock, about once a second, that nearly stands once a
/// beat; it goes on at the ends. `range` is that of the speed in percent.
pub fn beating(range: f64, dice: &mut Dice) -> Vec<f64> {
    let hz = dice.between(0.7, 1.1);
    let by = dice.between(0.14, 0.22) / range;
    let mut turning = Turning::of(even_ways(dice), dice);
    let phase = dice.between(0.0, TAU);
    for (k, position) in turning.positions.iter_mut().enumerate() {
        *position += by * (TAU * hz * k as f64 / RATE_HZ + phase).sin();
    }
    finished(turning.positions, 0.0002, dice)
}

/// The trimmer sticks until the tool is wound up far enough, then slips.
pub fn stick_slip(dice: &mut Dice) -> Vec<f64> {
    let sticks = dice.between(0.003, 0.02);
    let slips_s = dice.between(0.02, 0.08);
    let turning = Turning::of(even_ways(dice), dice);
    let mut at = turning.positions[0];
    let mut breaks_at = sticks;
    let mut slipping = false;
    let positions = turning.positions.iter().map(|&tool| {
        let wound = tool - at;
        if slipping {
            at += wound / (slips_s * RATE_HZ);
            slipping = (tool - at).abs() > 0.25 * breaks_at;
        } else if wound.abs() > breaks_at {
            slipping = true;
            breaks_at = sticks * dice.between(0.5, 1.5);
        }
        at
    });
    let positions = positions.collect();
    finished(positions, 0.0001, dice)
}

/// Turns evenly and stops often: to look, to breathe, to take hold again.
pub fn pausing(dice: &mut Dice) -> Vec<f64> {
    let turning = Turning::of(even_ways(dice), dice);
    let a_minute = dice.between(6.0, 40.0);
    let longest_s = dice.between(0.6, 3.0);
    let mut positions = Vec::new();
    for (&position, &way) in turning.positions.iter().zip(&turning.way) {
        positions.push(position);
        if way.abs() > 0.0 && dice.chance(a_minute / 60.0 / RATE_HZ) {
            let lasts = dice.between(0.2, longest_s) * RATE_HZ;
            positions.extend(std::iter::repeat_n(position, lasts as usize));
        }
    }
    finished(positions, 0.0004, dice)
}

/// One way in a few seconds, the other slowly.
pub fn fast_and_slow(dice: &mut Dice) -> Vec<f64> {
    let mut ways = [dice.between(3.0, 7.0), dice.between(12.0, 28.0)];
    if dice.chance(0.5) {
        ways.reverse();
    }
    let turning = Turning::of(ways, dice);
    let mut wander = 0.0;
    let keep = (-1.0 / (0.5 * RATE_HZ)).exp();
    let uneven = dice.between(0.1, 0.5);
    let mut before = turning.positions[0];
    let mut moved = before;
    let mut positions = Vec::new();
    for &position in &turning.positions {
        wander = keep * wander + (1.0 - keep * keep).sqrt() * dice.gaussian();
        let step = position - before;
        before = position;
        // What was gone too far is made up for, as a hand does that means to
        // reach the stop.
        let ahead = moved - position;
        moved += step * (1.0 + uneven * wander) - 4.0 * ahead * step.abs();
        positions.push(moved);
    }
    finished(positions, 0.0005, dice)
}

/// A strong tremor that swells and dies away, 4 to 12 Hz.
pub fn tremor(dice: &mut Dice) -> Vec<f64> {
    let hz = dice.between(4.0, 12.0);
    let swells_hz = dice.between(0.1, 1.2);
    let by = dice.between(0.002, 0.006);
    let mut turning = Turning::of(even_ways(dice), dice);
    let (mut phase, swell) = (0.0, dice.between(0.0, TAU));
    for (k, position) in turning.positions.iter_mut().enumerate() {
        phase += TAU * (hz + 1.5 * dice.gaussian()) / RATE_HZ;
        let swollen = 0.5 + 0.5 * (TAU * swells_hz * k as f64 / RATE_HZ + swell).sin();
        *position += by * swollen * phase.sin();
    }
    finished(turning.positions, 0.0003, dice)
}

/// Turns as far as the wrist goes, quickly at first and creeping as it
/// stiffens; then the screwdriver comes out, the slot springs back a little, and
/// setting the blade in again nudges it.
pub fn regripping(dice: &mut Dice) -> Vec<f64> {
    let stroke = dice.between(0.07, 0.2);
    let stiffness = dice.between(1.0, 3.5);
    let springs = dice.between(0.0, 0.006);
    let nudge = dice.between(0.0, 0.002);
    let grip_s = dice.between(0.4, 1.1);
    let stroke_s = dice.between(0.8, 2.2);
    let ends = [dice.between(0.01, 0.03), dice.between(0.97, 0.99)];
    let mut path = Path::at(ends[0], dice.between(0.5, 2.0));
    for target in [ends[1], ends[0]] {
        let way = (target - path.now()).signum();
        while (target - path.now()) * way > 0.01 {
            let left = (target - path.now()).abs();
            let by = way * (stroke * dice.between(0.7, 1.3)).min(left);
            let full = 1.0 - (-stiffness).exp();
            path.go(by, stroke_s * dice.between(0.7, 1.3), |u| {
                (1.0 - (-stiffness * u).exp()) / full
            });
            path.rest(dice.between(0.05, 0.3));
            path.go(-way * springs * dice.unit(), 0.06, |u| u);
            path.rest(grip_s * dice.between(0.6, 1.4));
            path.go(nudge * dice.gaussian(), 0.08, |u| u);
        }
        path.rest(dice.between(0.3, 1.5));
    }
    finished(path.positions, 0.0003, dice)
}

/// A finger on a wheel: short quick pushes, much alike and to a rhythm, and the
/// wheel goes back a little when the finger is lifted.
pub fn thumbing(dice: &mut Dice) -> Vec<f64> {
    let push = dice.between(0.03, 0.09);
    let alike = dice.between(0.05, 0.25);
    let push_s = dice.between(0.2, 0.45);
    let lifts_s = dice.between(0.2, 0.6);
    let back = dice.between(0.0, 0.1);
    let ends = [dice.between(0.02, 0.04), dice.between(0.96, 0.98)];
    let mut path = Path::at(ends[0], dice.between(0.5, 2.0));
    for target in [ends[1], ends[0]] {
        let way = (target - path.now()).signum();
        while (target - path.now()) * way > 0.01 {
            let left = (target - path.now()).abs();
            let uneven = |dice: &mut Dice| dice.between(1.0 - alike, 1.0 + alike);
            let by = (push * uneven(dice)).min(left);
            path.go(way * by, push_s * uneven(dice), |u| u * (2.0 - u));
            path.go(-way * by * back * dice.unit(), 0.08, |u| u);
            path.rest(lifts_s * uneven(dice));
        }
        path.rest(dice.between(0.3, 1.5));
    }
    finished(path.positions, 0.0004, dice)
}

/// A hand that goes from place to place.
struct Path {
    positions: Vec<f64>,
}

impl Path {
    fn at(start: f64, rests_s: f64) -> Self {
        let mut path = Self {
            positions: vec![start],
        };
        path.rest(rests_s);
        path
    }

    fn now(&self) -> f64 {
        self.positions[self.positions.len() - 1]
    }

    fn rest(&mut self, seconds: f64) {
        self.go(0.0, seconds, |u| u);
    }

    /// By a share of the travel, along a course from 0 to 1.
    fn go(&mut self, by: f64, seconds: f64, course: impl Fn(f64) -> f64) {
        let start = self.now();
        let count = (seconds * RATE_HZ) as usize;
        self.positions
            .extend((1..=count).map(|k| start + by * course(k as f64 / count as f64)));
    }
}

/// With the little trembling that every hand has, between the stops.
fn finished(mut positions: Vec<f64>, tremble: f64, dice: &mut Dice) -> Vec<f64> {
    // Nothing turns in no time: fingers and shaft follow within 40 ms.
    let mut followed = positions[0];
    for position in &mut positions {
        followed += (*position - followed) / (0.04 * RATE_HZ);
        *position = followed;
    }
    super::sweeps::shaken(&mut positions, tremble, dice);
    positions
}
