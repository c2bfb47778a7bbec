//! Sweeps of invented trimmers, written apart from the simulated machine: a
//! hand made of separate movements, a transport, faults of several shapes.

use std::f64::consts::TAU;

pub use super::dice::Quick as Dice;

/// Values a second of a track.
pub const RATE_HZ: f64 = 200.0;

/// What a bad spot does to the speed while the wiper is on it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Off by its depth, all the way.
    Box,
    /// Off by its depth in the middle, less towards its edges.
    Bump,
    /// Off by anything from nothing to its depth, changing all the time.
    Random,
    /// The resistance does not change all along it; beyond it goes on from
    /// there. No depth.
    Dead,
}

/// A bad spot: centre and width as shares of the travel, depth in percent.
#[derive(Clone, Copy, Debug)]
pub struct Fault {
    pub shape: Shape,
    pub centre: f64,
    pub width: f64,
    pub depth: f64,
}

/// A sweep and all that is known of it.
#[derive(Clone, Debug)]
pub struct Sweep {
    pub low: f64,
    pub high: f64,
    pub lag_s: f64,
    pub flutter_percent: f64,
    pub drift_percent_per_s: f64,
    pub faults: Vec<Fault>,
    /// The speed follows the wiper with so much play, in percent of speed: a
    /// place of the track gives less on the way up than on the way down.
    pub backlash_percent: f64,
    /// Where the hand has the trimmer, 200 times a second.
    pub positions: Vec<f64>,
}

impl Sweep {
    /// Everything by chance within the usual limits; no fault.
    pub fn clean(positions: Vec<f64>, dice: &mut Dice) -> Self {
        let range = dice.between(6.0, 20.0);
        let right = dice.between(0.3, 0.7);
        Self {
            low: -right * range,
            high: (1.0 - right) * range,
            lag_s: dice.between(0.05, 0.25),
            flutter_percent: dice.between(0.05, 0.15),
            drift_percent_per_s: dice.between(-0.003, 0.003),
            faults: Vec::new(),
            backlash_percent: 0.0,
            positions,
        }
    }

    /// The speed that a clean wiper gives at a place.
    pub fn percent_at(&self, position: f64) -> f64 {
        self.low + (self.high - self.low) * position
    }

    /// Where the wiper stands electrically: dead places do not count.
    pub fn electrical(&self, position: f64) -> f64 {
        let dead = self.faults.iter().filter(|it| it.shape == Shape::Dead);
        let lost = dead.map(|it| (position - it.centre + it.width / 2.0).clamp(0.0, it.width));
        position - lost.sum::<f64>()
    }

    /// A fault somewhere in the middle eight tenths.
    pub fn with_fault(mut self, shape: Shape, depth: f64, dice: &mut Dice) -> Self {
        let fault = Fault {
            shape,
            centre: dice.between(0.1, 0.9),
            width: dice.between(0.02, 0.05),
            depth: depth * dice.sign(),
        };
        self.faults.push(fault);
        self
    }

    /// Shortest time in seconds that the wiper is on a fault in one crossing.
    pub fn shortest_dwell_s(&self) -> f64 {
        let on = |position: f64| {
            self.faults
                .iter()
                .any(|fault| (position - fault.centre).abs() < fault.width / 2.0)
        };
        let half = self.positions.len() / 2;
        let time = |part: &[f64]| part.iter().filter(|&&p| on(p)).count() as f64 / RATE_HZ;
        time(&self.positions[..half]).min(time(&self.positions[half..]))
    }

    /// The speed deviation in percent, 200 times a second.
    pub fn track(&self, dice: &mut Dice) -> Vec<f64> {
        let mut flutter = Flutter::new(self.flutter_percent, dice);
        let mut contact = 0.5;
        let mut motor = None;
        let gain = 1.0 - (-1.0 / (RATE_HZ * self.lag_s)).exp();
        let mut track = Vec::with_capacity(self.positions.len());
        let play = self.backlash_percent / (self.high - self.low) / 2.0;
        let mut followed = self.positions.first().copied().unwrap_or(0.0);
        for (k, &position) in self.positions.iter().enumerate() {
            if dice.chance(12.0 / RATE_HZ) {
                contact = dice.unit();
            }
            let added: f64 = self
                .faults
                .iter()
                .map(|fault| fault.percent(position, contact))
                .sum();
            followed = followed.clamp(position - play, position + play);
            let aim = self.percent_at(self.electrical(followed)) + added;
            let motor = motor.get_or_insert(aim);
            *motor += gain * (aim - *motor);
            let drift = self.drift_percent_per_s * k as f64 / RATE_HZ;
            let wavering = flutter.next(k as f64 / RATE_HZ, dice);
            track.push(*motor + drift + wavering);
        }
        track
    }
}

impl Fault {
    fn percent(&self, position: f64, contact: f64) -> f64 {
        let aside = (position - self.centre) / (self.width / 2.0);
        if aside.abs() >= 1.0 {
            return 0.0;
        }
        self.depth
            * match self.shape {
                Shape::Box => 1.0,
                Shape::Bump => 0.5 * (1.0 + (0.5 * TAU * aside).cos()),
                Shape::Random => contact,
                Shape::Dead => 0.0,
            }
    }
}

/// Wow and flutter whose strongest line has the stated peak.
struct Flutter {
    lines: Vec<(f64, f64, f64)>,
    noise: f64,
    slow: f64,
}

impl Flutter {
    fn new(peak_percent: f64, dice: &mut Dice) -> Self {
        let mut line = |low: f64, high: f64, share: f64| {
            let share = share * dice.between(0.6, 1.0);
            (
                dice.between(low, high),
                peak_percent * share,
                dice.between(0.0, TAU),
            )
        };
        let lines = vec![
            line(0.4, 0.9, 1.0),
            line(1.0, 2.0, 0.4),
            line(2.5, 4.0, 0.3),
            line(5.0, 9.0, 0.5),
            line(15.0, 45.0, 0.3),
        ];
        Self {
            lines,
            noise: 0.25 * peak_percent,
            slow: 0.0,
        }
    }

    fn next(&mut self, t: f64, dice: &mut Dice) -> f64 {
        self.slow += -self.slow / (0.3 * RATE_HZ) + 0.02 * self.noise * dice.gaussian();
        let lines: f64 = self
            .lines
            .iter()
            .map(|(hz, peak, phase)| peak * (TAU * hz * t + phase).sin())
            .sum();
        lines + self.slow + self.noise * dice.gaussian()
    }
}

/// A hand made of separate movements, each with the smoothest course from rest
/// to rest (minimum jerk, Flash and Hogan 1985), overlapping, with new grips
/// now and then, and trembling on top.
pub fn movements(dice: &mut Dice) -> Vec<f64> {
    let round_trip_s = dice.between(16.0, 40.0);
    let one_way_s = round_trip_s / 2.0;
    let each_s = dice.between(0.5, 1.6);
    let overlap = dice.between(0.2, 0.6);
    let regrips = dice.chance(0.6);
    let tremble = dice.between(0.0002, 0.0015);
    let ends = [dice.between(0.0, 0.03), dice.between(0.97, 1.0)];
    let mut moves: Vec<(f64, f64, f64)> = Vec::new();
    let mut t = dice.between(0.3, 2.0);
    let mut at = ends[0];
    for target in [ends[1], ends[0]] {
        let sign: f64 = if target > at { 1.0 } else { -1.0 };
        let mean = each_s * (1.0 - overlap) / one_way_s;
        while (target - at) * sign > 1e-9 {
            let lasts = each_s * dice.between(0.7, 1.4);
            let by = (mean * dice.between(0.5, 1.5)).min((target - at).abs());
            moves.push((t, lasts, sign * by));
            at += sign * by;
            t += lasts * (1.0 - overlap);
            if regrips && dice.chance(0.08) {
                t += dice.between(0.2, 0.8);
            }
            if dice.chance(0.02) {
                let back = 0.4 * by;
                t += lasts * overlap;
                moves.push((t, 0.4, -sign * back));
                at -= sign * back;
                t += 0.5;
            }
        }
        t += each_s + dice.between(0.0, 2.0);
    }
    let count = ((t + dice.between(0.3, 1.0)) * RATE_HZ) as usize;
    let mut positions = vec![ends[0]; count];
    for (start, lasts, by) in moves {
        for (k, position) in positions.iter_mut().enumerate() {
            let u = ((k as f64 / RATE_HZ - start) / lasts).clamp(0.0, 1.0);
            *position += by * u.powi(3) * (10.0 - 15.0 * u + 6.0 * u * u);
        }
    }
    let hz = dice.between(6.0, 12.0);
    let mut phase: f64 = 0.0;
    for position in &mut positions {
        phase += TAU * (hz + 2.0 * dice.gaussian()) / RATE_HZ;
        *position = (*position + tremble * 1.4 * phase.sin()).clamp(0.0, 1.0);
    }
    positions
}

/// A hand that turns a little, lets go, takes hold again: a staircase.
pub fn staircase(dice: &mut Dice) -> Vec<f64> {
    let steps = 8 + (dice.unit() * 16.0) as usize;
    let one_way_s = dice.between(8.0, 20.0);
    let turning = dice.between(0.4, 0.8);
    let tremble = dice.between(0.0002, 0.001);
    let mut positions = vec![0.01; (dice.between(0.3, 2.0) * RATE_HZ) as usize];
    for up in [true, false] {
        let mut at = 0.0;
        while at < 1.0 - 1e-9 {
            let by = (dice.between(0.6, 1.4) / steps as f64).min(1.0 - at);
            let turn = one_way_s / steps as f64 * turning * dice.between(0.7, 1.3);
            let wait = one_way_s / steps as f64 * (1.0 - turning) * dice.between(0.3, 1.7);
            let count = (turn * RATE_HZ) as usize;
            for k in 0..count {
                let u = k as f64 / count as f64;
                let share = at + by * u * u * (3.0 - 2.0 * u);
                positions.push(0.01 + 0.98 * if up { share } else { 1.0 - share });
            }
            at += by;
            let share = 0.01 + 0.98 * if up { at } else { 1.0 - at };
            positions.extend(std::iter::repeat_n(share, (wait * RATE_HZ) as usize));
        }
    }
    shaken(&mut positions, tremble, dice);
    positions
}

/// An even hand on which trembling and a slower unrest lie, both noise through
/// filters: what the simplest simulation of a hand would be.
pub fn even_but_shaky(dice: &mut Dice) -> Vec<f64> {
    let one_way_s = dice.between(8.0, 20.0);
    let unrest = dice.between(0.001, 0.006);
    let unrest_hz = dice.between(0.5, 3.0);
    let tremble = dice.between(0.0005, 0.003);
    let rests: Vec<f64> = (0..3).map(|_| dice.between(0.2, 2.5)).collect();
    let mut positions = vec![0.0; (rests[0] * RATE_HZ) as usize];
    let count = (one_way_s * RATE_HZ) as usize;
    positions.extend((0..count).map(|k| k as f64 / count as f64));
    positions.extend(std::iter::repeat_n(1.0, (rests[1] * RATE_HZ) as usize));
    positions.extend((0..count).map(|k| 1.0 - k as f64 / count as f64));
    positions.extend(std::iter::repeat_n(0.0, (rests[2] * RATE_HZ) as usize));
    let keep = (-TAU * unrest_hz / RATE_HZ).exp();
    let fresh = (1.0 - keep * keep).sqrt();
    let (mut one, mut two) = (0.0, 0.0);
    for position in &mut positions {
        one = keep * one + fresh * dice.gaussian();
        two = keep * two + (1.0 - keep) * one;
        *position = (0.01 + 0.98 * *position + 1.4 * unrest * two).clamp(0.0, 1.0);
    }
    shaken(&mut positions, tremble, dice);
    positions
}

/// Adds trembling: a resonance between 6 and 12 Hz.
pub fn shaken(positions: &mut [f64], tremble: f64, dice: &mut Dice) {
    let turn = TAU * dice.between(6.0, 12.0) / RATE_HZ;
    let keep: f64 = 0.96;
    let fresh = tremble * (1.0 - keep * keep).sqrt();
    let (mut x, mut y) = (0.0, 0.0);
    for position in positions {
        let (sine, cosine) = turn.sin_cos();
        (x, y) = (
            keep * (cosine * x - sine * y) + fresh * dice.gaussian(),
            keep * (sine * x + cosine * y) + fresh * dice.gaussian(),
        );
        *position = (*position + x).clamp(0.0, 1.0);
    }
}
