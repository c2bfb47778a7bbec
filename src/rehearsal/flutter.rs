//! How speed does not stay: lines from rotating parts, and noise.

use super::pack::Pack;

/// A sinusoidal variation of speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlutterLine {
    /// Frequency at nominal speed and at the start in Hz.
    pub hz: f64,
    /// Peak in percent of the speed.
    pub peak_percent: f64,
    /// Phase at the start in turns; `None`: drawn from the seed.
    pub start_turns: Option<f64>,
    /// What else its rate does.
    pub follows: Follows,
    /// Standard deviation in turns by which its phase has strayed after a
    /// minute: belts creep, rollers slip.
    pub strays_turns: f64,
}

/// What the rate of a line goes with.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Follows {
    /// The speed, as the part that makes it turns with the tape.
    #[default]
    Speed,
    /// The speed and the pack on the reel that makes it.
    Pack(Pack),
    /// Nothing: the mains keep their own time.
    Nothing,
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
    /// A governor that hunts.
    pub hunting: Hunting,
}

/// Noise about one rate, as a governor makes it that corrects too late.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Hunting {
    /// Standard deviation in percent.
    pub percent: f64,
    /// The rate about which it swings, Hz.
    pub hz: f64,
    /// Over how many swings, times π, it forgets itself: its quality.
    pub quality: f64,
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
            follows: Follows::Speed,
            strays_turns: 0.0,
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
            ..Self::default()
        }
    }

    /// The same variation, every part stronger or weaker by one factor.
    pub fn scaled(mut self, factor: f64) -> Self {
        for line in &mut self.lines {
            line.peak_percent *= factor;
        }
        self.white_percent *= factor;
        self.correlated_percent *= factor;
        self.hunting.percent *= factor;
        self
    }

    /// Standard deviation of the speed at the nodes of the noise in percent.
    pub fn standard_deviation_percent(&self) -> f64 {
        let lines: f64 = self
            .lines
            .iter()
            .map(|line| line.peak_percent.powi(2) / 2.0)
            .sum();
        let noises = [
            self.white_percent,
            self.correlated_percent,
            self.hunting.percent,
        ];
        let noise: f64 = noises.iter().map(|percent| percent.powi(2)).sum();
        (lines + noise).sqrt()
    }
}
