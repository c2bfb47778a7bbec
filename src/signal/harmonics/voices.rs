//! How far the voices of one note lie apart.
//!
//! Two or three reeds, players or oscillators that are tuned alike but for a
//! little beat with one another. A partial of one voice keeps step with the
//! pitch from frame to frame; of several, the pairs of frames a few turns apart
//! lose their coherence, and how much says how wide its line is: the pulse-pair
//! estimate of a spectral width (D. S. Zrnić, 1977; from memory).

use rustfft::num_complex::Complex64;
use std::collections::VecDeque;
use std::f64::consts::TAU;

use super::comb::Comb;
use crate::signal::demodulator::turned_by;

/// Turns of their partial that pairs lie apart: voices up to 1 % to either side
/// stay within a radian or so.
const TURNS: f64 = 18.0;

/// Widths are averaged this long.
const MEMORY_S: f64 = 5.0;

/// Part of the coherence that one steady voice may lose: its attack, and
/// partials that die away faster than others.
const LEAST_LOSS: f64 = 2e-5;

/// Coherence below this tells nothing but that the voices lie far apart.
const LEAST_COHERENCE: f64 = 0.05;

/// A frame that was believed.
struct Kept {
    /// Complex amplitudes against the level of the frame.
    partials: Vec<Complex64>,
    /// Turns that 1 Hz of the comb has made with the pitch until then.
    turned: f64,
}

/// Of one partial in one channel.
#[derive(Clone, Copy, Debug, Default)]
struct Pair {
    re: f64,
    im: f64,
    power: f64,
}

/// See the module. Partials of all channels stand behind one another.
#[derive(Default)]
pub struct Voices {
    kept: VecDeque<Kept>,
    pairs: Vec<Pair>,
    turned: f64,
}

impl Voices {
    /// Frames before this one have another comb, or cannot be believed.
    pub fn interrupt(&mut self) {
        self.kept.clear();
    }

    /// A frame, `count` partials in each channel, and how far the pitch was off
    /// the comb since the last, as a part of itself.
    pub fn push(
        &mut self,
        comb: &Comb,
        hop_s: f64,
        off: f64,
        partials: &[Complex64],
        count: usize,
    ) {
        self.turned += hop_s * (1.0 + off);
        self.pairs.resize(partials.len(), Pair::default());
        let normal = partials.chunks(count.max(1)).flat_map(|channel| {
            let level: f64 = channel.iter().map(Complex64::norm_sqr).sum();
            let gain = level.max(1e-30).sqrt().recip();
            channel.iter().map(move |one| gain * one)
        });
        let now = Kept {
            partials: normal.collect(),
            turned: self.turned,
        };
        let memory = hop_s / MEMORY_S;
        for (place, pair) in self.pairs.iter_mut().enumerate() {
            let hz = comb.partial_hz(place % count);
            let frames = apart(hz, hop_s);
            let Some(then) = self.kept.len().checked_sub(frames) else {
                continue;
            };
            let (a, b) = (self.kept[then].partials[place], now.partials[place]);
            let turns = hz * (now.turned - self.kept[then].turned);
            let step = a.conj() * b * turned_by(-turns.fract());
            pair.re += step.re - memory * pair.re;
            pair.im += step.im - memory * pair.im;
            pair.power += 0.5 * (a.norm_sqr() + b.norm_sqr()) - memory * pair.power;
        }
        self.kept.push_back(now);
        let most = apart(comb.partial_hz(0), hop_s);
        while self.kept.len() > most {
            self.kept.pop_front();
        }
    }

    /// Standard deviation of the voices of a partial about the pitch, relative,
    /// with this part of its power noise; `None` before it is known.
    pub fn width(&self, place: usize, noise: f64) -> Option<f64> {
        let pair = self.pairs.get(place).filter(|pair| pair.power > 0.0)?;
        let coherence = f64::hypot(pair.re, pair.im) / pair.power;
        let lost = 1.0 - coherence;
        if lost < LEAST_LOSS + 2.0 * noise {
            return Some(0.0);
        }
        let coherence = (coherence / (1.0 - noise)).clamp(LEAST_COHERENCE, 1.0);
        Some((-2.0 * coherence.ln()).sqrt() / (TAU * TURNS))
    }
}

/// Frames that a pair of a partial lies apart.
fn apart(hz: f64, hop_s: f64) -> usize {
    ((TURNS / (hz * hop_s)).round() as usize).max(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE_HZ: f64 = 48_000.0;

    /// Three partials of voices that lie these parts off 440 Hz.
    fn width(voices: &[f64]) -> f64 {
        let comb = Comb::new(
            RATE_HZ,
            Comb::length_for(RATE_HZ, 440.0),
            vec![440.0, 880.0, 1320.0],
        );
        let samples: Vec<f32> = (0..5 * RATE_HZ as usize)
            .map(|k| {
                let one = |(v, off): (usize, &f64), n: f64| {
                    let turns = n * 440.0 * (1.0 + off) / RATE_HZ * k as f64;
                    (TAU * (turns + 0.37 * v as f64 * n).fract()).sin()
                };
                let partial = |n: f64| voices.iter().enumerate().map(|v| one(v, n)).sum::<f64>();
                (0.1 * (partial(1.0) + partial(2.0) + partial(3.0))) as f32
            })
            .collect();
        let mut heard = Voices::default();
        let hop_s = comb.hop() as f64 / RATE_HZ;
        let mut frame = Vec::new();
        for start in (0..samples.len() - comb.length()).step_by(comb.hop()) {
            frame.clear();
            comb.frame(&samples[start..start + comb.length()], &mut frame);
            heard.push(&comb, hop_s, 0.0, &frame, 3);
        }
        (0..3)
            .filter_map(|place| heard.width(place, 0.0))
            .sum::<f64>()
            / 3.0
    }

    #[test]
    fn voices_lie_as_far_apart_as_they_are_wide() {
        assert!(width(&[0.0]) < 1e-5, "{}", width(&[0.0]));
        for apart in [0.001, 0.003, 0.008] {
            let got = width(&[-apart, apart]);
            assert!((got / apart - 1.0).abs() < 0.35, "{apart}: {got}");
        }
    }
}
