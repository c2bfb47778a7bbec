//! Invented sounds: test tones as bad as tape makes them, and ten kinds of
//! sound that are no test tone. The same seed gives the same sound.

use std::f64::consts::TAU;

use super::dice::Dice;
use super::sound;
use tapewright::readings::{Measurement, Nominal};
use tapewright::units::Hertz;

/// Samples a second of every sound.
pub const RATE: u32 = 48_000;
const RATE_HZ: f64 = RATE as f64;

/// What is no tone.
pub const NO_TONES: [&str; 10] = [
    "white and coloured noise",
    "narrow bands of noise",
    "mains hum",
    "speech-like",
    "chords and melodies",
    "solo lines",
    "glides",
    "clicks and pulses",
    "silence",
    "alarms, bursts, deep FM",
];

/// What is a tone.
pub const TONES: [&str; 11] = [
    "0.5 % wow at 20 dB",
    "turned by hand",
    "30 % AM",
    "dropouts",
    "hum at -20 dB",
    "square wave",
    "harmonics",
    "one channel only",
    "0.2 s",
    "begins late or ends early",
    "a step of 10 %",
];

/// Interleaved samples.
pub struct Sound {
    pub samples: Vec<f32>,
    pub channels: u16,
}

impl Sound {
    /// Against a reference, or the nearest usual tone.
    pub fn measured(&self, reference_hz: Option<f64>) -> Measurement {
        let mut settings = sound::settings(RATE, self.channels);
        let fixed = reference_hz.map(|hz| Nominal::Fixed(Hertz(hz)));
        settings.conditions.nominal = fixed.unwrap_or(Nominal::Nearest);
        sound::measure(settings, &self.samples)
    }
}

fn count(seconds: f64) -> usize {
    (seconds * RATE_HZ) as usize
}

fn seconds(n: usize) -> f64 {
    n as f64 / RATE_HZ
}

/// A sine whose frequency is a function of time.
fn sweep(length: usize, mut hz: impl FnMut(f64) -> f64) -> Vec<f64> {
    let mut turns = 0.1;
    (0..length)
        .map(|n| {
            turns = (turns + hz(seconds(n)) / RATE_HZ).fract();
            (TAU * turns).sin()
        })
        .collect()
}

fn white(dice: &mut Dice, length: usize) -> Vec<f64> {
    (0..length).map(|_| dice.bell()).collect()
}

fn add(sound: &mut [f64], other: &[f64], gain: f64) {
    for (sample, other) in sound.iter_mut().zip(other) {
        *sample += gain * other;
    }
}

fn power(sound: &[f64]) -> f64 {
    sound.iter().map(|s| s * s).sum::<f64>() / sound.len() as f64
}

/// Two poles at a frequency: a resonance of this width.
fn resonate(sound: &mut [f64], hz: f64, width_hz: f64) {
    let radius = (-std::f64::consts::PI * width_hz / RATE_HZ).exp();
    let (a, b) = (2.0 * radius * (TAU * hz / RATE_HZ).cos(), radius * radius);
    let gain = (1.0 - radius) * (1.0 - 2.0 * radius * (2.0 * TAU * hz / RATE_HZ).cos() + b).sqrt();
    let (mut one, mut two) = (0.0, 0.0);
    for sample in sound {
        let out = gain * *sample + a * one - b * two;
        two = one;
        one = out;
        *sample = out;
    }
}

/// One pole.
fn smooth(sound: &mut [f64], hz: f64) {
    let part = 1.0 - (-TAU * hz / RATE_HZ).exp();
    let mut state = 0.0;
    for sample in sound {
        state += part * (*sample - state);
        *sample = state;
    }
}

fn level(dice: &mut Dice, sound: &mut [f64]) {
    let peak = sound.iter().fold(1e-9, |peak: f64, s| peak.max(s.abs()));
    let gain = dice.ratio(0.03, 0.95) / peak;
    for sample in sound {
        *sample *= gain;
    }
}

/// Somewhere in the range that the tone is looked for in.
fn in_range(dice: &mut Dice, tone_hz: f64) -> f64 {
    dice.between(0.82, 1.23) * tone_hz
}

/// A sound of one of the kinds that are no tone, made to lie near `tone_hz`
/// where the kind allows.
pub fn no_tone(kind: usize, tone_hz: f64, seed: u64) -> Sound {
    let mut dice = Dice::new(seed);
    let dice = &mut dice;
    let length = count(dice.between(3.0, 10.0));
    let mut sound = match kind {
        0 => coloured(dice, length),
        1 => narrow(dice, length, tone_hz),
        2 => mains_hum(dice, length),
        3 => speech(dice, length),
        4 => chords(dice, length, tone_hz),
        5 => solo(dice, length, tone_hz),
        6 => glide(dice, length, tone_hz),
        7 => clicks(dice, length),
        8 => silence(dice, length),
        _ => alarm(dice, length, tone_hz),
    };
    if kind != 8 {
        level(dice, &mut sound);
        let hiss = dice.ratio(1e-5, 1e-2);
        for sample in &mut sound {
            *sample += hiss * dice.bell();
        }
    }
    let stereo = dice.chance(0.3);
    let other = dice.between(-1.0, 1.0);
    let samples = sound.iter().flat_map(|&s| {
        let right = stereo.then_some((other * s) as f32);
        std::iter::once(s as f32).chain(right)
    });
    Sound {
        samples: samples.collect(),
        channels: if stereo { 2 } else { 1 },
    }
}

fn coloured(dice: &mut Dice, length: usize) -> Vec<f64> {
    let mut sound = white(dice, length);
    match dice.below(5) {
        0 => {}
        1 => smooth(&mut sound, 20.0),
        2 => {
            // Pink, near enough: poles a factor of four apart.
            let mut pink = vec![0.0; length];
            for pole in 0..6 {
                let mut part = white(dice, length);
                let hz = 20.0 * 4f64.powi(pole);
                smooth(&mut part, hz);
                let gain = 1.0 / power(&part).sqrt();
                add(&mut pink, &part, gain);
            }
            sound = pink;
        }
        3 => {
            let (hz, width) = (dice.ratio(200.0, 8000.0), dice.ratio(300.0, 2000.0));
            resonate(&mut sound, hz, width);
        }
        _ => {
            let old = sound.clone();
            for (sample, before) in sound[1..].iter_mut().zip(old) {
                *sample -= before;
            }
        }
    }
    sound
}

/// Noise around 0 Hz of this width in all, on a carrier.
fn narrow(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let width = dice.ratio(5.0, 200.0);
    let hz = in_range(dice, tone_hz);
    let poles = 1 + dice.below(4);
    let [mut re, mut im] = [white(dice, length), white(dice, length)];
    for _ in 0..poles {
        smooth(&mut re, width / 2.0);
        smooth(&mut im, width / 2.0);
    }
    re.iter()
        .zip(&im)
        .enumerate()
        .map(|(n, (re, im))| {
            let (sin, cos) = (TAU * (hz * seconds(n)).fract()).sin_cos();
            re * cos - im * sin
        })
        .collect()
}

fn mains_hum(dice: &mut Dice, length: usize) -> Vec<f64> {
    let mains = if dice.chance(0.5) { 50.0 } else { 60.0 } * dice.between(0.998, 1.002);
    let falls = dice.between(0.3, 2.0);
    let even = dice.between(0.0, 1.0);
    let most = 2 + dice.below(60);
    let mut sound = vec![0.0; length];
    for harmonic in 1..=most {
        let hz = mains * harmonic as f64;
        let mut gain = (harmonic as f64).powf(-falls) * dice.between(0.1, 1.0);
        if harmonic % 2 == 0 {
            gain *= even;
        }
        add(&mut sound, &sweep(length, |_| hz), gain);
    }
    sound
}

/// Pulses of a voice through three resonances, syllables and breath.
fn speech(dice: &mut Dice, length: usize) -> Vec<f64> {
    let pitch = dice.ratio(80.0, 450.0);
    let mut sound = Vec::with_capacity(length);
    while sound.len() < length {
        let size = count(dice.between(0.06, 0.4));
        let mut part = if dice.chance(0.25) {
            let mut breath = white(dice, size);
            let hz = dice.between(2000.0, 7000.0);
            resonate(&mut breath, hz, 1500.0);
            breath
        } else {
            let from = pitch * dice.between(0.8, 1.3);
            let to = from * dice.between(0.8, 1.2);
            let mut turns = 0.0;
            let mut pulses: Vec<f64> = (0..size)
                .map(|n| {
                    turns += (from + (to - from) * n as f64 / size as f64) / RATE_HZ;
                    let pulse = f64::from(u8::from(turns >= 1.0));
                    turns = turns.fract();
                    pulse
                })
                .collect();
            smooth(&mut pulses, 400.0);
            let mut voice = vec![0.0; size];
            for (low, high, gain) in [
                (250.0, 900.0, 1.0),
                (800.0, 2500.0, 0.5),
                (2200.0, 3500.0, 0.25),
            ] {
                let mut formant = pulses.clone();
                let (hz, width) = (dice.between(low, high), dice.between(50.0, 150.0));
                resonate(&mut formant, hz, width);
                add(&mut voice, &formant, gain);
            }
            voice
        };
        let loud = dice.ratio(0.2, 1.0) / power(&part).sqrt().max(1e-12);
        for (n, sample) in part.iter_mut().enumerate() {
            *sample *= loud * (std::f64::consts::PI * n as f64 / size as f64).sin();
        }
        sound.extend(part);
        if dice.chance(0.3) {
            sound.extend(vec![0.0; count(dice.between(0.05, 0.5))]);
        }
    }
    sound.truncate(length);
    sound
}

/// The sound of an instrument.
struct Timbre {
    harmonics: Vec<f64>,
    attack_s: f64,
    decay_s: f64,
    vibrato_hz: f64,
    vibrato: f64,
    breath: f64,
}

impl Timbre {
    fn any(dice: &mut Dice) -> Self {
        let falls = dice.between(0.7, 4.0);
        let most = 1 + dice.below(12);
        Self {
            harmonics: (1..=most)
                .map(|k| {
                    (k as f64).powf(-falls) * if k == 1 { 1.0 } else { dice.between(0.0, 1.0) }
                })
                .collect(),
            attack_s: dice.ratio(0.003, 0.1),
            decay_s: dice.ratio(0.2, 100.0),
            vibrato_hz: dice.between(4.0, 7.0),
            vibrato: if dice.chance(0.5) {
                0.0
            } else {
                dice.ratio(0.001, 0.02)
            },
            breath: dice.ratio(1e-4, 0.05),
        }
    }

    fn note(&self, dice: &mut Dice, hz: f64, length: usize) -> Vec<f64> {
        let mut note = vec![0.0; length];
        for (k, gain) in self.harmonics.iter().enumerate() {
            let hz = hz * (k + 1) as f64;
            if hz > 20_000.0 {
                break;
            }
            let part = sweep(length, |t| {
                hz * (1.0 + self.vibrato * (TAU * self.vibrato_hz * t).sin())
            });
            add(&mut note, &part, *gain);
        }
        let end = seconds(length);
        for (n, sample) in note.iter_mut().enumerate() {
            let t = seconds(n);
            *sample += self.breath * dice.bell();
            *sample *= (t / self.attack_s).min(1.0)
                * ((end - t) / 0.02).min(1.0)
                * (-t / self.decay_s).exp();
        }
        note
    }
}

const SCALE: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];

/// Steps of a scale above (or below) a keynote.
fn step_hz(keynote_hz: f64, step: i32) -> f64 {
    let semitones = 12 * step.div_euclid(7) + SCALE[step.rem_euclid(7) as usize];
    keynote_hz * 2f64.powf(f64::from(semitones) / 12.0)
}

fn chords(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let keynote = tone_hz * dice.ratio(0.2, 1.2);
    let timbre = Timbre::any(dice);
    let mut sound = vec![0.0; length];
    let mut at = 0;
    while at < length {
        let size = count(dice.between(0.25, 1.5)).min(length - at);
        let root = [0, 1, 2, 3, 4, 5, 6][dice.below(7)];
        for voice in (0..).take(3 + dice.below(2)) {
            let hz = step_hz(keynote, root + 2 * voice);
            let note = timbre.note(dice, hz, size);
            add(&mut sound[at..], &note, 1.0);
        }
        if dice.chance(0.6) {
            // A melody above.
            let tune = timbre.note(dice, step_hz(keynote, root + 7), size);
            add(&mut sound[at..], &tune, dice.between(0.3, 2.0));
        }
        at += size;
    }
    sound
}

/// One voice; some of its notes lie in range, and some are long and loud.
fn solo(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let keynote = in_range(dice, tone_hz);
    let timbre = Timbre::any(dice);
    let quarter_s = dice.between(0.12, 0.7);
    let rests = dice.between(0.0, 0.4);
    let mut sound = Vec::with_capacity(length);
    let mut step = 0i32;
    while sound.len() < length {
        let size = count(quarter_s * [0.5, 1.0, 1.0, 1.0, 2.0][dice.below(5)]).min(count(1.2));
        let note = timbre.note(dice, step_hz(keynote, step), size);
        let loud = dice.between(0.5, 1.0);
        sound.extend(note.iter().map(|s| s * loud));
        if dice.chance(rests) {
            sound.extend(vec![0.0; count(dice.between(0.02, 0.6))]);
        }
        step += [-4, -2, -1, -1, 1, 1, 2, 4][dice.below(8)];
        if step.abs() > 6 {
            step = 0;
        }
    }
    sound.truncate(length);
    sound
}

/// Faster than 20 % a second, or out of the range.
fn glide(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let whole_s = seconds(length);
    match dice.below(4) {
        // Once through the range, exponentially.
        0 => {
            let rate = dice.sign() * dice.ratio(0.22, 3.0);
            let meets = dice.between(0.2, 0.8) * whole_s;
            let hz = in_range(dice, tone_hz);
            sweep(length, |t| {
                (hz * ((t - meets) * rate).exp()).clamp(20.0, 20_000.0)
            })
        }
        // Out of the range in the course of the record.
        1 => {
            let sign = dice.sign();
            let from = tone_hz * dice.between(0.9, 1.1);
            let to = tone_hz
                * if sign > 0.0 {
                    dice.between(1.5, 3.0)
                } else {
                    dice.between(0.3, 0.6)
                };
            sweep(length, |t| from * (to / from).powf(t / whole_s))
        }
        // Up and down like a siren.
        2 => {
            let (depth, every) = (dice.between(0.1, 0.5), dice.between(0.5, 3.0));
            let depth: f64 = depth.max(0.16 * every);
            sweep(length, |t| {
                let place = 2.0 * ((t / every).fract() - 0.5).abs();
                tone_hz * (1.0 + depth * (2.0 * place - 1.0))
            })
        }
        // Again and again.
        _ => {
            let every = dice.between(0.4, 3.0);
            let (low, high) = (
                tone_hz * dice.between(0.3, 0.8),
                tone_hz * dice.between(1.25, 3.0),
            );
            sweep(length, |t| low * (high / low).powf((t / every).fract()))
        }
    }
}

fn clicks(dice: &mut Dice, length: usize) -> Vec<f64> {
    let mut sound = vec![0.0; length];
    let every_s = 1.0 / dice.ratio(0.5, 200.0);
    let jitter = if dice.chance(0.5) {
        0.0
    } else {
        dice.between(0.0, 0.9)
    };
    let mut at = 0.01;
    while count(at) < length {
        sound[count(at)] += dice.sign() * dice.between(0.5, 1.0);
        at += every_s * (1.0 + jitter * dice.between(-1.0, 1.0));
    }
    match dice.below(3) {
        0 => {}
        1 => {
            let (hz, width) = (dice.ratio(300.0, 6000.0), dice.ratio(100.0, 2000.0));
            resonate(&mut sound, hz, width);
        }
        _ => smooth(&mut sound, 4000.0),
    }
    sound
}

fn silence(dice: &mut Dice, length: usize) -> Vec<f64> {
    let offset = if dice.chance(0.4) {
        dice.between(-0.8, 0.8)
    } else {
        0.0
    };
    let steps = dice.below(3) as f64;
    (0..length)
        .map(|_| {
            let dither = steps * (dice.between(-0.5, 0.5) + dice.between(-0.5, 0.5));
            offset + dither.round() / 32_768.0
        })
        .collect()
}

fn alarm(dice: &mut Dice, length: usize, tone_hz: f64) -> Vec<f64> {
    let hz = in_range(dice, tone_hz);
    match dice.below(4) {
        // Two tones in turn.
        0 => {
            let other = hz * (1.0 + dice.sign() * dice.ratio(0.05, 0.5));
            let every = dice.ratio(0.05, 1.0);
            sweep(length, |t| {
                if ((t / every) as usize).is_multiple_of(2) {
                    hz
                } else {
                    other
                }
            })
        }
        // Two tones at once, on and off.
        1 => {
            let other = hz * (1.0 + dice.sign() * dice.ratio(0.03, 0.7));
            let mut sound = sweep(length, |_| hz);
            add(
                &mut sound,
                &sweep(length, |_| other),
                dice.between(0.7, 1.0),
            );
            if dice.chance(0.6) {
                gate(dice, &mut sound);
            }
            sound
        }
        // Bursts.
        2 => {
            let mut sound = sweep(length, |_| hz);
            gate(dice, &mut sound);
            sound
        }
        // Frequency modulation with absurd depth.
        _ => {
            let (rate, depth) = (dice.ratio(0.7, 100.0), dice.between(0.06, 0.4));
            sweep(length, |t| hz * (1.0 + depth * (TAU * rate * t).sin()))
        }
    }
}

/// Lets a sound through in bursts.
fn gate(dice: &mut Dice, sound: &mut [f64]) {
    let (on, off) = (dice.ratio(0.03, 0.6), dice.ratio(0.1, 1.0));
    let on = on.min(1.5 * off);
    for (n, sample) in sound.iter_mut().enumerate() {
        if seconds(n) % (on + off) > on {
            *sample = 0.0;
        }
    }
}

/// A test tone with one kind of trouble, near `tone_hz`; hiss is 20 dB below
/// it unless the kind is about something else, wow 0.5 % peak.
pub fn tone(kind: usize, tone_hz: f64, seed: u64) -> Sound {
    let mut dice = Dice::new(seed);
    let dice = &mut dice;
    let whole_s = if kind == 8 {
        dice.between(0.2, 0.4)
    } else {
        dice.between(3.0, 10.0)
    };
    let length = count(whole_s);
    let wow_hz = dice.ratio(0.4, 12.0);
    let wow = if kind == 8 { 0.0 } else { 0.005 };
    let off = match kind {
        1 | 10 => dice.between(0.93, 1.07),
        _ => dice.between(0.83, 1.22),
    };
    let turned = dice.between(0.01, 0.08) * dice.sign();
    let from_s = dice.between(0.1, 0.6) * whole_s;
    let step = 1.0 + 0.1 * dice.sign();
    let hz = |t: f64| {
        let wow = 1.0 + wow * (TAU * wow_hz * t).sin();
        let hand = match kind {
            1 => 1.0 + turned.signum() * (0.03 * (t - from_s)).clamp(0.0, turned.abs()),
            10 if t > from_s => step,
            _ => 1.0,
        };
        tone_hz * off * wow * hand
    };
    let mut sound = sweep(length, hz);
    let mut snr_db = 20.0;
    match kind {
        2 => {
            let rate = dice.ratio(0.5, 20.0);
            for (n, sample) in sound.iter_mut().enumerate() {
                *sample *= 1.0 + 0.3 * (TAU * rate * seconds(n)).sin();
            }
        }
        3 => {
            let mut at = dice.between(0.1, 1.0);
            while at < whole_s {
                let gone = dice.between(0.005, 0.1);
                let left = dice.between(0.0, 0.2);
                let from = count(at);
                let to = count(at + gone).min(length);
                sound[from..to].iter_mut().for_each(|s| *s *= left);
                at += gone + dice.between(0.4, 1.5);
            }
        }
        4 => {
            let hum = hum(dice, length);
            let gain = (0.01 * power(&sound) / power(&hum)).sqrt();
            add(&mut sound, &hum, gain);
        }
        // Band-limited, as what has passed a tape is.
        5 => {
            let top = 20_000.0;
            let mut square = sound.clone();
            for k in [3.0, 5.0, 7.0, 9.0, 11.0, 13.0] {
                if k * tone_hz * off * 1.01 < top {
                    add(&mut square, &sweep_from(length, k, hz), 1.0 / k);
                }
            }
            sound = square;
        }
        6 => {
            for k in [2.0, 3.0] {
                let gain = dice.between(0.05, 0.2);
                add(&mut sound, &sweep_from(length, k, hz), gain);
            }
        }
        8 => snr_db = dice.between(20.0, 60.0),
        9 => {
            let (from, to) = if dice.chance(0.5) {
                (count(dice.between(0.1, 0.6) * whole_s), length)
            } else {
                (0, count(dice.between(0.4, 0.9) * whole_s))
            };
            sound[..from].fill(0.0);
            sound[to..].fill(0.0);
        }
        _ => {}
    }
    let hiss = (0.5 / 10f64.powf(snr_db / 10.0)).sqrt();
    let gain = dice.ratio(0.03, 0.5);
    for sample in &mut sound {
        *sample = gain * (*sample + hiss * dice.bell());
    }
    in_channels(dice, &sound, tone_hz, gain, kind == 7)
}

/// Mains hum with its harmonics to the fifth.
fn hum(dice: &mut Dice, length: usize) -> Vec<f64> {
    let mains = if dice.chance(0.5) { 50.0 } else { 60.0 };
    let mut hum = vec![0.0; length];
    for k in 1..=5 {
        add(
            &mut hum,
            &sweep(length, |_| mains * f64::from(k)),
            1.0 / f64::from(k),
        );
    }
    hum
}

/// In one channel of two, beside silence, hiss or music; or mono.
fn in_channels(dice: &mut Dice, sound: &[f64], tone_hz: f64, gain: f64, one: bool) -> Sound {
    let length = sound.len();
    let other = match dice.below(3) {
        0 => vec![0.0; length],
        1 => white(dice, length).iter().map(|s| 0.1 * gain * s).collect(),
        _ => solo(dice, length, tone_hz),
    };
    let swapped = dice.chance(0.5);
    let samples = sound.iter().zip(&other).flat_map(|(&tone, &other)| {
        let pair = if swapped {
            [other, tone]
        } else {
            [tone, other]
        };
        let pair = if one { pair } else { [tone, tone] };
        pair.into_iter()
            .take(if one { 2 } else { 1 })
            .map(|s| s as f32)
    });
    Sound {
        samples: samples.collect(),
        channels: if one { 2 } else { 1 },
    }
}

/// The `k`th harmonic of [`sweep`], in phase with it.
fn sweep_from(length: usize, k: f64, hz: impl Fn(f64) -> f64) -> Vec<f64> {
    let mut turns = 0.1;
    (0..length)
        .map(|n| {
            turns = (turns + hz(seconds(n)) / RATE_HZ).fract();
            (TAU * (k * turns).fract()).sin()
        })
        .collect()
}
