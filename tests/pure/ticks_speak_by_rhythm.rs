//! Ticks say slow, fast, right, settled and stop by rhythm alone: the
//! simulated machine plays, the engine reads, and the ticks are counted from
//! the samples that would sound.

use crate::support::sound;
use tapewright::readings::{ByEar, Engine, Settings};
use tapewright::rehearsal::{Fingers, FlutterModel, MachineConfig, SimulatedMachine};
use tapewright::signal::rhythm::{PITCH, Rhythm};
use tapewright::units::{Decibels, Percent};

const LEVEL: Decibels = Decibels(-20.0);
const BAND: Percent = Percent(0.3);

struct Bench {
    machine: SimulatedMachine,
    fingers: Fingers,
    engine: Engine,
    ear: ByEar,
    rhythm: Rhythm,
    rate_hz: f64,
}

impl Bench {
    /// A portable whose trimmer stands where it plays `percent` off; the
    /// travel is 10 %, turning up is faster.
    fn new(percent: f64) -> Self {
        let mut config = MachineConfig {
            flutter: FlutterModel::portable(),
            hiss_snr_db: Some(42.0),
            ..MachineConfig::ideal()
        };
        config.trimmer.position = 0.5 + percent / 10.0;
        let settings = Settings {
            tolerance: BAND,
            ..sound::settings(config.rate_hz, config.channels)
        };
        let rate_hz = f64::from(config.rate_hz);
        Self {
            fingers: Fingers::at(config.trimmer.position),
            machine: SimulatedMachine::new(config, 5),
            engine: sound::engine(settings),
            ear: ByEar::default(),
            rhythm: Rhythm::new(rate_hz, LEVEL.amplitude_ratio()),
            rate_hz,
        }
    }

    /// What sounds in so many seconds.
    fn listen(&mut self, seconds: f64) -> Sound {
        let mut block = vec![0.0; 960];
        let mut samples = Vec::new();
        for _ in 0..(seconds * 100.0) as usize {
            self.fingers.advance(0.01);
            self.machine.set_trimmer(self.fingers.position());
            self.machine.fill(&mut block);
            self.engine.push(&block);
            let beat = self.ear.beat(&self.engine.reading(), BAND);
            self.rhythm.say(beat);
            samples.extend((0..480).map(|_| self.rhythm.sample()));
        }
        Sound {
            samples,
            rate_hz: self.rate_hz,
        }
    }
}

struct Sound {
    samples: Vec<f32>,
    rate_hz: f64,
}

impl Sound {
    /// Starts of the ticks in seconds, told apart by 10 ms of silence.
    fn ticks(&self) -> Vec<f64> {
        let silence = (0.01 * self.rate_hz) as usize;
        let mut quiet_for = silence;
        let mut starts = Vec::new();
        for (number, sample) in self.samples.iter().enumerate() {
            if sample.abs() < 1e-4 {
                quiet_for += 1;
                continue;
            }
            if quiet_for >= silence {
                starts.push(number as f64 / self.rate_hz);
            }
            quiet_for = 0;
        }
        starts
    }

    /// Sizes of the groups of ticks less than `within` apart, the first and
    /// the last left out, for they may be cut.
    fn groups(&self, within: f64) -> Vec<usize> {
        let ticks = self.ticks();
        let mut groups = vec![1];
        for pair in ticks.windows(2) {
            if pair[1] - pair[0] < within {
                *groups.last_mut().expect("it has one") += 1;
            } else {
                groups.push(1);
            }
        }
        groups[1..groups.len() - 1].to_vec()
    }

    fn per_second(&self) -> f64 {
        self.ticks().len() as f64 * self.rate_hz / self.samples.len() as f64
    }

    /// From the zero crossings of the first tick.
    fn pitch_hz(&self) -> f64 {
        let first = (self.ticks()[0] * self.rate_hz) as usize;
        let tick = &self.samples[first..first + (0.01 * self.rate_hz) as usize];
        let crossings: Vec<usize> = (1..tick.len())
            .filter(|at| tick[at - 1] < 0.0 && tick[*at] >= 0.0)
            .collect();
        let turns = (crossings.len() - 1) as f64;
        turns * self.rate_hz / (crossings[crossings.len() - 1] - crossings[0]) as f64
    }
}

/// What sounds once the machine has played for some seconds.
fn steady(percent: f64) -> Sound {
    let mut bench = Bench::new(percent);
    let _ = bench.listen(10.0);
    bench.listen(8.0)
}

#[test]
fn slow_ticks_singly_and_fast_in_pairs() {
    for percent in [-4.0, -1.5, -0.6, 4.0, 1.5, 0.6] {
        let groups = steady(percent).groups(0.12);
        assert!(groups.len() >= 5, "{percent}: {groups:?}");
        let each = if percent < 0.0 { 1 } else { 2 };
        assert_eq!(groups, vec![each; groups.len()], "{percent}");
    }
}

#[test]
fn the_nearer_the_quicker_on_both_sides() {
    for side in [-1.0, 1.0] {
        let paces = [4.0, 2.0, 1.0, 0.5].map(|off| steady(side * off).per_second());
        let quicker = paces.windows(2).all(|pair| pair[1] > 1.15 * pair[0]);
        assert!(quicker, "{paces:?}");
    }
}

#[test]
fn right_and_settled_is_a_roll_of_four_with_a_rest() {
    let groups = steady(0.0).groups(0.2);
    assert_eq!(groups, vec![4; groups.len()]);
    assert!(groups.len() >= 2, "{groups:?}");
}

#[test]
fn a_turn_to_right_rolls_evenly_until_it_is_settled() {
    let mut bench = Bench::new(-2.0);
    let _ = bench.listen(10.0);
    bench.fingers.turn(0.2);
    let heard = bench.listen(10.0);
    let ticks = heard.ticks();
    // An even roll: gaps of an eighth of a second, one after the other.
    let rolled = ticks
        .windows(2)
        .map(|pair| (pair[1] - pair[0] - 0.125).abs() < 0.01)
        .fold((0, 0), |(longest, run), even| {
            let run = if even { run + 1 } else { 0 };
            (longest.max(run), run)
        });
    assert!(rolled.0 >= 6, "{ticks:?}");
    // At the end there are rests.
    let mut last = ticks[ticks.len() - 10..].windows(2);
    assert!(last.any(|pair| pair[1] - pair[0] > 1.0), "{ticks:?}");
    // No pair is ever heard on the way: it never was fast.
    let pairs = ticks
        .windows(2)
        .filter(|pair| (pair[1] - pair[0] - 0.08).abs() < 0.01);
    assert_eq!(pairs.count(), 0, "{ticks:?}");
}

#[test]
fn a_turn_past_right_rattles_then_ticks_in_pairs() {
    let mut bench = Bench::new(-3.0);
    let _ = bench.listen(10.0);
    bench.fingers.turn(0.5);
    let heard = bench.listen(3.0).ticks();
    let rattled = heard
        .windows(2)
        .filter(|pair| pair[1] - pair[0] < 0.05)
        .count();
    assert!(rattled >= 6, "{heard:?}");
    let after = bench.listen(6.0).groups(0.12);
    assert!(after.len() >= 3, "{after:?}");
    assert!(after.iter().all(|size| *size == 2), "{after:?}");
}

#[test]
fn without_a_usable_signal_it_is_silent() {
    let mut bench = Bench::new(-1.0);
    let heard = bench.listen(6.0);
    assert!(!heard.ticks().is_empty());
    bench.machine.power_off();
    let _ = bench.listen(3.0);
    let silence = bench.listen(5.0);
    assert!(silence.samples.iter().all(|sample| *sample == 0.0));
}

#[test]
fn the_pitch_never_tells_and_the_level_is_as_asked_for() {
    for percent in [-2.0, 0.0, 2.0] {
        let heard = steady(percent);
        let pitch = heard.pitch_hz();
        assert!((pitch / PITCH.0 - 1.0).abs() < 0.03, "{percent}: {pitch}");
        let highest = heard
            .samples
            .iter()
            .fold(0.0_f64, |high, it| high.max(f64::from(it.abs())));
        let off = highest - LEVEL.amplitude_ratio();
        assert!(off.abs() < 1e-3, "{percent}: {highest}");
    }
}
