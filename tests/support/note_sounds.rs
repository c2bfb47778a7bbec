//! Invented held notes on an invented machine: partials of any strength,
//! vibrato, decay, stiff strings, hiss and hum. The same seed gives the same
//! sound.

use std::f64::consts::TAU;

use super::dice::Dice;
use super::sound;
use tapewright::readings::{Engine, Measurement, ReferenceKind};
use tapewright::units::Ppm;

/// Samples a second.
pub const RATE: u32 = 48_000;
const RATE_HZ: f64 = RATE as f64;

/// A held note as it comes off the tape.
#[derive(Clone, Debug)]
pub struct Held {
    /// First partial, heard or not, in hertz.
    pub hz: f64,
    /// Number and amplitude of each partial.
    pub partials: Vec<(u32, f64)>,
    /// B of fₙ = n f₀ √(1 + B n²) (Fletcher 1964).
    pub stiffness: f64,
    /// Vibrato: turns a second, peak as a part of the pitch.
    pub vibrato: (f64, f64),
    /// Time in which the first partial falls to 1/e; higher ones fall faster.
    pub decay_s: f64,
    /// Wow of the machine at 0.55 Hz, peak.
    pub wow: f64,
    pub seconds: f64,
    /// Of the note at its start against the noise in all of the band.
    pub snr_db: f64,
    /// 50 Hz, amplitude against a note of 0.14.
    pub hum: f64,
    pub seed: u64,
}

impl Held {
    /// A note of seven partials, 40 dB above the hiss, for 2 s.
    pub fn plain(hz: f64, seed: u64) -> Self {
        Self {
            hz,
            partials: (1..8).map(|n| (n, 1.0 / f64::from(n))).collect(),
            stiffness: 0.0,
            vibrato: (5.5, 0.0),
            decay_s: f64::INFINITY,
            wow: 0.0,
            seconds: 2.0,
            snr_db: 40.0,
            hum: 0.0,
            seed,
        }
    }

    pub fn partial_hz(&self, n: u32) -> f64 {
        let square = f64::from(n).powi(2);
        let stretch = (1.0 + self.stiffness * square) / (1.0 + self.stiffness);
        self.hz * f64::from(n) * stretch.sqrt()
    }

    pub fn samples(&self) -> Vec<f32> {
        let mut dice = Dice::new(self.seed);
        let partials: Vec<(f64, f64, f64, f64)> = self
            .partials
            .iter()
            .filter(|(n, _)| self.partial_hz(*n) < 0.45 * RATE_HZ)
            .map(|&(n, amplitude)| {
                let fall = (1.0 + 0.1 * f64::from(n - 1)) / self.decay_s;
                (self.partial_hz(n), amplitude, fall, dice.between(0.0, 1.0))
            })
            .collect();
        let power: f64 = partials.iter().map(|it| it.1 * it.1 / 2.0).sum();
        let gain = 0.1 / power.sqrt();
        let noise = 0.1 * 10f64.powf(-self.snr_db / 20.0);
        let phases = [dice.between(0.0, 1.0), dice.between(0.0, 1.0)];
        let count = (self.seconds * RATE_HZ) as usize;
        let mut moved = 0.0;
        (0..count)
            .map(|k| {
                let t = k as f64 / RATE_HZ;
                // The pitch in parts of itself, added up to turns of the first partial.
                let swing = self.vibrato.1 * (TAU * (self.vibrato.0 * t + phases[0])).sin();
                let wow = self.wow * (TAU * (0.55 * t + phases[1])).sin();
                moved += (swing + wow) / RATE_HZ;
                let ends = (t / 0.01).min((self.seconds - t) / 0.01).min(1.0);
                let sound: f64 = partials
                    .iter()
                    .map(|&(hz, amplitude, fall, phase)| {
                        let turns = (hz * (t + moved) + phase).fract();
                        amplitude * (-t * fall).exp() * (TAU * turns).sin()
                    })
                    .sum();
                let hum = 0.14 * self.hum * (TAU * (50.0 * t).fract()).sin();
                (gain * ends * sound + hum + noise * dice.gaussian()) as f32
            })
            .collect()
    }
}

/// The note `midi` semitones from a low C, twelve-tone equal temperament on
/// A4 = 440 Hz (ISO 16).
pub fn note_hz(midi: i32) -> f64 {
    440.0 * (f64::from(midi - 69) / 12.0).exp2()
}

/// Interleaved samples measured against a note; the sample clock is right.
pub fn measured(samples: &[f32], channels: u16, note: f64) -> Measurement {
    let mut engine = engine(channels, note);
    engine.push(samples);
    engine.measurement()
}

/// An engine for a note; the sample clock is right.
pub fn engine(channels: u16, note: f64) -> Engine {
    let mut settings = sound::settings_at(RATE, channels, note);
    settings.conditions.kind = ReferenceKind::Note;
    settings.conditions.clock.uncertainty = Ppm(0.0);
    sound::engine(settings)
}

/// A note of several voices on two channels, as ensembles, musettes, chorus
/// effects and organs make it.
#[derive(Clone, Debug)]
pub struct Ensemble {
    /// Each voice: how far it is off the middle as a part of it, or which stop
    /// of an organ it is as a multiple of the note; and its gain left and right.
    pub voices: Vec<(f64, [f64; 2])>,
    /// The note that every voice plays, but for its pitch and phases.
    pub held: Held,
}

impl Ensemble {
    /// Voices around a middle, alike in both channels.
    pub fn around(offs: &[f64], held: Held) -> Self {
        let voices = offs.iter().map(|off| (1.0 + off, [1.0; 2]));
        Self {
            voices: voices.collect(),
            held,
        }
    }

    /// Interleaved, with noise of its own in each channel.
    pub fn samples(&self) -> Vec<f32> {
        let each: Vec<Vec<f32>> = (0..)
            .zip(&self.voices)
            .map(|(voice, (times, _))| {
                let held = Held {
                    hz: self.held.hz * times,
                    seed: self.held.seed + 101 * voice,
                    snr_db: 100.0,
                    ..self.held.clone()
                };
                held.samples()
            })
            .collect();
        let noise = 0.1 * 10f64.powf(-self.held.snr_db / 20.0);
        let mut dice = Dice::new(self.held.seed ^ 0xe5e);
        (0..each[0].len())
            .flat_map(|k| {
                [0, 1].map(|channel| {
                    let voices = self.voices.iter().zip(&each);
                    let sum: f64 = voices
                        .map(|((_, gains), samples)| gains[channel] * f64::from(samples[k]))
                        .sum();
                    (sum + noise * dice.gaussian()) as f32
                })
            })
            .collect()
    }
}
