//! Invented music, and a tape machine that plays it: too fast or too slow,
//! with wow, flutter, hiss, treble loss and steps of level.

use std::f64::consts::{PI, TAU};

use super::dice::Small;

/// Samples a second of all that is made here.
pub const RATE_HZ: u32 = 16_000;
const RATE: f64 = RATE_HZ as f64;

/// A tune: chords that are held, a bass and a melody over a drum loop. The
/// loop, its sounds and its tempo come from a seed of their own, so that
/// different tunes can share them.
pub fn tune(seed: u64, drums: u64, seconds: f64) -> Vec<f32> {
    let mut samples = vec![0.0; (seconds * RATE) as usize];
    let beat_s = Small::new(drums).between(0.38, 0.6);
    let mut notes = Small::new(seed);
    let mut at_s = 0.0;
    while at_s < seconds {
        let root = i32::from(notes.below(12) as u8);
        for step in [0, [3, 4][notes.below(2)], 7] {
            let pitch = 48 + root + step;
            note(
                &mut samples,
                at_s,
                3.9 * beat_s,
                pitch,
                0.05,
                0.4,
                &mut notes,
            );
        }
        for beat in 0..4 {
            let at_s = at_s + f64::from(beat) * beat_s;
            let (low, high) = (36 + root, 60 + i32::from(notes.below(24) as u8));
            note(&mut samples, at_s, 0.9 * beat_s, low, 0.12, 2.0, &mut notes);
            let late_s = [0.0, 0.5 * beat_s][notes.below(2)];
            let held_s = beat_s * notes.between(0.4, 1.4);
            note(
                &mut samples,
                at_s + late_s,
                held_s,
                high,
                0.1,
                3.0,
                &mut notes,
            );
        }
        at_s += 4.0 * beat_s;
    }
    drum_loop(&mut samples, drums, beat_s);
    samples
}

/// The same bars over and over, to the sample.
pub fn looped(seed: u64, bar_s: f64, seconds: f64) -> Vec<f32> {
    let bar = tune(seed, seed, bar_s);
    let count = (seconds * RATE) as usize;
    bar.iter().copied().cycle().take(count).collect()
}

fn note(
    samples: &mut [f32],
    at_s: f64,
    held_s: f64,
    pitch: i32,
    loud: f64,
    fall: f64,
    chance: &mut Small,
) {
    let hz = 440.0 * (f64::from(pitch - 69) / 12.0).exp2();
    let phases: [f64; 6] = std::array::from_fn(|_| chance.between(0.0, TAU));
    // Each overtone as a turning pointer: a sine a sample would cost far more.
    let overtones = (1..).zip(&phases).filter_map(|(harmonic, phase)| {
        let harmonic = f64::from(harmonic);
        let turn = TAU * harmonic * hz / RATE;
        (harmonic * hz < 5000.0).then(|| {
            let loud = harmonic.powf(-1.2);
            ([loud * phase.sin(), loud * phase.cos()], turn.sin_cos())
        })
    });
    let mut overtones: Vec<([f64; 2], (f64, f64))> = overtones.collect();
    let from = (at_s * RATE) as usize;
    let fade = (-fall / RATE).exp();
    let mut loud = loud;
    for k in 0..(held_s * RATE) as usize {
        let Some(slot) = samples.get_mut(from + k) else {
            return;
        };
        let time_s = k as f64 / RATE;
        let edge = (time_s / 0.01)
            .min((held_s - time_s) / 0.03)
            .clamp(0.0, 1.0);
        let mut sum = 0.0;
        for ([sine, cosine], (up, along)) in &mut overtones {
            sum += *sine;
            (*sine, *cosine) = (
                *sine * *along + *cosine * *up,
                *cosine * *along - *sine * *up,
            );
        }
        *slot += (loud * edge * sum) as f32;
        loud *= fade;
    }
}

fn drum_loop(samples: &mut [f32], seed: u64, beat_s: f64) {
    let mut sounds = Small::new(seed ^ 0x5eed);
    let kick_hz = sounds.between(50.0, 80.0);
    let kick: Vec<f32> = (0..(0.25 * RATE) as usize)
        .map(|k| {
            let time_s = k as f64 / RATE;
            let turn = kick_hz * time_s + 3.0 * (1.0 - (-30.0 * time_s).exp());
            (0.5 * (-12.0 * time_s).exp() * (TAU * turn).sin()) as f32
        })
        .collect();
    let mut noise = |fall: f64, loud: f64| -> Vec<f32> {
        (0..(0.2 * RATE) as usize)
            .map(|k| {
                let loud = loud * (-fall * k as f64 / RATE).exp();
                (loud * sounds.between(-1.0, 1.0)) as f32
            })
            .collect()
    };
    let (snare, hat) = (noise(18.0, 0.3), noise(60.0, 0.12));
    let half = beat_s / 2.0;
    for step in 0..(samples.len() as f64 / RATE / half) as usize {
        let from = (step as f64 * half * RATE).round() as usize;
        let mut hit = |sound: &[f32]| {
            for (slot, x) in samples[from..].iter_mut().zip(sound) {
                *slot += x;
            }
        };
        hit(&hat);
        match step % 4 {
            0 => hit(&kick),
            2 => hit(&snare),
            _ => {}
        }
    }
}

/// How a machine plays a tape.
#[derive(Clone, Copy, Debug)]
pub struct Player {
    /// 1 is right.
    pub speed: f64,
    /// Place on the tape at which it starts, in seconds.
    pub start_s: f64,
    /// How long it plays.
    pub seconds: f64,
    /// Peak, as a part of the speed, each near 0.6 and 6 Hz.
    pub wow: f64,
    pub flutter: f64,
    /// Of the music, to the hiss.
    pub snr_db: f64,
    /// Treble is lost above, 12 dB an octave.
    pub treble_hz: f64,
    /// Steps of level every three seconds, up to so much either way.
    pub steps_db: f64,
    pub seed: u64,
}

impl Player {
    /// A good machine.
    pub fn good(speed: f64, start_s: f64, seconds: f64) -> Self {
        Self {
            speed,
            start_s,
            seconds,
            wow: 0.001,
            flutter: 0.0005,
            snr_db: 45.0,
            treble_hz: 7000.0,
            steps_db: 0.0,
            seed: 1,
        }
    }

    /// A worn one.
    pub fn worn(self) -> Self {
        Self {
            wow: 0.003,
            flutter: 0.001,
            snr_db: 25.0,
            treble_hz: 4000.0,
            steps_db: 4.0,
            ..self
        }
    }

    /// What its line output gives. Wow and flutter come back to where they
    /// were, so that the speed is the long-term mean.
    pub fn play(&self, tape: &[f32]) -> Vec<f32> {
        let mut chance = Small::new(self.seed);
        let (wow_hz, flutter_hz) = (chance.between(0.4, 0.8), chance.between(5.0, 8.0));
        let phases = [0; 2].map(|_| chance.between(0.0, TAU));
        let swing = |part: f64, hz: f64, phase: f64, time_s: f64| {
            part / (TAU * hz) * (phase.cos() - (TAU * hz * time_s + phase).cos())
        };
        let mut sound: Vec<f64> = (0..(self.seconds * RATE) as usize)
            .map(|n| {
                let time_s = n as f64 / RATE;
                let wavers = swing(self.wow, wow_hz, phases[0], time_s)
                    + swing(self.flutter, flutter_hz, phases[1], time_s);
                at(tape, (self.start_s + self.speed * (time_s + wavers)) * RATE)
            })
            .collect();
        let keep = 1.0 - (-TAU * self.treble_hz / RATE).exp();
        for _ in 0..2 {
            let mut last = 0.0;
            for x in &mut sound {
                last += keep * (*x - last);
                *x = last;
            }
        }
        let square = sound.iter().map(|x| x * x).sum::<f64>() / sound.len() as f64;
        let hiss = (3.0 * square).sqrt() * 10f64.powf(-self.snr_db / 20.0);
        let mut gain = 1.0;
        (sound.iter().enumerate())
            .map(|(n, x)| {
                if n % (3 * RATE_HZ as usize) == 0 {
                    gain = 10f64.powf(self.steps_db * chance.between(-1.0, 1.0) / 20.0);
                }
                (gain * x + hiss * chance.between(-1.0, 1.0)) as f32
            })
            .collect()
    }
}

/// The tape between its samples: a sinc of 32 samples under a Hann window.
fn at(tape: &[f32], place: f64) -> f64 {
    let whole = place.floor();
    let part = place - whole;
    let sine = (PI * part).sin();
    (-15..=16)
        .map(|k: i32| {
            let index = whole as i64 + i64::from(k);
            let sample = usize::try_from(index)
                .ok()
                .and_then(|index| tape.get(index));
            let away = f64::from(k) - part;
            let sign = if k.rem_euclid(2) == 0 { -1.0 } else { 1.0 };
            // sin π(k − part) = −(−1)^k sin π part.
            let sinc = if away.abs() < 1e-9 {
                1.0
            } else {
                sign * sine / (PI * away)
            };
            let window = 0.5 + 0.5 * (PI * away / 16.5).cos();
            f64::from(sample.copied().unwrap_or(0.0)) * sinc * window
        })
        .sum()
}
