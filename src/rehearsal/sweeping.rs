//! A hand that sweeps the trimmer through its range and back: it trembles, is
//! never quite even, stops, and goes back a little. Invented, seeded.
//!
//! The hand has a speed that wanders about its pace. Now and then it pauses or
//! turns round for a moment. Trembling comes on top, from a resonance that is
//! kept alive by noise.

use std::f64::consts::TAU;

use super::noise::{Purpose, Random};

/// Steps a second in which the hand is worked out: a choice.
pub(super) const STEPS_HZ: f64 = 200.0;

/// Time constant with which it takes up another speed, seconds. Invented.
const NIMBLE_S: f64 = 0.12;

/// How a hand sweeps. Positions are shares of the travel, 0 to 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SweepingConfig {
    /// Ends of what it sweeps.
    pub ends: [f64; 2],
    /// Seconds from one end to the other and back, pauses left out.
    pub round_trip_s: f64,
    /// How often it goes out and back.
    pub round_trips: u32,
    /// Seconds of rest before, at each end, and after.
    pub rest_s: f64,
    /// Standard deviation of the trembling, share of the travel.
    pub tremble: f64,
    /// Its frequency in Hz.
    pub tremble_hz: f64,
    /// Standard deviation of the wandering of the pace, as a part of it.
    pub unevenness: f64,
    /// Pauses a minute.
    pub stops_per_minute: f64,
    /// Goings back a minute.
    pub backs_per_minute: f64,
}

impl SweepingConfig {
    /// A calm hand that takes 24 s for a round trip.
    pub fn calm() -> Self {
        Self {
            ends: [0.01, 0.99],
            round_trip_s: 24.0,
            round_trips: 1,
            rest_s: 1.0,
            tremble: 0.0008,
            tremble_hz: 8.0,
            unevenness: 0.2,
            stops_per_minute: 3.0,
            backs_per_minute: 1.0,
        }
    }

    /// A hand with more of everything, 16 to 40 s for a round trip, as the
    /// seed will have it.
    pub fn of_seed(seed: u64) -> Self {
        let mut random = Random::new(seed, Purpose::Hand);
        Self {
            ends: [random.between(0.0, 0.03), random.between(0.97, 1.0)],
            round_trip_s: random.between(16.0, 40.0),
            round_trips: 1,
            rest_s: random.between(0.4, 2.0),
            tremble: random.between(0.0003, 0.002),
            tremble_hz: random.between(6.0, 12.0),
            unevenness: random.between(0.1, 0.4),
            stops_per_minute: random.between(0.0, 8.0),
            backs_per_minute: random.between(0.0, 4.0),
        }
    }
}

/// What the hand is about.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Doing {
    Resting,
    Turning,
    Pausing,
    GoingBack,
}

/// The hand at work. Asked for later and later moments.
#[derive(Clone, Debug)]
pub struct SweepingHand {
    config: SweepingConfig,
    random: Random,
    /// Ends that it still has to reach, the next one last.
    aims: Vec<f64>,
    doing: Doing,
    /// Steps until it does something else.
    left: u32,
    position: f64,
    speed: f64,
    wander: f64,
    tremble: [f64; 2],
    steps: u64,
}

impl SweepingHand {
    /// A hand that has taken hold of the trimmer where it stands. It goes to
    /// the nearer end first, then sweeps, then back to where it stood, unless
    /// that was an end.
    pub fn new(config: SweepingConfig, start: f64, seed: u64) -> Self {
        let start = start.clamp(0.0, 1.0);
        let mut hand = Self {
            random: Random::new(seed.wrapping_add(0x51), Purpose::Hand),
            aims: aims(&config, start),
            doing: Doing::Resting,
            left: 0,
            position: start,
            speed: 0.0,
            wander: 0.0,
            tremble: [0.0; 2],
            steps: 0,
            config,
        };
        hand.rest();
        hand
    }

    /// Where it has the trimmer this long after it began. What was asked for
    /// before must not be later.
    pub fn position_at(&mut self, seconds: f64) -> f64 {
        let steps = (seconds.max(0.0) * STEPS_HZ) as u64;
        while self.steps < steps {
            self.step();
        }
        (self.position + self.tremble[0]).clamp(0.0, 1.0)
    }

    /// True once it has come to rest at the end of all.
    pub fn is_done(&self) -> bool {
        self.aims.is_empty() && self.left == 0
    }

    fn step(&mut self) {
        self.steps += 1;
        self.left = self.left.saturating_sub(1);
        if self.left == 0 {
            self.doing = Doing::Turning;
        }
        if self.doing == Doing::Turning {
            self.perhaps_falter();
        }
        self.wander_on();
        self.tremble_on();
        self.move_on();
    }

    fn pace(&self) -> f64 {
        let [low, high] = self.config.ends;
        2.0 * (high - low).abs() / self.config.round_trip_s.max(1.0)
    }

    fn perhaps_falter(&mut self) {
        let chance = |per_minute: f64| per_minute / 60.0 / STEPS_HZ;
        let random = &mut self.random;
        if random.chance(chance(self.config.stops_per_minute)) {
            self.doing = Doing::Pausing;
            self.left = (random.between(0.2, 1.2) * STEPS_HZ) as u32;
        } else if random.chance(chance(self.config.backs_per_minute)) {
            self.doing = Doing::GoingBack;
            self.left = (random.between(0.15, 0.6) * STEPS_HZ) as u32;
        }
    }

    /// The unevenness: noise with a correlation time of half a second.
    fn wander_on(&mut self) {
        let keep = (-2.0 / STEPS_HZ).exp();
        let fresh = (1.0 - keep * keep).sqrt() * self.config.unevenness;
        self.wander = keep * self.wander + fresh * self.random.normal();
    }

    /// A resonance of quality 3 that noise keeps going.
    fn tremble_on(&mut self) {
        let turn = TAU * self.config.tremble_hz / STEPS_HZ;
        let keep = (-turn / 6.0).exp();
        let fresh = (1.0 - keep * keep).sqrt() * self.config.tremble;
        let [x, y] = self.tremble;
        let (sine, cosine) = turn.sin_cos();
        self.tremble = [
            keep * (cosine * x - sine * y) + fresh * self.random.normal(),
            keep * (sine * x + cosine * y) + fresh * self.random.normal(),
        ];
    }

    fn move_on(&mut self) {
        let towards = self.aims.last().map_or(0.0, |aim| aim - self.position);
        let wanted = match self.doing {
            Doing::Turning => (1.0 + self.wander).max(0.0),
            Doing::GoingBack => -0.8,
            Doing::Resting | Doing::Pausing => 0.0,
        };
        let wanted = wanted * self.pace() * towards.signum();
        self.speed += (wanted - self.speed) / (NIMBLE_S * STEPS_HZ);
        let before = self.position;
        self.position = (before + self.speed / STEPS_HZ).clamp(0.0, 1.0);
        let Some(&aim) = self.aims.last() else { return };
        let arrived = self.doing != Doing::Resting
            && ((before - aim) * (self.position - aim) <= 0.0
                || (self.position - aim).abs() < 1e-4);
        if arrived {
            self.aims.pop();
            self.rest();
        }
    }

    fn rest(&mut self) {
        self.doing = Doing::Resting;
        let share = self.random.between(0.6, 1.4);
        self.left = (share * self.config.rest_s * STEPS_HZ) as u32 + 1;
    }
}

/// The ends in the order in which they are reached, the first one last.
fn aims(config: &SweepingConfig, start: f64) -> Vec<f64> {
    let [one, other] = config.ends;
    let [near, far] = if (start - one).abs() <= (start - other).abs() {
        [one, other]
    } else {
        [other, one]
    };
    let mut order = Vec::new();
    let from_end = (start - near).abs() < 0.02;
    if !from_end {
        order.push(near);
    }
    for _ in 0..config.round_trips {
        order.push(far);
        order.push(near);
    }
    if !from_end {
        order.push(start);
    }
    order.reverse();
    order
}

#[cfg(test)]
mod tests {
    use super::*;

    fn path(config: SweepingConfig, start: f64, seed: u64) -> Vec<f64> {
        let mut hand = SweepingHand::new(config, start, seed);
        let mut path = Vec::new();
        while !hand.is_done() {
            path.push(hand.position_at(path.len() as f64 / STEPS_HZ));
            assert!(path.len() < 120 * 200, "it never ends");
        }
        path
    }

    #[test]
    fn every_hand_reaches_both_ends_and_comes_back() {
        for seed in 0..40 {
            let config = SweepingConfig::of_seed(seed);
            let path = path(config, 0.4, seed);
            let low = path.iter().copied().fold(1.0, f64::min);
            let high = path.iter().copied().fold(0.0, f64::max);
            assert!(
                low < config.ends[0] + 0.01 && high > config.ends[1] - 0.01,
                "{seed}"
            );
            let last = path[path.len() - 1];
            assert!((last - 0.4).abs() < 0.05, "{seed}: {last}");
        }
    }

    #[test]
    fn it_takes_about_its_time() {
        let config = SweepingConfig {
            stops_per_minute: 0.0,
            backs_per_minute: 0.0,
            ..SweepingConfig::calm()
        };
        let lasted = path(config, 0.01, 3).len() as f64 / STEPS_HZ;
        // 24 s of turning and three rests.
        assert!((22.0..33.0).contains(&lasted), "{lasted}");
    }
}
