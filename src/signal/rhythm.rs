//! A rhythm that says slow, fast and right to somebody who cannot look.
//!
//! Every tick is the same short burst of one pitch; only when they come
//! differs, so that it needs no ear for music:
//!
//! | what it says | ticks |
//! | --- | --- |
//! | slow | one at a time; the nearer to right, the quicker |
//! | fast | two close together; the nearer to right, the quicker |
//! | right, mean not yet settled | an even roll, eight a second |
//! | right and settled | four of that roll, then a rest, every two seconds |
//! | stop | a rattle of twenty-five a second |
//! | nothing to say | none |
//!
//! It is driven by samples: the same beats at the same samples give the same
//! sound.

use std::f64::consts::{PI, TAU};

use crate::units::Hertz;

/// Away from all usual test tones (315, 400, 440, 1000, 3000, 3150 Hz) and
/// where old ears still hear well.
pub const PITCH: Hertz = Hertz(1750.0);

/// Length of a tick, soft ends included.
const TICK_S: f64 = 0.012;
/// From one tick, or one pair, to the next: far from right and at the edge
/// of the band.
const FAR_S: f64 = 1.0;
const NEAR_S: f64 = 0.32;
/// Between the two ticks of a pair.
const PAIR_S: f64 = 0.08;
/// Between the ticks of a roll.
const ROLL_S: f64 = 0.125;
/// The settled roll comes anew after this time.
const SETTLED_S: f64 = 2.0;
const SETTLED_TICKS: u32 = 4;
/// Between the ticks of a rattle.
const RATTLE_S: f64 = 0.04;
/// Shortest rattle: a shorter one would pass for a pair.
const LEAST_RATTLE_S: f64 = 0.3;
/// Before another rhythm begins, so that its first tick is not counted with
/// the last of the one before.
const BREATH_S: f64 = 0.2;

/// What the rhythm is to say.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Beat {
    /// Nothing.
    #[default]
    Quiet,
    /// Below right. Nearness from 0, far off, to 1, at the edge of the band.
    Slow(f64),
    /// Above right, likewise.
    Fast(f64),
    /// Within the band, but the mean is not yet known well enough.
    Right,
    /// Within the band, and the mean is known well enough.
    Settled,
    /// Stop turning: this carries past right.
    Stop,
}

impl Beat {
    /// True where both say the same, however near.
    pub fn is_like(self, other: Self) -> bool {
        std::mem::discriminant(&self) == std::mem::discriminant(&other)
    }

    fn pattern(self) -> Option<Pattern> {
        let pattern = |ticks, apart_s, period_s| Pattern {
            ticks,
            apart_s,
            period_s,
        };
        Some(match self {
            Self::Quiet => return None,
            Self::Slow(nearness) => pattern(1, PAIR_S, pace_s(nearness)),
            Self::Fast(nearness) => pattern(2, PAIR_S, pace_s(nearness)),
            Self::Right => pattern(1, ROLL_S, ROLL_S),
            Self::Settled => pattern(SETTLED_TICKS, ROLL_S, SETTLED_S),
            Self::Stop => pattern(1, RATTLE_S, RATTLE_S),
        })
    }

    /// Silence between the last tick of another rhythm and the first of this.
    fn breath_s(self) -> f64 {
        if self == Self::Stop {
            RATTLE_S
        } else {
            BREATH_S
        }
    }
}

/// Equal steps of nearness are equal ratios of pace.
fn pace_s(nearness: f64) -> f64 {
    let nearness = if nearness.is_nan() {
        0.0
    } else {
        nearness.clamp(0.0, 1.0)
    };
    FAR_S * (NEAR_S / FAR_S).powf(nearness)
}

/// Ticks, seconds from tick to tick, once in a period.
struct Pattern {
    ticks: u32,
    apart_s: f64,
    period_s: f64,
}

/// Ticks in the rhythm of what was said last. [`Rhythm::say`] and
/// [`Rhythm::sample`] do not allocate.
#[derive(Clone, Debug)]
pub struct Rhythm {
    rate_hz: f64,
    /// The samples of a tick.
    tick: Box<[f32]>,
    /// The next of them; its length while none sounds.
    at: usize,
    beat: Beat,
    /// What comes after a rattle that must last a little longer.
    next: Beat,
    /// Samples since the present beat began, since its present group began
    /// and since the last tick began.
    since_beat: u64,
    since_group: u64,
    since_tick: u64,
    /// Ticks given in the present group; `None` before the first one.
    given: Option<u32>,
}

impl Rhythm {
    /// Silent at first. `amplitude` is that of the highest sample of a tick.
    pub fn new(rate_hz: f64, amplitude: f64) -> Self {
        let length = (TICK_S * rate_hz).round().max(1.0);
        let tick: Box<[f32]> = (0..length as usize)
            .map(|number| {
                let at = (number as f64 + 0.5) / length;
                let window = (PI * at).sin().powi(2);
                // In the middle of the tick the sine is at its peak.
                let turns = PITCH.0 * TICK_S * (at - 0.5);
                (amplitude * window * (TAU * turns).cos()) as f32
            })
            .collect();
        Self {
            rate_hz,
            at: tick.len(),
            tick,
            beat: Beat::Quiet,
            next: Beat::Quiet,
            since_beat: 0,
            since_group: 0,
            since_tick: u64::MAX / 2,
            given: None,
        }
    }

    /// What it is to say from now on.
    pub fn say(&mut self, beat: Beat) {
        self.next = beat;
        let rattles = self.beat == Beat::Stop && self.since_beat < self.samples(LEAST_RATTLE_S);
        if beat == Beat::Quiet || !rattles {
            self.begin(beat);
        }
    }

    fn begin(&mut self, beat: Beat) {
        if !beat.is_like(self.beat) {
            self.since_beat = 0;
            self.given = None;
        }
        self.beat = beat;
    }

    /// The next sample.
    pub fn sample(&mut self) -> f32 {
        if self.is_due() {
            self.at = 0;
            self.since_tick = 0;
        }
        let sample = self.tick.get(self.at).copied().unwrap_or(0.0);
        self.at = (self.at + 1).min(self.tick.len());
        self.since_tick = self.since_tick.saturating_add(1);
        self.since_group = self.since_group.saturating_add(1);
        self.since_beat = self.since_beat.saturating_add(1);
        if self.beat == Beat::Stop && self.since_beat >= self.samples(LEAST_RATTLE_S) {
            self.begin(self.next);
        }
        sample
    }

    /// A tick begins with this sample.
    fn is_due(&mut self) -> bool {
        let Some(pattern) = self.beat.pattern() else {
            return false;
        };
        let group_is_due = match self.given {
            None => self.since_tick >= self.samples(self.beat.breath_s()),
            Some(_) => self.since_group >= self.samples(pattern.period_s),
        };
        if group_is_due {
            self.since_group = 0;
            self.given = Some(1);
            return true;
        }
        match &mut self.given {
            Some(given) if *given < pattern.ticks => {
                let due = f64::from(*given) * pattern.apart_s * self.rate_hz;
                let is_due = self.since_group >= due.round() as u64;
                *given += u32::from(is_due);
                is_due
            }
            _ => false,
        }
    }

    fn samples(&self, seconds: f64) -> u64 {
        (seconds * self.rate_hz).round() as u64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    /// Starts of the ticks in seconds.
    fn ticks(rhythm: &mut Rhythm, seconds: f64) -> Vec<f64> {
        let mut starts = Vec::new();
        for number in 0..(seconds * RATE_HZ) as usize {
            let before = rhythm.at;
            let _ = rhythm.sample();
            if rhythm.at == 1 && before != 0 {
                starts.push(number as f64 / RATE_HZ);
            }
        }
        starts
    }

    fn of(beat: Beat, seconds: f64) -> Vec<f64> {
        let mut rhythm = Rhythm::new(RATE_HZ, 0.1);
        rhythm.say(beat);
        ticks(&mut rhythm, seconds)
    }

    fn assert_near(starts: &[f64], expected: &[f64]) {
        assert_eq!(starts.len(), expected.len(), "{starts:?}");
        for (start, expected) in starts.iter().zip(expected) {
            assert!((start - expected).abs() < 1e-3, "{starts:?}");
        }
    }

    #[test]
    fn slow_is_one_fast_is_two_right_is_even_settled_rests() {
        assert_near(&of(Beat::Slow(0.0), 2.5), &[0.0, 1.0, 2.0]);
        assert_near(&of(Beat::Fast(0.0), 1.5), &[0.0, 0.08, 1.0, 1.08]);
        assert_near(
            &of(Beat::Right, 0.7),
            &[0.0, 0.125, 0.25, 0.375, 0.5, 0.625],
        );
        assert_near(&of(Beat::Settled, 2.1), &[0.0, 0.125, 0.25, 0.375, 2.0]);
        assert_eq!(of(Beat::Stop, 1.0).len(), 25);
        assert!(of(Beat::Quiet, 5.0).is_empty());
    }

    #[test]
    fn nearer_is_quicker_and_a_pair_stays_a_pair() {
        let counts: Vec<usize> = [0.0, 0.25, 0.5, 0.75, 1.0]
            .map(|nearness| of(Beat::Slow(nearness), 9.95).len())
            .to_vec();
        assert_eq!(counts, [10, 14, 18, 24, 32]);
        let quickest = of(Beat::Fast(1.0), 5.0);
        let within = quickest[1] - quickest[0];
        let between = quickest[2] - quickest[1];
        assert!(between > 2.5 * within, "{within} {between}");
        assert_eq!(of(Beat::Slow(f64::NAN), 2.5).len(), 3);
    }

    #[test]
    fn another_rhythm_begins_at_once_but_after_a_breath() {
        let mut rhythm = Rhythm::new(RATE_HZ, 0.1);
        rhythm.say(Beat::Slow(0.0));
        assert_near(&ticks(&mut rhythm, 0.05), &[0.0]);
        rhythm.say(Beat::Fast(0.0));
        assert_near(&ticks(&mut rhythm, 0.5), &[0.15, 0.23]);
        // Another pace is no other rhythm: the time that has passed counts.
        rhythm.say(Beat::Fast(1.0));
        assert_near(&ticks(&mut rhythm, 0.1), &[0.0, 0.08]);
    }

    #[test]
    fn stop_comes_at_once_and_is_heard_out() {
        let mut rhythm = Rhythm::new(RATE_HZ, 0.1);
        rhythm.say(Beat::Right);
        let _ = ticks(&mut rhythm, 0.5);
        rhythm.say(Beat::Stop);
        let first = ticks(&mut rhythm, 0.02).len();
        rhythm.say(Beat::Fast(1.0));
        let rattle = ticks(&mut rhythm, 0.28).len();
        assert!(first + rattle >= 7, "{first} {rattle}");
        assert_near(&ticks(&mut rhythm, 0.3), &[0.18, 0.26]);
    }

    #[test]
    fn mute_wins_over_everything_and_cuts_no_tick_short() {
        let mut rhythm = Rhythm::new(RATE_HZ, 0.1);
        rhythm.say(Beat::Stop);
        let mut heard = vec![rhythm.sample(), rhythm.sample()];
        rhythm.say(Beat::Quiet);
        heard.extend((0..48_000).map(|_| rhythm.sample()));
        let tick = (TICK_S * RATE_HZ) as usize;
        let highest = heard[..tick].iter().fold(0.0_f32, |high, it| high.max(*it));
        assert!((highest - 0.1).abs() < 1e-3, "{highest}");
        assert!(heard[tick..].iter().all(|it| *it == 0.0));
        // Soft ends: the first sample is next to nothing.
        assert!(heard[0].abs() < 1e-5 && heard[tick - 1].abs() < 1e-5);
    }
}
