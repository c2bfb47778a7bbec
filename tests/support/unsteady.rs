//! Invented machines whose speed wavers in a known way: what they read in the
//! long run is known, so the ± of a short record can be judged.

use std::f64::consts::TAU;

use super::dice::Dice;
use super::sound;
use tapewright::readings::{ClockSource, Engine, Measurement, SampleClock};
use tapewright::units::{Percent, Ppm};

/// A low sample rate costs little and carries 3150 Hz with its flutter.
const RATE: u32 = 8000;
const TONE_HZ: f64 = 3150.0;

/// The speed is drawn at this rate and joined by straight lines.
const NODES_HZ: f64 = 200.0;
const FRAMES_PER_NODE: u32 = RATE / NODES_HZ as u32;

/// Noise of the channel, standard deviation per sample, beside a tone of peak
/// 0.5: 47 dB below it.
const HISS: f64 = 0.0016;

/// How a speed wavers; percent of nominal speed.
#[derive(Clone, Debug, Default)]
pub struct Wavering {
    /// Rate in hertz and peak of each line.
    pub lines: Vec<(f64, f64)>,
    /// What remembers.
    pub noises: Vec<Noise>,
    /// Standard deviation of independent values at 200 Hz.
    pub white: f64,
    /// Drift in percent a minute about the middle of the record.
    pub drift_per_minute: f64,
}

/// Noise that remembers; percent and seconds.
#[derive(Clone, Copy, Debug)]
pub struct Noise {
    pub rms: f64,
    pub memory_s: f64,
    /// Of a resonance at 1 / (2π memory); one half is inertia without one,
    /// `None` noise of first order.
    pub quality: Option<f64>,
}

impl Noise {
    /// Of first order.
    pub fn first(rms: f64, memory_s: f64) -> Self {
        Self {
            rms,
            memory_s,
            quality: None,
        }
    }

    /// How much of the last two values stays in the next.
    fn keeps(self) -> [f64; 2] {
        let step = 1.0 / (NODES_HZ * self.memory_s);
        self.quality.map_or([(-step).exp(), 0.0], |quality| {
            let part = (-step / (2.0 * quality)).exp();
            let turn = step * (1.0 - 0.25 / (quality * quality)).max(0.0).sqrt();
            [2.0 * part * turn.cos(), -part * part]
        })
    }
}

/// A noise as it goes on.
#[derive(Clone, Copy)]
struct Remembered {
    keeps: [f64; 2],
    fresh: f64,
    last: [f64; 2],
}

impl Remembered {
    fn new(noise: Noise, dice: &mut Dice) -> Self {
        let [a, b] = noise.keeps();
        // The variance of second-order autoregressive noise.
        let fresh = ((1.0 + b) * ((1.0 - b).powi(2) - a * a) / (1.0 - b)).sqrt();
        let newest = noise.rms * dice.bell();
        let alike = a / (1.0 - b);
        let before = if noise.quality.is_some() {
            alike * newest + (1.0 - alike * alike).sqrt() * noise.rms * dice.bell()
        } else {
            0.0
        };
        Self {
            keeps: [a, b],
            fresh: noise.rms * fresh,
            last: [newest, before],
        }
    }

    fn next(&mut self, dice: &mut Dice) -> f64 {
        let [a, b] = self.keeps;
        let value = a * self.last[0] + b * self.last[1] + self.fresh * dice.bell();
        self.last = [value, self.last[0]];
        value
    }
}

/// How slow noise hangs together; seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Slow {
    /// One memory.
    First(f64),
    /// Half of its power has one memory, half the other.
    Two(f64, f64),
    /// 1/f: seven memories up to this one, as strong each.
    Pink(f64),
    /// Behind inertia.
    Inert(f64),
    /// A resonance: rate in hertz and quality.
    Resonance(f64, f64),
    /// Beside white noise three times as strong.
    UnderWhite(f64),
}

impl Slow {
    fn noises(self, rms: f64) -> Vec<Noise> {
        let split = |memories_s: &[f64]| -> Vec<Noise> {
            let each = rms / (memories_s.len() as f64).sqrt();
            memories_s.iter().map(|&s| Noise::first(each, s)).collect()
        };
        let second = |memory_s: f64, quality: f64| {
            vec![Noise {
                rms,
                memory_s,
                quality: Some(quality),
            }]
        };
        match self {
            Self::First(memory_s) => split(&[memory_s]),
            Self::Two(one, other) => split(&[one, other]),
            Self::Pink(longest_s) => {
                split(&[6, 5, 4, 3, 2, 1, 0].map(|k| longest_s * 0.56f64.powi(k)))
            }
            Self::Inert(memory_s) => second(memory_s, 0.5),
            Self::Resonance(hz, quality) => second(1.0 / (TAU * hz), quality),
            Self::UnderWhite(memory_s) => vec![
                Noise::first(rms / 10f64.sqrt(), memory_s),
                Noise::first(3.0 * rms / 10f64.sqrt(), 0.1 / NODES_HZ),
            ],
        }
    }

    fn name(self) -> String {
        match self {
            Self::First(s) => format!("of {s:.2} s"),
            Self::Two(one, other) => format!("of {one:.2} s and {other:.2} s"),
            Self::Pink(s) => format!("1/f up to {s:.2} s"),
            Self::Inert(s) => format!("behind inertia of {s:.2} s"),
            Self::Resonance(hz, quality) => format!("resonant at {hz:.2} Hz, quality {quality}"),
            Self::UnderWhite(s) => format!("of {s:.2} s under white noise"),
        }
    }
}

/// What a speed is made of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// Two to five lines anywhere from 0.3 to 12 Hz and very little noise.
    Lines,
    /// Noise that remembers for so many seconds, and very little that does not.
    Correlated(f64),
    /// Drift up to ±0.5 % a minute with lines and noise of 0.3 s.
    Drift,
    /// Wow and its harmonic, capstan, motor, and noise.
    Mix,
    /// Lines in slow noise.
    LinesIn(LinesIn),
}

/// Lines beside noise that remembers; percent and seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LinesIn {
    /// Lines anywhere from 0.3 to 12 Hz, not those of a tape deck.
    pub anywhere: bool,
    /// Root mean square of all lines.
    pub lines: f64,
    /// Root mean square of the noise.
    pub noise: f64,
    /// How it hangs together.
    pub slow: Slow,
}

impl LinesIn {
    fn machine(self, dice: &mut Dice) -> Wavering {
        let mut lines: Vec<(f64, f64)> = if self.anywhere {
            (0..2 + dice.below(4))
                .map(|_| {
                    let hz = 0.3 * 40f64.powf(dice.unit());
                    (hz, dice.between(0.1, 1.0))
                })
                .collect()
        } else {
            [
                (0.45, 0.75, 1.0),
                (1.1, 1.6, 0.5),
                (4.5, 8.0, 0.6),
                (30.0, 45.0, 0.3),
            ]
            .map(|(low, high, peak)| (dice.between(low, high), peak))
            .into()
        };
        let square: f64 = lines.iter().map(|(_, peak)| peak * peak / 2.0).sum();
        for (_, peak) in &mut lines {
            *peak *= self.lines / square.sqrt();
        }
        Wavering {
            lines,
            noises: self.slow.noises(self.noise),
            white: 0.005,
            drift_per_minute: 0.0,
        }
    }
}

impl Kind {
    /// For tables.
    pub fn name(self) -> String {
        match self {
            Self::Lines => "lines at random rates".into(),
            Self::Correlated(memory_s) => format!("noise of {memory_s} s"),
            Self::Drift => "drift, lines, noise".into(),
            Self::Mix => "realistic mix".into(),
            Self::LinesIn(it) => format!(
                "{} {:.2} %, noise {:.2} % {}",
                if it.anywhere {
                    "lines at random rates"
                } else {
                    "deck lines"
                },
                it.lines,
                it.noise,
                it.slow.name(),
            ),
        }
    }

    /// One machine of this kind.
    pub fn machine(self, seed: u64) -> Wavering {
        let mut dice = Dice::new(seed ^ 0x006d_6163_6869_6e65);
        let lines = |dice: &mut Dice, most: usize, strongest: f64| {
            (0..2 + dice.below(most - 1))
                .map(|_| {
                    let hz = 0.3 * 40f64.powf(dice.unit());
                    (hz, dice.between(0.01, strongest))
                })
                .collect::<Vec<_>>()
        };
        match self {
            Self::Lines => Wavering {
                lines: lines(&mut dice, 5, 0.15),
                white: 0.005,
                ..Wavering::default()
            },
            Self::Correlated(memory_s) => Wavering {
                noises: vec![Noise::first(0.05, memory_s)],
                white: 0.005,
                ..Wavering::default()
            },
            Self::Drift => Wavering {
                lines: lines(&mut dice, 3, 0.1),
                noises: vec![Noise::first(0.03, 0.3)],
                white: 0.005,
                drift_per_minute: dice.between(-0.5, 0.5),
            },
            Self::Mix => {
                let mut near = |hz: f64| hz * dice.between(0.8, 1.25);
                let turn = near(0.55);
                Wavering {
                    lines: vec![
                        (turn, 0.10),
                        (2.0 * turn, 0.05),
                        (near(4.7), 0.06),
                        (near(8.9), 0.05),
                    ],
                    noises: vec![Noise::first(0.02, 0.3)],
                    white: 0.06,
                    ..Wavering::default()
                }
            }
            Self::LinesIn(it) => it.machine(&mut dice),
        }
    }
}

/// A record of a wavering machine, made as it is asked for.
pub struct Tone {
    wavering: Wavering,
    dice: Dice,
    phases: Vec<f64>,
    remembered: Vec<Remembered>,
    node: u64,
    middle_s: f64,
    speed: f64,
    turns: f64,
}

impl Tone {
    /// Of so many seconds, phases and noise drawn from the seed.
    pub fn new(wavering: &Wavering, seconds: f64, seed: u64) -> Self {
        let mut dice = Dice::new(seed ^ 0x0000_746f_6e65);
        let phases = wavering.lines.iter().map(|_| dice.unit()).collect();
        let mut tone = Self {
            wavering: wavering.clone(),
            phases,
            remembered: Vec::new(),
            dice,
            node: 0,
            middle_s: seconds / 2.0,
            speed: 0.0,
            turns: 0.0,
        };
        for &noise in &wavering.noises {
            let remembered = Remembered::new(noise, &mut tone.dice);
            tone.remembered.push(remembered);
        }
        tone.speed = tone.next_speed();
        tone
    }

    fn next_speed(&mut self) -> f64 {
        let t = self.node as f64 / NODES_HZ;
        self.node += 1;
        let w = &self.wavering;
        let mut remembered = 0.0;
        for noise in &mut self.remembered {
            remembered += noise.next(&mut self.dice);
        }
        let lines: f64 = w
            .lines
            .iter()
            .zip(&self.phases)
            .map(|((hz, peak), phase)| peak * (TAU * (hz * t + phase).fract()).sin())
            .sum();
        lines
            + remembered
            + w.white * self.dice.bell()
            + w.drift_per_minute / 60.0 * (t - self.middle_s)
    }

    /// The samples of the next two-hundredth of a second.
    pub fn add_node(&mut self, samples: &mut Vec<f32>) {
        let from = self.speed;
        self.speed = self.next_speed();
        let step = (self.speed - from) / f64::from(FRAMES_PER_NODE);
        for frame in 0..FRAMES_PER_NODE {
            let speed = from + step * (f64::from(frame) + 0.5);
            self.turns += TONE_HZ / f64::from(RATE) * (1.0 + speed / 100.0);
            self.turns = self.turns.fract();
            let value = 0.5 * (TAU * self.turns).sin() + HISS * self.dice.bell();
            samples.push(value as f32);
        }
    }
}

/// An engine for which clock and reference are perfect: the statistics alone
/// are judged.
pub fn engine() -> Engine {
    let mut settings = sound::settings(RATE, 1);
    settings.conditions.reference.uncertainty = Some(Percent(0.0));
    settings.conditions.clock = SampleClock {
        error: Ppm(0.0),
        uncertainty: Ppm(0.0),
        source: ClockSource::Option,
    };
    sound::engine(settings)
}

/// What a record of so many seconds reads.
pub fn measured(wavering: &Wavering, seconds: f64, seed: u64) -> Measurement {
    let mut engine = engine();
    let mut tone = Tone::new(wavering, seconds, seed);
    let mut samples = Vec::new();
    for _ in 0..(seconds * NODES_HZ) as u64 {
        samples.clear();
        tone.add_node(&mut samples);
        engine.push(&samples);
    }
    engine.measurement()
}

/// What a machine reads in the long run; percent.
#[derive(Clone, Copy)]
pub struct LongRun {
    /// Weighted two-sigma.
    pub two_sigma: f64,
    /// Weighted root mean square.
    pub rms: f64,
}

impl LongRun {
    /// Measured over so many seconds, drift left out.
    pub fn of(wavering: &Wavering, seconds: f64, seed: u64) -> Self {
        let steady = Wavering {
            drift_per_minute: 0.0,
            ..wavering.clone()
        };
        let flutter = measured(&steady, seconds, seed).flutter;
        let value = |figure: Option<Percent>| figure.map_or(f64::NAN, |percent| percent.0);
        Self {
            two_sigma: value(flutter.weighted_two_sigma),
            rms: value(flutter.weighted_rms),
        }
    }
}

/// What the highest reading of the indicator is over records as long, on
/// average.
pub fn mean_peak<'a>(records: impl Iterator<Item = &'a Measurement>) -> f64 {
    let peaks: Vec<f64> = records
        .filter_map(|got| got.flutter.weighted_peak)
        .map(|peak| peak.0)
        .collect();
    peaks.iter().sum::<f64>() / peaks.len() as f64
}

/// Those that have a ±, in the order of the tables.
pub const FIGURES: [&str; 5] = ["speed", "drift", "two-sigma", "rms", "quasi-peak"];

/// Error and ± of each figure that is given; without a ±, nothing is covered.
pub fn judged(
    got: &Measurement,
    drift_per_minute: f64,
    long_run: LongRun,
    peak: f64,
) -> [Option<(f64, f64)>; FIGURES.len()] {
    let value = |it: Option<Percent>| it.map(|it| it.0);
    let speed = got.speed.map(|it| it.deviation.0);
    let around_speed = got.speed.and_then(|it| value(it.uncertainty));
    let drift = got.drift.map(|it| it.percent_per_minute);
    let around_drift = got.drift.and_then(|it| it.uncertainty_percent_per_minute);
    let it = &got.flutter;
    let two_sigma = [it.weighted_two_sigma, it.weighted_two_sigma_uncertainty];
    let rms = [it.weighted_rms, it.weighted_rms_uncertainty];
    let quasi_peak = [it.weighted_peak, it.weighted_peak_uncertainty];
    [
        ([speed, around_speed], 0.0),
        ([drift, around_drift], drift_per_minute),
        (two_sigma.map(value), long_run.two_sigma),
        (rms.map(value), long_run.rms),
        (quasi_peak.map(value), peak),
    ]
    .map(|([value, limit], truth)| Some((value? - truth, limit.unwrap_or(-1.0))))
}
