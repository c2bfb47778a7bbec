//! Invented sounds for references that are told by time: a passage of a known
//! length, marks at a known spacing, and a machine that plays them too fast or
//! too slow, with wow, hiss and hum.

use std::f64::consts::TAU;

/// Rate of the invented tape, in samples a second.
pub const TAPE_RATE: f64 = 24_000.0;

/// Level of a programme, root mean square, full scale being 1.
const LEVEL: f64 = 0.12;

pub use super::dice::Quick;

/// Random numbers of their own.
pub fn seeded(seed: u64) -> Quick {
    Quick::at(seed.wrapping_mul(0x2545_F491_4F6C_DD1D))
}

/// What a passage consists of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Content {
    Tone,
    Music,
    Speech,
}

/// How its ends are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Fade {
    Abrupt,
    /// Half a cosine of so many seconds.
    Cosine(f64),
    /// A straight ramp of amplitude.
    Straight(f64),
}

/// A passage of exactly so many seconds from its first sound to its last.
pub fn passage(content: Content, seconds: f64, fade: Fade, chance: &mut Quick) -> Vec<f64> {
    let count = (seconds * TAPE_RATE).round() as usize;
    let mut sound = match content {
        Content::Tone => {
            let phase = chance.between(0.0, TAU);
            let hz = chance.between(300.0, 3000.0);
            (0..count)
                .map(|n| (TAU * hz * n as f64 / TAPE_RATE + phase).sin())
                .collect()
        }
        Content::Music => music(count, chance),
        Content::Speech => speech(count, chance),
    };
    let square = sound.iter().map(|s| s * s).sum::<f64>() / count as f64;
    let gain = LEVEL / square.sqrt();
    for (n, sample) in sound.iter_mut().enumerate() {
        let from_end = n.min(count - 1 - n) as f64 / TAPE_RATE;
        *sample *= gain * fade.amplitude(from_end);
    }
    sound
}

impl Fade {
    fn amplitude(self, from_end_s: f64) -> f64 {
        match self {
            Self::Abrupt => 1.0,
            Self::Cosine(over) => 0.5 - 0.5 * (TAU / 2.0 * (from_end_s / over).min(1.0)).cos(),
            Self::Straight(over) => (from_end_s / over).min(1.0),
        }
    }
}

/// Plucked notes with four partials, overlapping.
fn music(count: usize, chance: &mut Quick) -> Vec<f64> {
    let mut sound = vec![0.0; count];
    let mut start = 0;
    while start < count {
        let hz = 220.0 * (chance.between(0.0, 36.0).floor() / 12.0).exp2();
        let length = (chance.between(0.2, 0.6) * TAPE_RATE) as usize;
        let attack = chance.between(0.003, 0.03);
        let phases: [f64; 4] = std::array::from_fn(|_| chance.between(0.0, TAU));
        for n in 0..length.min(count - start) {
            let t = n as f64 / TAPE_RATE;
            let size = (t / attack).min(1.0) * (-t / 0.4).exp();
            let partial = |k: usize| {
                let times = k as f64 + 1.0;
                (TAU * hz * times * t + phases[k]).sin() / times
            };
            sound[start + n] += size * (0..4).map(partial).sum::<f64>();
        }
        start += (length as f64 * chance.between(0.5, 1.0)) as usize;
    }
    sound
}

/// Syllables of buzz and of hiss, with pauses between words; a syllable
/// stands at each end.
fn speech(count: usize, chance: &mut Quick) -> Vec<f64> {
    let mut sound = vec![0.0; count];
    let mut start = 0;
    loop {
        let length = (chance.between(0.1, 0.3) * TAPE_RATE) as usize;
        // The last one ends with the passage.
        let last = start + 2 * length >= count;
        let start_here = if last {
            count.saturating_sub(length)
        } else {
            start
        };
        syllable(&mut sound[start_here..], length, chance);
        if last {
            return sound;
        }
        let pause = if chance.between(0.0, 1.0) < 0.3 {
            chance.between(0.1, 0.5)
        } else {
            0.0
        };
        start += length + (pause * TAPE_RATE) as usize;
        if start >= count {
            let end = count - length;
            syllable(&mut sound[end..], length, chance);
            return sound;
        }
    }
}

fn syllable(sound: &mut [f64], length: usize, chance: &mut Quick) {
    let size = chance.between(0.3, 1.5);
    let voice = chance.between(110.0, 220.0);
    let formants = [chance.between(300.0, 800.0), chance.between(1000.0, 2500.0)];
    let hissing = chance.between(0.0, 1.0) < 0.25;
    let attack = chance.between(0.01, 0.03);
    let release = chance.between(0.02, 0.06);
    let mut before = 0.0;
    for (n, slot) in sound.iter_mut().take(length).enumerate() {
        let t = n as f64 / TAPE_RATE;
        let left = (length - n) as f64 / TAPE_RATE;
        let envelope = (t / attack).min(left / release).min(1.0);
        let value = if hissing {
            let noise = chance.bell();
            let high = noise - before;
            before = noise;
            0.4 * high
        } else {
            let since = t - (t * voice).floor() / voice;
            formants
                .iter()
                .map(|hz| (-since * 300.0).exp() * (TAU * hz * since).sin())
                .sum()
        };
        *slot += size * envelope * value;
    }
}

/// Clicks or bursts of other origin than ours at a spacing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Click {
    /// A single pulse.
    Pulse,
    /// A block of wood: a resonance that dies away.
    Wood,
    /// An electronic pip.
    Pip,
}

impl Click {
    pub fn sample(self, t: f64) -> f64 {
        if t < 0.0 {
            return 0.0;
        }
        match self {
            Self::Pulse => f64::from(t < 0.0004),
            Self::Wood => (-t / 0.004).exp() * (TAU * 1800.0 * t).sin(),
            Self::Pip => f64::from(t < 0.03) * (TAU * 880.0 * t).sin(),
        }
    }
}

/// A machine that plays the tape.
#[derive(Clone, Debug)]
pub struct Machine {
    pub rate_hz: f64,
    /// 1.01 is 1 % fast.
    pub speed: f64,
    /// Rate in hertz, peak in percent, phase.
    pub wow: Vec<[f64; 3]>,
    /// Hiss against the level of the programme; white up to half the rate.
    pub snr_db: f64,
    /// Level that `snr_db` is taken from.
    pub level: f64,
    /// 50 Hz and two harmonics, as an amplitude.
    pub hum: f64,
}

impl Machine {
    pub fn new(snr_db: f64) -> Self {
        Self {
            rate_hz: 48_000.0,
            speed: 1.0,
            wow: Vec::new(),
            snr_db,
            level: LEVEL,
            hum: 0.0,
        }
    }

    /// Invented wow: a line of a capstan or reel, one slower, one faster.
    pub fn with_wow(mut self, percent: f64, chance: &mut Quick) -> Self {
        self.wow = [(0.4, 0.8, 1.0), (0.05, 0.2, 0.4), (1.0, 8.0, 0.7)]
            .map(|(low, high, part)| {
                [
                    chance.between(low, high),
                    percent * part,
                    chance.between(0.0, TAU),
                ]
            })
            .to_vec();
        self
    }

    /// Place on the tape, in seconds at right speed.
    pub fn place(&self, t: f64) -> f64 {
        let wow: f64 = self
            .wow
            .iter()
            .map(|[hz, percent, phase]| {
                percent / 100.0 / (TAU * hz) * ((TAU * hz * t + phase).sin() - phase.sin())
            })
            .sum();
        self.speed * (t + wow)
    }

    fn hum_at(&self, t: f64) -> f64 {
        [1.0, 0.3, 0.1]
            .iter()
            .zip([50.0, 100.0, 150.0])
            .map(|(part, hz)| self.hum * part * (TAU * hz * t).sin())
            .sum()
    }

    /// Plays `tape`, which begins `lead_s` seconds at right speed after the
    /// recording does, for `seconds` in all.
    pub fn play(&self, tape: &[f64], lead_s: f64, seconds: f64, chance: &mut Quick) -> Vec<f32> {
        let between = Interpolation::new();
        self.play_with(
            |place| between.at(tape, (place - lead_s) * TAPE_RATE),
            seconds,
            chance,
        )
    }

    /// Plays whatever stands at a place on the tape.
    pub fn play_with(
        &self,
        tape: impl Fn(f64) -> f64,
        seconds: f64,
        chance: &mut Quick,
    ) -> Vec<f32> {
        let hiss = self.level * 10f64.powf(-self.snr_db / 20.0);
        (0..(seconds * self.rate_hz) as usize)
            .map(|n| {
                let t = n as f64 / self.rate_hz;
                let hum = if self.hum > 0.0 { self.hum_at(t) } else { 0.0 };
                (tape(self.place(t)) + hiss * chance.bell() + hum) as f32
            })
            .collect()
    }
}

/// Between samples, by sines under a Hann window of 16 samples.
struct Interpolation(Vec<[f64; TAPS]>);

const TAPS: usize = 16;
const PHASES: usize = 512;

impl Interpolation {
    fn new() -> Self {
        let half = TAPS as f64 / 2.0;
        let weight = |x: f64| {
            if x.abs() < 1e-12 {
                return 1.0;
            }
            let turn = TAU / 2.0 * x;
            turn.sin() / turn * (0.5 + 0.5 * (turn / half).cos())
        };
        let phases = (0..=PHASES).map(|phase| {
            let part = phase as f64 / PHASES as f64;
            std::array::from_fn(|tap| weight(tap as f64 - (half - 1.0) - part))
        });
        Self(phases.collect())
    }

    fn at(&self, tape: &[f64], place: f64) -> f64 {
        let before = (TAPS / 2 - 1).cast_signed();
        let first = place.floor() as isize - before;
        if first < -TAPS.cast_signed() || first >= tape.len().cast_signed() {
            return 0.0;
        }
        let phase = (place - place.floor()) * PHASES as f64;
        let (below, part) = (phase as usize, phase.fract());
        let (low, high) = (&self.0[below], &self.0[below + 1]);
        (0..TAPS)
            .filter_map(|tap| {
                let sample = tape.get(usize::try_from(first + tap.cast_signed()).ok()?)?;
                Some(sample * (low[tap] + (high[tap] - low[tap]) * part))
            })
            .sum()
    }
}

/// A row of marks on a tape, with some missing and other sounds in between.
#[derive(Clone, Debug)]
pub struct Marks {
    pub spacing_s: f64,
    pub count: usize,
    pub amplitude: f64,
    /// `None`: the program's own bursts.
    pub click: Option<Click>,
    pub missing: Vec<usize>,
    pub others: Vec<f64>,
}

impl Marks {
    /// The program's own bursts, all there and nothing else.
    pub fn row(spacing_s: f64, count: usize) -> Self {
        Self {
            spacing_s,
            count,
            amplitude: 0.25,
            click: None,
            missing: Vec::new(),
            others: Vec::new(),
        }
    }

    /// The first mark stands half a second into the tape.
    pub fn sample(&self, place: f64) -> f64 {
        let time = place - 0.5;
        let number = (time / self.spacing_s).floor();
        let mut value = 0.0;
        if number >= 0.0 && number < self.count as f64 {
            let number = number as usize;
            if !self.missing.contains(&number) {
                value += self.shape(time - number as f64 * self.spacing_s);
            }
        }
        for other in &self.others {
            if (0.0..0.05).contains(&(place - other)) {
                value += Click::Wood.sample(place - other);
            }
        }
        self.amplitude * value
    }

    fn shape(&self, t: f64) -> f64 {
        match self.click {
            Some(click) => click.sample(t),
            None if t < 0.02 => (0.5 - 0.5 * (TAU * t / 0.02).cos()) * (TAU * 1000.0 * t).sin(),
            None => 0.0,
        }
    }
}
