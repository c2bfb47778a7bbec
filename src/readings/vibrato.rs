//! Finds a regular wavering in the pitch of a held note.

use std::collections::VecDeque;
use std::f64::consts::TAU;

use rustfft::num_complex::Complex64;

use crate::readings::found::Vibrato;
use crate::signal::line::Line;
use crate::signal::phasor::Phasor;
use crate::signal::statistics::parabola_top;
use crate::units::{Hertz, Percent};

/// Length of the past that it is looked for in, and from look to look.
const WINDOW_S: f64 = 1.5;
const EVERY_S: f64 = 0.5;

/// Rates that a hand or a voice makes (common practice, no source), and the
/// steps they are tried in.
const RATES_HZ: [f64; 2] = [3.5, 9.0];
const STEPS: u32 = 56;

/// Smaller ones are not named, relative peak; nor what holds less than this
/// part of all unsteadiness.
const LEAST_DEPTH: f64 = 5e-4;
const LEAST_PART: f64 = 0.4;

/// See the module.
pub struct VibratoMeter {
    rate_hz: f64,
    values: VecDeque<f64>,
    since_look: usize,
}

/// What one look saw; `None` where nothing wavers regularly.
#[derive(Clone, Copy, Debug)]
pub struct VibratoLook(Option<Vibrato>);

/// What the looks of one stretch saw.
#[derive(Clone, Copy, Debug, Default)]
pub struct VibratoTotals {
    looks: u32,
    seen: u32,
    /// Sums over the looks that saw one: turns a second, peak in percent.
    sums: (f64, f64),
}

impl VibratoTotals {
    /// Another look.
    pub fn add(&mut self, look: VibratoLook) {
        self.looks += 1;
        if let Some(vibrato) = look.0 {
            self.seen += 1;
            self.sums.0 += vibrato.rate.0;
            self.sums.1 += vibrato.depth.0;
        }
    }

    /// What showed in half of all looks.
    pub fn whole(&self) -> Option<Vibrato> {
        let seen = f64::from(self.seen);
        (self.seen > 0 && 2 * self.seen >= self.looks).then(|| Vibrato {
            rate: Hertz(self.sums.0 / seen),
            depth: Percent(self.sums.1 / seen),
        })
    }
}

impl VibratoMeter {
    /// For this number of values a second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            values: VecDeque::new(),
            since_look: 0,
        }
    }

    /// Another note begins, or the speed was moved.
    pub fn interrupt(&mut self) {
        self.values.clear();
        self.since_look = 0;
    }

    /// The newest frequency, in any unit. Now and then there is a look, to be
    /// added to the totals.
    pub fn push(&mut self, hz: f64) -> Option<VibratoLook> {
        let full = (WINDOW_S * self.rate_hz) as usize;
        if self.values.len() == full {
            self.values.pop_front();
        }
        self.values.push_back(hz);
        self.since_look += 1;
        let due = self.since_look as f64 >= EVERY_S * self.rate_hz;
        (self.values.len() == full && due).then(|| {
            self.since_look = 0;
            VibratoLook(wavering(self.values.make_contiguous(), self.rate_hz))
        })
    }
}

/// The strongest line of a stretch between the rates, under a Hann window.
fn wavering(values: &[f64], rate_hz: f64) -> Option<Vibrato> {
    let line = Line::of_series(values);
    let count = values.len() as f64;
    let mean = line.through[1];
    let flat: Vec<f64> = line.residuals(values).map(|off| off / mean).collect();
    let variance = flat.iter().map(|off| off * off).sum::<f64>() / count;
    let peak_at = |hz: f64| {
        let line: Complex64 = (flat.iter().zip(Phasor::new(0.0, -hz / rate_hz)).enumerate())
            .map(|(k, (off, back))| (1.0 - (TAU * (k as f64 + 0.5) / count).cos()) * off * back)
            .sum();
        2.0 * line.norm() / count
    };
    let step = (RATES_HZ[1] - RATES_HZ[0]) / f64::from(STEPS);
    let at = |k: u32| RATES_HZ[0] + step * f64::from(k);
    let peaks: Vec<f64> = (0..=STEPS).map(|k| peak_at(at(k))).collect();
    let best = (1..STEPS).max_by(|&a, &b| peaks[a as usize].total_cmp(&peaks[b as usize]))?;
    let [below, here, above] = [best - 1, best, best + 1].map(|k| peaks[k as usize]);
    // What rises to the edge of the range lies outside it.
    if here < below || here < above {
        return None;
    }
    let offset = parabola_top(below, here, above);
    let strong = here >= LEAST_DEPTH && here * here / 2.0 >= LEAST_PART * variance;
    strong.then_some(Vibrato {
        rate: Hertz(at(best) + offset * step),
        depth: Percent(100.0 * here),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(depth: f64, rate: f64, noise: f64) -> Option<Vibrato> {
        let mut meter = VibratoMeter::new(200.0);
        let mut totals = VibratoTotals::default();
        for k in 0..800 {
            let t = f64::from(k) / 200.0;
            let rough = noise * (f64::from(k * k % 97) / 48.0 - 1.0);
            let hz = 440.0 * (1.0 + depth * (TAU * rate * t).sin() + rough);
            if let Some(look) = meter.push(hz) {
                totals.add(look);
            }
        }
        totals.whole()
    }

    #[test]
    fn vibrato_has_its_rate_and_its_depth() {
        for rate in [4.2, 5.5, 7.3] {
            let got = heard(0.01, rate, 1e-4).expect("vibrato");
            assert!((got.rate.0 - rate).abs() < 0.05, "{got:?}");
            assert!((got.depth.0 - 1.0).abs() < 0.03, "{got:?}");
        }
    }

    #[test]
    fn what_is_steady_rough_or_slow_is_none() {
        assert_eq!(heard(0.0, 5.0, 0.0), None);
        assert_eq!(heard(0.0, 5.0, 0.01), None);
        assert_eq!(heard(0.01, 0.6, 0.0), None);
    }
}
