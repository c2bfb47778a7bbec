//! Speed that does not stay: lines from rotating parts, and noise.

use super::noise::{Purpose, Random};
use super::oscillator::{advance_turns, sine_of_turns};

/// Noise is drawn at this rate and joined by straight lines, so that it has
/// no part worth mentioning above 200 Hz, as in a real transport.
pub(super) const NODES_HZ: f64 = 200.0;

/// A sinusoidal variation of speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlutterLine {
    /// Frequency at nominal speed in Hz; it follows the speed, as the part
    /// that makes it turns with the tape.
    pub hz: f64,
    /// Peak in percent of the speed.
    pub peak_percent: f64,
    /// Phase at the start in turns; `None`: drawn from the seed.
    pub start_turns: Option<f64>,
}

/// How the speed varies about its mean.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FlutterModel {
    /// Lines of rotating parts.
    pub lines: Vec<FlutterLine>,
    /// Standard deviation in percent of independent values drawn 200 times a
    /// second.
    pub white_percent: f64,
    /// Standard deviation in percent of correlated noise.
    pub correlated_percent: f64,
    /// Its correlation time in seconds.
    pub correlation_s: f64,
}

/// Scales to 0.15 % weighted two-sigma. Derived by passing 8 × 125 s of each
/// model through the weighting curve of IEC 60386 (table from memory, a
/// recursive filter within 0.18 dB of it) and taking the level exceeded 5 % of
/// the time, the first 5 s left out; single runs of 120 s scatter by ±2 %.
const MIX_SCALE: f64 = 0.1086;
const PURE_WOW_SCALE: f64 = 0.3492;
const CORRELATED_SCALE: f64 = 0.1189;

impl FlutterLine {
    /// A line whose phase is drawn from the seed.
    pub fn new(hz: f64, peak_percent: f64) -> Self {
        Self {
            hz,
            peak_percent,
            start_turns: None,
        }
    }
}

/// Lines by frequency in Hz and peak in percent.
fn lines(of: &[(f64, f64)]) -> Vec<FlutterLine> {
    let line = |&(hz, peak_percent): &(f64, f64)| FlutterLine::new(hz, peak_percent);
    of.iter().map(line).collect()
}

impl FlutterModel {
    /// A perfect transport.
    pub fn none() -> Self {
        Self::default()
    }

    /// One line from phase 0: wow with a closed form.
    pub fn sine(hz: f64, peak_percent: f64) -> Self {
        let line = FlutterLine {
            start_turns: Some(0.0),
            ..FlutterLine::new(hz, peak_percent)
        };
        Self {
            lines: vec![line],
            ..Self::default()
        }
    }

    /// Four mixed lines and noise, 0.15 % weighted two-sigma.
    pub fn mix() -> Self {
        Self {
            lines: lines(&[(0.55, 1.0), (1.1, 0.5), (4.7, 0.6), (8.9, 0.5)]),
            white_percent: 1.0,
            ..Self::default()
        }
        .scaled(MIX_SCALE)
    }

    /// Nearly pure wow of 0.556 Hz, a turn every 1.8 s, 0.15 % weighted
    /// two-sigma: the hardest case for an average that does not know the
    /// period.
    pub fn pure_wow() -> Self {
        Self {
            lines: lines(&[(0.5556, 1.0), (1.1112, 0.15)]),
            white_percent: 0.2,
            ..Self::default()
        }
        .scaled(PURE_WOW_SCALE)
    }

    /// Noise with a correlation time of 0.3 s, without any line, 0.15 % weighted
    /// two-sigma: what no average over wow periods can take out.
    pub fn correlated() -> Self {
        Self {
            white_percent: 1.0,
            correlated_percent: 1.0,
            correlation_s: 0.3,
            ..Self::default()
        }
        .scaled(CORRELATED_SCALE)
    }

    /// The parts of a battery portable for compact cassettes at 4.76 cm/s.
    /// Rates follow from usual diameters (common practice, no source):
    /// take-up hub 0.55 Hz, pinch roller of 12 mm 1.26 Hz, belt 2.9 Hz,
    /// capstan of 2.5 mm 6.06 Hz, motor at 2,400 r/min 40 Hz and the three
    /// poles of its commutator 120 Hz. Strengths are invented.
    pub fn portable() -> Self {
        Self {
            lines: lines(&[
                (0.55, 0.10),
                (1.26, 0.05),
                (2.9, 0.04),
                (6.06, 0.06),
                (40.0, 0.03),
                (120.0, 0.02),
            ]),
            white_percent: 0.06,
            correlated_percent: 0.02,
            correlation_s: 0.3,
        }
    }

    /// The same variation, every part stronger or weaker by one factor.
    pub fn scaled(mut self, factor: f64) -> Self {
        for line in &mut self.lines {
            line.peak_percent *= factor;
        }
        self.white_percent *= factor;
        self.correlated_percent *= factor;
        self
    }

    /// Standard deviation of the speed at the nodes of the noise in percent.
    pub fn standard_deviation_percent(&self) -> f64 {
        let lines: f64 = self
            .lines
            .iter()
            .map(|line| line.peak_percent.powi(2) / 2.0)
            .sum();
        (lines + self.white_percent.powi(2) + self.correlated_percent.powi(2)).sqrt()
    }
}

/// Makes the variation, frame by frame.
#[derive(Clone, Debug)]
pub(super) struct Flutter {
    lines: Vec<TurningLine>,
    white_percent: f64,
    correlated: Correlated,
    random: Random,
    /// Noise at the node just passed and at the next one.
    from: f64,
    to: f64,
    noisy: bool,
}

#[derive(Clone, Debug)]
struct TurningLine {
    turns: f64,
    turns_per_frame: f64,
    peak_percent: f64,
}

/// First-order autoregressive noise: x ← a x + sqrt(1 − a²) n.
#[derive(Clone, Debug)]
struct Correlated {
    value: f64,
    keep: f64,
    fresh: f64,
}

impl Flutter {
    pub(super) fn new(model: &FlutterModel, rate_hz: f64, seed: u64) -> Self {
        let mut phases = Random::new(seed, Purpose::LinePhases);
        let lines = model
            .lines
            .iter()
            .map(|line| {
                // Drawn even if not used: a fixed phase moves no other.
                let drawn = phases.unit();
                TurningLine {
                    turns: line.start_turns.unwrap_or(drawn),
                    turns_per_frame: line.hz / rate_hz,
                    peak_percent: line.peak_percent,
                }
            })
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
        let mut flutter = Self {
            lines,
            white_percent: model.white_percent,
            correlated,
            random,
            from: 0.0,
            to: 0.0,
            noisy: model.white_percent > 0.0 || model.correlated_percent > 0.0,
        };
        flutter.next_node();
        flutter.next_node();
        flutter
    }

    /// The noise has reached its next node.
    pub(super) fn next_node(&mut self) {
        if !self.noisy {
            return;
        }
        let correlated = &mut self.correlated;
        correlated.value =
            correlated.keep * correlated.value + correlated.fresh * self.random.normal();
        self.from = self.to;
        self.to = correlated.value + self.white_percent * self.random.normal();
    }

    /// One frame on, the parts turning at this ratio of nominal speed.
    pub(super) fn advance(&mut self, ratio: f64) {
        for line in &mut self.lines {
            advance_turns(&mut line.turns, line.turns_per_frame * ratio);
        }
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
