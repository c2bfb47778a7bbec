//! Makes the speed vary as its model says: lines that turn, noise from node to
//! node.

use std::f64::consts::{PI, TAU};

use super::flutter::{FlutterLine, FlutterModel, Follows, Hunting};
use super::noise::{Purpose, Random};
use super::oscillator::{advance_turns, sine_of_turns};

/// Noise is drawn at this rate and joined by straight lines, so that it has
/// no part worth mentioning above 200 Hz, as in a real transport.
pub(super) const NODES_HZ: f64 = 200.0;

/// Makes the variation, frame by frame.
#[derive(Clone, Debug)]
pub(super) struct Flutter {
    lines: Vec<TurningLine>,
    white_percent: f64,
    correlated: Correlated,
    hunting: Option<Resonant>,
    random: Random,
    straying: Random,
    /// Noise at the node just passed and at the next one.
    from: f64,
    to: f64,
    noisy: bool,
    strays: bool,
    seconds_per_frame: f64,
    /// Tape that has run, in seconds at nominal speed.
    tape_s: f64,
}

#[derive(Clone, Debug)]
struct TurningLine {
    turns: f64,
    /// At nominal speed; of a line that a reel makes, over the reel's turns a
    /// second.
    turns_per_frame: f64,
    peak_percent: f64,
    follows: Follows,
    /// From node to node, turns.
    strays: f64,
}

impl TurningLine {
    fn new(line: &FlutterLine, drawn_turns: f64, rate_hz: f64) -> Self {
        let per_turn = match line.follows {
            Follows::Pack(pack) => pack.turns_per_second(0.0),
            Follows::Speed | Follows::Nothing => 1.0,
        };
        Self {
            turns: line.start_turns.unwrap_or(drawn_turns),
            turns_per_frame: line.hz / per_turn / rate_hz,
            peak_percent: line.peak_percent,
            follows: line.follows,
            strays: line.strays_turns / (60.0 * NODES_HZ).sqrt(),
        }
    }

    fn advance(&mut self, ratio: f64, tape_s: f64) {
        let ratio = match self.follows {
            Follows::Speed => ratio,
            Follows::Pack(pack) => ratio * pack.turns_per_second(tape_s),
            Follows::Nothing => 1.0,
        };
        advance_turns(&mut self.turns, self.turns_per_frame * ratio);
    }
}

/// First-order autoregressive noise: x ← a x + sqrt(1 − a²) n.
#[derive(Clone, Debug)]
struct Correlated {
    value: f64,
    keep: f64,
    fresh: f64,
}

/// Second-order autoregressive noise: x ← 2 r cos ω x′ − r² x″ + g n.
#[derive(Clone, Debug)]
struct Resonant {
    values: [f64; 2],
    keep: [f64; 2],
    fresh: f64,
    random: Random,
}

impl Resonant {
    fn new(hunting: Hunting, seed: u64) -> Option<Self> {
        if hunting.percent <= 0.0 || hunting.hz <= 0.0 || hunting.quality <= 0.0 {
            return None;
        }
        let r = (-PI * hunting.hz / (hunting.quality * NODES_HZ)).exp();
        let one = 2.0 * r * (TAU * hunting.hz / NODES_HZ).cos();
        let two = r * r;
        // Variance of such a process for g = 1 (Box and Jenkins, from memory):
        // (1 + r²) ÷ ((1 − r²) ((1 + r²)² − (2 r cos ω)²)).
        let variance = (1.0 + two) / ((1.0 - two) * ((1.0 + two).powi(2) - one * one));
        let mut resonant = Self {
            values: [0.0; 2],
            keep: [one, -two],
            fresh: hunting.percent / variance.sqrt(),
            random: Random::new(seed, Purpose::Hunting),
        };
        // It has swung for long when the machine begins: e^−20 of rest is left.
        let settled = 20.0 * NODES_HZ * hunting.quality / (PI * hunting.hz);
        for _ in 0..settled as usize {
            resonant.next();
        }
        Some(resonant)
    }

    fn next(&mut self) -> f64 {
        let [last, before] = self.values;
        let now = self.keep[0] * last + self.keep[1] * before + self.fresh * self.random.normal();
        self.values = [now, last];
        now
    }
}

impl Flutter {
    pub(super) fn new(model: &FlutterModel, rate_hz: f64, seed: u64) -> Self {
        let mut phases = Random::new(seed, Purpose::LinePhases);
        let lines: Vec<TurningLine> = model
            .lines
            .iter()
            // Drawn even if not used: a fixed phase moves no other.
            .map(|line| TurningLine::new(line, phases.unit(), rate_hz))
            .collect();
        let mut random = Random::new(seed, Purpose::FlutterNoise);
        let keep = if model.correlation_s > 0.0 {
            (-1.0 / (NODES_HZ * model.correlation_s)).exp()
        } else {
            0.0
        };
        let correlated = Correlated {
            value: model.correlated_percent * random.normal(),
            keep,
            fresh: model.correlated_percent * (1.0 - keep * keep).sqrt(),
        };
        let hunting = Resonant::new(model.hunting, seed);
        let mut flutter = Self {
            strays: lines.iter().any(|line| line.strays > 0.0),
            lines,
            white_percent: model.white_percent,
            correlated,
            noisy: model.white_percent > 0.0 || model.correlated_percent > 0.0 || hunting.is_some(),
            hunting,
            random,
            straying: Random::new(seed, Purpose::Straying),
            from: 0.0,
            to: 0.0,
            seconds_per_frame: 1.0 / rate_hz,
            tape_s: 0.0,
        };
        flutter.next_node();
        flutter.next_node();
        flutter
    }

    /// The noise has reached its next node.
    pub(super) fn next_node(&mut self) {
        if self.strays {
            for line in &mut self.lines {
                advance_turns(&mut line.turns, line.strays * self.straying.normal());
            }
        }
        if !self.noisy {
            return;
        }
        let correlated = &mut self.correlated;
        correlated.value =
            correlated.keep * correlated.value + correlated.fresh * self.random.normal();
        self.from = self.to;
        self.to = correlated.value + self.white_percent * self.random.normal();
        if let Some(hunting) = &mut self.hunting {
            self.to += hunting.next();
        }
    }

    /// One frame on, the parts turning at this ratio of nominal speed.
    pub(super) fn advance(&mut self, ratio: f64) {
        for line in &mut self.lines {
            line.advance(ratio, self.tape_s);
        }
        self.tape_s += ratio * self.seconds_per_frame;
    }

    /// The variation now in percent; `between` says how far the noise is from
    /// one node to the next, 0 to 1.
    pub(super) fn percent(&self, between: f64) -> f64 {
        let lines: f64 = self
            .lines
            .iter()
            .map(|line| line.peak_percent * sine_of_turns(line.turns))
            .sum();
        lines + self.from + (self.to - self.from) * between
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rehearsal::Pack;

    fn nodes(model: &FlutterModel, n: usize, seed: u64) -> Vec<f64> {
        let mut flutter = Flutter::new(model, NODES_HZ, seed);
        (0..n)
            .map(|_| {
                let value = flutter.percent(0.0);
                flutter.advance(1.0);
                flutter.next_node();
                value
            })
            .collect()
    }

    fn autocorrelation(values: &[f64], lag: usize) -> f64 {
        let n = values.len() - lag;
        values[..n]
            .iter()
            .zip(&values[lag..])
            .map(|(a, b)| a * b)
            .sum::<f64>()
            / n as f64
    }

    #[test]
    fn a_line_is_a_sine_and_follows_the_speed() {
        let model = FlutterModel::sine(2.0, 0.3);
        let mut flutter = Flutter::new(&model, 1000.0, 1);
        for frame in 0..5000 {
            let expected =
                0.3 * (std::f64::consts::TAU * 2.0 * 0.9 * f64::from(frame) / 1000.0).sin();
            assert!((flutter.percent(0.0) - expected).abs() < 1e-12, "{frame}");
            flutter.advance(0.9);
        }
    }

    #[test]
    fn a_line_goes_with_what_it_follows() {
        let pack = Pack {
            takes_up: true,
            hub_mm: 22.0,
            tape_um: 18.0,
            length_m: 86.0,
            speed_cm_s: 4.7625,
            passed: 0.3,
        };
        for (follows, expected) in [
            (Follows::Speed, 0.9),
            (Follows::Nothing, 1.0),
            (
                Follows::Pack(pack),
                0.9 * pack.turns_per_second(54.0) / pack.turns_per_second(0.0),
            ),
        ] {
            let model = FlutterModel {
                lines: vec![FlutterLine {
                    follows,
                    ..FlutterLine::new(2.0, 0.3)
                }],
                ..FlutterModel::none()
            };
            let mut flutter = Flutter::new(&model, 1000.0, 1);
            // A minute at nine tenths of the speed: 54 s of tape.
            for _ in 0..60_000 {
                flutter.advance(0.9);
            }
            let before = flutter.lines[0].turns;
            flutter.advance(0.9);
            let turned = (flutter.lines[0].turns - before).rem_euclid(1.0) * 1000.0;
            assert!(
                (turned / (2.0 * expected) - 1.0).abs() < 1e-6,
                "{follows:?}: {turned}"
            );
        }
    }

    #[test]
    fn a_phase_strays_as_far_as_it_says() {
        let strayed = (0..200).map(|seed| {
            let model = FlutterModel {
                lines: vec![FlutterLine {
                    start_turns: Some(0.5),
                    strays_turns: 0.1,
                    ..FlutterLine::new(2.0, 0.3)
                }],
                ..FlutterModel::none()
            };
            let mut flutter = Flutter::new(&model, NODES_HZ, seed);
            for _ in 0..60 * 200 {
                flutter.next_node();
            }
            (flutter.lines[0].turns - 0.5).powi(2)
        });
        // A minute; 200 values give a standard deviation within 5 %, so 4 of these.
        let got = (strayed.sum::<f64>() / 200.0).sqrt();
        assert!((got / 0.1 - 1.0).abs() < 0.2, "{got}");
    }

    #[test]
    fn a_governor_hunts_about_its_rate() {
        let model = FlutterModel {
            hunting: Hunting {
                percent: 0.1,
                hz: 2.0,
                quality: 8.0,
            },
            ..FlutterModel::none()
        };
        let values = nodes(&model, 400_000, 3);
        let power = autocorrelation(&values, 0);
        // After half a swing it stands opposite, after one and more as before
        // but for e^(−π n/Q).
        for swings in [0.5, 1.0, 2.0] {
            let lag = (swings * NODES_HZ / 2.0) as usize;
            let expected = (-PI * swings / 8.0).exp() * (TAU * swings).cos();
            let got = autocorrelation(&values, lag) / power;
            assert!((got - expected).abs() < 0.06, "{swings}: {got} {expected}");
        }
    }

    #[test]
    fn the_noise_has_the_stated_correlation_time() {
        let model = FlutterModel {
            correlated_percent: 0.2,
            correlation_s: 0.3,
            ..FlutterModel::none()
        };
        let values = nodes(&model, 400_000, 3);
        let power = autocorrelation(&values, 0);
        assert!((power.sqrt() - 0.2).abs() < 0.006, "{}", power.sqrt());
        for (lag, seconds) in [(20, 0.1), (60, 0.3), (120, 0.6)] {
            let expected = f64::exp(-seconds / 0.3);
            let got = autocorrelation(&values, lag) / power;
            assert!(
                (got - expected).abs() < 0.05,
                "{seconds} s: {got} {expected}"
            );
        }
    }

    #[test]
    fn the_standard_deviation_is_what_the_parts_add_up_to() {
        for model in [
            FlutterModel::mix(),
            FlutterModel::pure_wow(),
            FlutterModel::correlated(),
            FlutterModel::portable(),
            FlutterModel {
                hunting: Hunting {
                    percent: 0.15,
                    hz: 2.0,
                    quality: 5.0,
                },
                ..FlutterModel::none()
            },
        ] {
            let values = nodes(&model, 400_000, 7);
            let got = autocorrelation(&values, 0).sqrt();
            let expected = model.standard_deviation_percent();
            assert!((got / expected - 1.0).abs() < 0.02, "{got} {expected}");
        }
    }

    #[test]
    fn seeds_turn_the_lines_to_other_phases() {
        let start = |seed| Flutter::new(&FlutterModel::pure_wow(), 48_000.0, seed).lines[0].turns;
        assert!((start(1) - start(2)).abs() > 1e-3);
        assert!((start(1) - start(1)).abs() < 1e-15);
    }
}
