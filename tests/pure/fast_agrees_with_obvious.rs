//! The fast estimator finds what the slow and obvious one finds
//! (`tests/support/judge.rs`), over invented tones of all kinds.

use crate::support::dice::Dice;
use crate::support::fast;
use crate::support::judge::Phase;
use crate::support::sound::{self, Line, Tone};

/// One invented tone and how it was sampled.
#[derive(Debug)]
struct Case {
    nominal_hz: f64,
    rate_hz: u32,
    seconds: f64,
    tone: Tone,
    /// Amplitude of the noise's root mean square against the tone's.
    noise: f64,
    samples: Vec<f32>,
}

fn case(seed: u64, wow: bool) -> Case {
    let mut dice = Dice::new(seed);
    let mut one_of = |values: &[f64]| values[dice.below(values.len())];
    let nominal_hz = one_of(&[3150.0, 3000.0, 1000.0, 440.0, 6300.0]);
    let rate_hz = if nominal_hz > 3500.0 {
        48_000
    } else {
        one_of(&[8000.0, 22_050.0, 44_100.0, 48_000.0, 96_000.0]) as u32
    };
    let noise = one_of(&[0.0, 0.0003, 0.003, 0.01]);
    let seconds = dice.between(3.0, 9.5);
    let lines = [(0.4, 1.5), (1.5, 4.0), (4.0, 8.0)].map(|(low, high)| Line {
        hz: dice.between(low, high),
        peak_percent: dice.between(0.01, 0.2),
        turns: dice.between(0.0, 1.0),
    });
    let tone = Tone {
        hz: nominal_hz * dice.between(0.93, 1.07),
        turns: dice.between(0.0, 1.0),
        amplitude: dice.between(0.01, 0.9),
        lines: if wow { lines.to_vec() } else { Vec::new() },
        drift_percent_per_s: if wow { 0.001 } else { 0.0 },
    };
    let rate = f64::from(rate_hz);
    // Twelve even numbers make a bell (Irwin and Hall).
    let rms = noise * tone.amplitude * 0.5f64.sqrt();
    let samples = (0..(seconds * rate) as usize)
        .map(|n| {
            let bell: f64 = (0..12).map(|_| dice.between(-0.5, 0.5)).sum();
            (tone.at(n as f64 / rate) + rms * bell) as f32
        })
        .collect();
    Case {
        nominal_hz,
        rate_hz,
        seconds,
        tone,
        noise,
        samples,
    }
}

impl Case {
    fn name(&self) -> String {
        format!(
            "{:.2} Hz at {} for {:.2} s, noise {}, {:?}",
            self.tone.hz, self.rate_hz, self.seconds, self.noise, self.tone.lines
        )
    }

    /// About 5 ms, a whole number of half periods: the tone's mirror image
    /// falls on a zero of the window.
    fn obvious(&self) -> Phase {
        let window_s = (0.01 * self.tone.hz).ceil() / (2.0 * self.tone.hz);
        let rate = f64::from(self.rate_hz);
        let step = (rate / 2000.0) as usize;
        Phase::of(&self.samples, rate, self.tone.hz, window_s, step)
    }

    /// The mean frequency that the whole program reads, in hertz.
    fn mean_hz(&self) -> f64 {
        let settings = sound::settings_at(self.rate_hz, 1, self.nominal_hz);
        let measurement = sound::measure(settings, &self.samples);
        measurement
            .speed
            .expect("a speed")
            .measured
            .expect("a tone")
            .0
    }

    /// Standard deviation of the best possible mean frequency in hertz: the
    /// Cramér-Rao bound, 12 σ² / (A²/2 · N (N² − 1)) rad² a sample² (Rife and
    /// Boorstyn, 1974).
    fn bound_hz(&self) -> f64 {
        let count = self.samples.len() as f64;
        let radians = (12.0 * self.noise * self.noise / count.powi(3)).sqrt();
        radians * f64::from(self.rate_hz) / std::f64::consts::TAU
    }
}

#[test]
fn the_mean_of_a_steady_tone_is_that_of_the_obvious_estimator() {
    for seed in 0..24 {
        let case = case(seed, false);
        let apart = (case.mean_hz() - case.obvious().mean_hz()).abs();
        // Both see the same noise; their windows end a little differently.
        let allowed = 2e-9 * case.tone.hz + 0.25 * case.bound_hz();
        assert!(apart <= allowed, "{}: {apart}, {allowed}", case.name());
    }
}

#[test]
fn the_mean_under_wow_is_that_of_the_obvious_estimator() {
    for seed in 100..124 {
        let case = case(seed, true);
        let apart = (case.mean_hz() - case.obvious().mean_hz()).abs();
        // Wow that is left in the mean depends on where a record ends.
        let allowed = 4e-6 * case.tone.hz + 0.25 * case.bound_hz();
        assert!(apart <= allowed, "{}: {apart}, {allowed}", case.name());
    }
}

#[test]
fn the_speed_track_is_that_of_the_obvious_estimator() {
    for seed in 200..224 {
        let case = case(seed, true);
        let range_hz = [0.8 * case.nominal_hz, 1.25 * case.nominal_hz];
        let fast = fast::phase(&case.samples, case.rate_hz, range_hz);
        let obvious = case.obvious();
        let last_s = fast.last_s().min(obvious.last_s()) - 0.01;
        let first_s = fast.first_s.max(obvious.first_s) + 0.01;
        assert!(last_s - first_s > case.seconds - 0.4, "{}", case.name());
        let steps = ((last_s - first_s) / 0.05) as usize;
        for step in 0..steps {
            let from_s = first_s + 0.05 * step as f64;
            let at = |phase: &Phase| phase.hz_between(from_s, from_s + 0.05);
            let (here, there) = (at(&fast), at(&obvious));
            // The phase at either end of a step carries noise that the two let
            // through differently, and the window takes the edge off wow.
            let allowed = 4e-6 * case.tone.hz + 5.0 * case.noise;
            let apart = (here - there).abs();
            assert!(apart <= allowed, "{} at {from_s}: {apart}", case.name());
            // And both are right.
            let middle_hz = case.tone.turns_at(from_s + 0.05) - case.tone.turns_at(from_s);
            let error = (here - middle_hz / 0.05).abs();
            assert!(
                error <= allowed,
                "{} at {from_s}: off by {error}",
                case.name()
            );
        }
    }
}
