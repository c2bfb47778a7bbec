//! Sound that plays while a control is worked: a tone from tape, and invented
//! music with drums, rests, vibrato, and voices at different places between
//! left and right. From a seed, so that it is the same every time.
//!
//! The music is simpler than what is sold: sums of harmonics and shaped noise,
//! no room, no singer. Its harmonics start at phases of their own, and the
//! sound card's noise comes behind the control.

use std::f64::consts::TAU;

pub use super::dice::Quick as Dice;
use tapewright::rehearsal::{ControlFault, ControlFaultKind};

pub const RATE_HZ: u32 = 48_000;

/// Bell-shaped, standard deviation 1: the sum of four even ones.
pub fn noise(dice: &mut Dice) -> f64 {
    let sum: f64 = (0..4).map(|_| dice.unit()).sum();
    (sum - 2.0) * 3f64.sqrt()
}

/// Stereo sound under way.
pub struct Sound {
    pub frames: Vec<[f64; 2]>,
}

impl Sound {
    pub fn silence(seconds: f64) -> Self {
        let frames = (seconds * f64::from(RATE_HZ)) as usize;
        Self {
            frames: vec![[0.0; 2]; frames],
        }
    }

    /// Adds a voice from a moment on; `voice` gives its samples until `None`.
    fn add(&mut self, at_s: f64, pan: f64, mut voice: impl FnMut(f64) -> Option<f64>) {
        let (left, right) = ((1.0 - pan).sqrt(), pan.sqrt());
        let begin = (at_s * f64::from(RATE_HZ)) as usize;
        for (n, frame) in self.frames.iter_mut().skip(begin).enumerate() {
            let Some(sample) = voice(n as f64 / f64::from(RATE_HZ)) else {
                return;
            };
            frame[0] += left * sample;
            frame[1] += right * sample;
        }
    }

    /// Hiss of the tape at this level below full scale, each channel its own.
    pub fn with_hiss(mut self, dbfs: f64, dice: &mut Dice) -> Self {
        let rms = 10f64.powf(dbfs / 20.0);
        for frame in &mut self.frames {
            for sample in frame {
                *sample += rms * noise(dice);
            }
        }
        self
    }

    /// To a highest peak below full scale.
    pub fn with_peak(mut self, dbfs: f64) -> Self {
        let peak = self
            .frames
            .iter()
            .flatten()
            .fold(0.0, |a: f64, b| a.max(b.abs()));
        let gain = 10f64.powf(dbfs / 20.0) / peak.max(1e-9);
        for frame in &mut self.frames {
            for sample in frame {
                *sample *= gain;
            }
        }
        self
    }

    pub fn interleaved(&self) -> Vec<f32> {
        self.frames.iter().flatten().map(|x| *x as f32).collect()
    }
}

/// What the sound card adds behind the control: white noise, 88 to 98 dB below
/// full scale as an input's noise is (common practice, no source; rounding to
/// 16 bits alone makes 101 dB).
pub fn recorded(samples: &mut [f32], seed: u64) {
    let mut dice = Dice::at(seed ^ 0x00CA_4D00);
    let rms = 10f64.powf(dice.between(-98.0, -88.0) / 20.0);
    for sample in samples {
        *sample += (rms * noise(&mut dice)) as f32;
    }
}

/// Seconds at which a control did this to a track.
pub fn starts(faults: &[ControlFault], kind: ControlFaultKind, track: usize) -> Vec<f64> {
    let of = |it: &&ControlFault| it.kind == kind && it.tracks[track];
    let seconds = |it: &ControlFault| it.frame as f64 / f64::from(RATE_HZ);
    faults.iter().filter(of).map(seconds).collect()
}

/// A tone from tape: a little wow, hiss 40 to 55 dB below it.
pub fn tone(hz: f64, seconds: f64, seed: u64) -> Sound {
    let mut dice = Dice::at(seed);
    let mut sound = Sound::silence(seconds);
    let (wow_hz, wow, start) = (
        dice.between(0.5, 6.0),
        dice.between(0.0, 0.0015),
        dice.unit(),
    );
    sound.add(0.0, 0.5, |t| {
        let bend = wow / wow_hz * (TAU * wow_hz * t).sin() / TAU;
        Some(0.35 * (TAU * (hz * (t + bend) + start)).sin())
    });
    let below = dice.between(40.0, 55.0);
    sound.with_hiss(-12.0 - below, &mut dice)
}

/// Steps of an invented scale from its root, in semitones.
const SCALE: [i32; 7] = [0, 2, 3, 5, 7, 8, 10];

fn pitch(root_hz: f64, step: i32) -> f64 {
    let octave = step.div_euclid(7);
    let semitones = 12 * octave + SCALE[step.rem_euclid(7) as usize];
    root_hz * 2f64.powf(f64::from(semitones) / 12.0)
}

/// How a voice begins and ends: straight lines, and it dies away in between.
fn envelope(t: f64, attack: f64, lasts: f64, release: f64, decay: f64) -> Option<f64> {
    if t > lasts + release {
        return None;
    }
    let begin = (t / attack).min(1.0);
    let end = ((lasts + release - t) / release).min(1.0);
    Some(begin * end * (-t / decay).exp())
}

/// Invented music: chords, a bass, a tune with vibrato, drums, rests.
pub fn music(seconds: f64, seed: u64) -> Sound {
    let mut dice = Dice::at(seed.wrapping_mul(0x1234_5677).wrapping_add(99));
    let mut sound = Sound::silence(seconds);
    let beat = dice.between(0.38, 0.75);
    let root = dice.between(90.0, 180.0);
    let style = Style::thrown(&mut dice);
    let mut at = 0.0;
    let mut count = 0;
    while at < seconds {
        let rests = count > 4 && count % 8 == 7 && style.rests;
        if !rests {
            let degree = [0, 3, 4, 5][dice.below(4)];
            if count % 4 == 0 || style.staccato {
                chord(&mut sound, &mut dice, at, root, degree, beat, &style);
            }
            bass(&mut sound, &mut dice, at, root / 2.0, degree, beat, &style);
            tune(&mut sound, &mut dice, at, root * 2.0, beat, &style);
            if style.drums {
                drums(&mut sound, &mut dice, at, count, beat, &style);
            }
        }
        at += beat;
        count += 1;
    }
    let below = dice.between(45.0, 62.0);
    let peak = dice.between(-9.0, -2.0);
    sound.with_peak(peak).with_hiss(peak - below, &mut dice)
}

struct Style {
    staccato: bool,
    drums: bool,
    rests: bool,
    bright: f64,
    hats: f64,
    pans: [f64; 4],
}

impl Style {
    fn thrown(dice: &mut Dice) -> Self {
        Self {
            staccato: dice.unit() < 0.5,
            drums: dice.unit() < 0.8,
            rests: dice.unit() < 0.6,
            bright: dice.between(0.6, 1.6),
            hats: dice.between(0.05, 0.25),
            pans: [0, 1, 2, 3].map(|_| dice.between(0.05, 0.95)),
        }
    }
}

/// A sum of harmonics that fall off with their order. Each begins where it
/// will, as behind the reflections of a room: in step they would be a train
/// of pulses with silence in between.
struct Harmonics {
    /// Amplitude and phase in turns of each.
    parts: Vec<(f64, f64)>,
}

impl Harmonics {
    fn thrown(dice: &mut Dice, hz: f64, bright: f64) -> Self {
        let most = (16_000.0 / hz).min(14.0) as u32;
        let part = |k: u32| {
            let k = f64::from(k);
            (k.powf(-1.0 / bright) / k.sqrt(), dice.unit())
        };
        Self {
            parts: (1..=most).map(part).collect(),
        }
    }

    fn at(&self, turns: f64) -> f64 {
        let orders = 1..=self.parts.len();
        let part = |(k, (amplitude, phase)): (usize, &(f64, f64))| {
            amplitude * (TAU * (turns * k as f64 + phase)).sin()
        };
        orders.zip(&self.parts).map(part).sum()
    }
}

fn chord(
    sound: &mut Sound,
    dice: &mut Dice,
    at: f64,
    root: f64,
    degree: i32,
    beat: f64,
    style: &Style,
) {
    for (voice, third) in [0, 2, 4, 7].into_iter().enumerate() {
        let hz = pitch(root, degree + third);
        let sung = Harmonics::thrown(dice, hz, style.bright);
        let (attack, lasts, release, decay) = if style.staccato {
            (
                0.004,
                beat * dice.between(0.2, 0.5),
                dice.between(0.012, 0.04),
                0.5,
            )
        } else {
            (0.03, beat * 3.8, 0.15, 4.0)
        };
        let pan = (style.pans[0] + 0.15 * voice as f64).min(0.95);
        sound.add(at, pan, |t| {
            let level = envelope(t, attack, lasts, release, decay)?;
            Some(0.12 * level * sung.at(hz * t))
        });
    }
}

fn bass(
    sound: &mut Sound,
    dice: &mut Dice,
    at: f64,
    root: f64,
    degree: i32,
    beat: f64,
    style: &Style,
) {
    for half in 0..2 {
        let hz = pitch(root, degree);
        let lasts = beat * dice.between(0.15, 0.4);
        let release = dice.between(0.01, 0.03);
        let plucked = Harmonics::thrown(dice, hz, style.bright * 0.8);
        let pan = style.pans[1].clamp(0.35, 0.65);
        sound.add(at + f64::from(half) * beat / 2.0, pan, |t| {
            let level = envelope(t, 0.003, lasts, release, 0.4)?;
            Some(0.3 * level * plucked.at(hz * t))
        });
    }
}

fn tune(sound: &mut Sound, dice: &mut Dice, at: f64, root: f64, beat: f64, style: &Style) {
    if dice.unit() < 0.25 {
        return;
    }
    let hz = pitch(root, i32::try_from(dice.below(10)).expect("below ten"));
    let (vibrato_hz, vibrato) = (dice.between(4.5, 6.5), dice.between(0.0, 0.008));
    let tremolo = dice.between(0.0, 0.3);
    let lasts = beat * dice.between(0.4, 0.95);
    let (attack, release) = (dice.between(0.004, 0.05), dice.between(0.015, 0.08));
    let sung = Harmonics::thrown(dice, hz, style.bright);
    let pan = style.pans[2];
    sound.add(at, pan, |t| {
        let level = envelope(t, attack, lasts, release, 2.0)?;
        let bend = -vibrato / vibrato_hz * (TAU * vibrato_hz * t).cos() / TAU;
        let shake = 1.0 + tremolo * (TAU * vibrato_hz * t).sin();
        Some(0.2 * level * shake * sung.at(hz * (t + bend)))
    });
}

fn drums(sound: &mut Sound, dice: &mut Dice, at: f64, count: u32, beat: f64, style: &Style) {
    if count.is_multiple_of(2) {
        sound.add(at, 0.5, |t| {
            let level = envelope(t, 0.002, 0.2, 0.02, 0.07)?;
            let turns = 50.0 * t + 90.0 * 0.03 * (1.0 - (-t / 0.03).exp());
            Some(0.9 * level * (TAU * turns).sin())
        });
    } else {
        let mut hits = dice.aside(0x55);
        sound.add(at, 0.45, |t| {
            let level = envelope(t, 0.001, 0.16, 0.02, 0.05)?;
            Some(0.4 * level * (noise(&mut hits) + 0.5 * (TAU * 190.0 * t).sin()))
        });
    }
    for quarter in 0..2 {
        let mut hits = dice.aside(77 + quarter);
        let decay = dice.between(0.012, 0.05);
        let mut last = 0.0;
        sound.add(at + quarter as f64 * beat / 2.0, style.pans[3], |t| {
            let level = envelope(t, 0.0007, 0.1, 0.02, decay)?;
            let noise = noise(&mut hits);
            // The difference takes the low frequencies away.
            let high = noise - last;
            last = noise;
            Some(style.hats * level * high)
        });
    }
}
