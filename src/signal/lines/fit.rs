//! Sinusoids fitted to a record one after the other, round and round: each to
//! what the others leave (back-fitting: Friedman & Stuetzle, JASA 76 (1981)
//! 817; for sinusoids Li & Stoica, IEEE Trans. SP 44 (1996) 281; both from
//! memory).

// See `wide`.
#![allow(clippy::inline_always)]

use rustfft::num_complex::Complex64;

use crate::signal::cholesky::Normal;
use crate::signal::demodulator::turned_by;
use crate::signal::fir::dot;
use crate::signal::phasor::Phasor;
use crate::signal::wide::{self, Work, madd};

/// Values of the record that share one table of a sinusoid.
const PIECE: usize = 512;

/// A step of the rate goes no further, in turns over the record: beyond it
/// the main lobe is no parabola.
const MOST_STEP_TURNS: f64 = 0.3;

/// Rounds in which all lines are fitted: after three, lines 2.5 turns apart, one
/// of them 2.5 times the other, are within 0.4 % (found by simulation).
const ROUNDS: u32 = 3;

/// A sinusoid Re(w e^(j2π(f t + c t²/2))), t counted from the middle of the
/// record in its values.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Wave {
    /// f: turns for each value.
    pub turns: f64,
    /// c: how that changes for each value.
    pub bend: f64,
    /// w.
    pub phase: Complex64,
}

impl Wave {
    /// Half of peak to peak.
    pub fn peak(&self) -> f64 {
        self.phase.norm()
    }

    /// Its value at a place.
    pub fn at(&self, t: f64) -> f64 {
        let turns = (self.turns + 0.5 * self.bend * t) * t;
        (self.phase * turned_by(turns.fract())).re
    }
}

/// One turn of the table: cosine and sine of the first values, and these times
/// their places.
struct Table {
    turns: f64,
    plain: [Vec<f32>; 2],
    moment: [Vec<f32>; 2],
}

impl Table {
    fn new(turns: f64) -> Self {
        let unit: Vec<Complex64> = Phasor::new(0.0, turns).take(PIECE).collect();
        let made = |value: &dyn Fn(usize, &Complex64) -> f64| {
            let all = unit.iter().enumerate();
            all.map(|(k, unit)| value(k, unit) as f32).collect()
        };
        Self {
            turns,
            plain: [made(&|_, unit| unit.re), made(&|_, unit| unit.im)],
            moment: [
                made(&|k, unit| k as f64 * unit.re),
                made(&|k, unit| k as f64 * unit.im),
            ],
        }
    }

    /// e^(j2πft) at a place.
    fn at(&self, place: f64) -> Complex64 {
        turned_by((self.turns * place).fract())
    }
}

/// Place of the first value, from the middle.
fn first_place(count: usize) -> f64 {
    -(count as f64 - 1.0) / 2.0
}

/// Σ z (cosine − j sine).
#[inline(always)]
fn inner<const FUSED: bool>(values: &[f32], [cosine, sine]: &[Vec<f32>; 2]) -> Complex64 {
    Complex64::new(
        f64::from(dot::<FUSED>(values, &cosine[..values.len()])),
        -f64::from(dot::<FUSED>(values, &sine[..values.len()])),
    )
}

/// Σ z e^(−j2πft) and Σ t z e^(−j2πft).
struct Correlate<'a> {
    values: &'a [f32],
    table: &'a Table,
}

impl Work for Correlate<'_> {
    type Output = [Complex64; 2];

    #[inline(always)]
    fn run<const FUSED: bool>(self) -> Self::Output {
        let first = first_place(self.values.len());
        let mut sums = [Complex64::default(); 2];
        for (piece, values) in self.values.chunks(PIECE).enumerate() {
            let place = first + (piece * PIECE) as f64;
            let back = self.table.at(place).conj();
            let plain = inner::<FUSED>(values, &self.table.plain);
            let moment = inner::<FUSED>(values, &self.table.moment);
            sums[0] += back * plain;
            sums[1] += back * (place * plain + moment);
        }
        sums
    }
}

/// Adds a sinusoid of steady rate.
struct Add<'a> {
    values: &'a mut [f32],
    table: &'a Table,
    phase: Complex64,
}

impl Work for Add<'_> {
    type Output = ();

    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let first = first_place(self.values.len());
        let [cosines, sines] = &self.table.plain;
        for (piece, values) in self.values.chunks_mut(PIECE).enumerate() {
            let phase = self.phase * self.table.at(first + (piece * PIECE) as f64);
            let (a, b) = (phase.re as f32, -phase.im as f32);
            for (value, (cosine, sine)) in values.iter_mut().zip(cosines.iter().zip(sines)) {
                *value = madd::<FUSED>(a, *cosine, madd::<FUSED>(b, *sine, *value));
            }
        }
    }
}

/// Adds a wave to a record; its sign turned, takes it out.
pub fn add(values: &mut [f32], wave: &Wave, sign: f64) {
    if wave.peak() <= 0.0 {
        return;
    }
    if wave.bend == 0.0 {
        let table = Table::new(wave.turns);
        return wide::run(Add {
            values,
            table: &table,
            phase: sign * wave.phase,
        });
    }
    let first = first_place(values.len());
    for (k, value) in values.iter_mut().enumerate() {
        *value += (sign * wave.at(first + k as f64)) as f32;
    }
}

/// Fits all waves to a record of whole lanes, of which they have been taken
/// out already; what is left stays in it.
pub fn fit_all(residual: &mut [f32], waves: &mut [Wave]) {
    for _ in 0..ROUNDS {
        for wave in &mut *waves {
            add(residual, wave, 1.0);
            if wave.bend == 0.0 {
                fit_one(residual, wave);
            }
            add(residual, wave, -1.0);
        }
    }
}

/// The wave of steady rate near one, by least squares.
pub fn fit_one(values: &[f32], wave: &mut Wave) {
    let count = values.len() as f64;
    let squares = count * (count * count - 1.0) / 12.0;
    let correlate = |turns| {
        let table = &Table::new(turns);
        wide::run(Correlate { values, table })
    };
    let [sum, moment] = correlate(wave.turns);
    let power = sum.norm_sqr();
    if power > 0.0 {
        let step = (moment * sum.conj()).im / power * count / squares / std::f64::consts::TAU;
        let most = MOST_STEP_TURNS / count;
        wave.turns += step.clamp(-most, most);
    }
    let [sum, _] = correlate(wave.turns);
    // Σ cos² and Σ sin² about the middle of the record.
    let angle = std::f64::consts::TAU * wave.turns;
    let unlike = (count * angle).sin() / angle.sin();
    wave.phase = Complex64::new(
        sum.re / (0.5 * (count + unlike)),
        sum.im / (0.5 * (count - unlike)),
    );
}

/// Steps of Gauss and Newton towards a rate that moves.
const BEND_STEPS: u32 = 6;

/// The rate of a record of means may change by this many turns over the record
/// in a step, and the change of that.
const MOST_BEND_TURNS: f64 = 1.2;

/// The wave whose rate moves evenly, near one of steady rate, from means of
/// `each` values; `None` where there is none to be fitted.
pub fn fit_bent(values: &[f32], wave: &Wave, each: usize) -> Option<Wave> {
    let means: Vec<f64> = values
        .chunks_exact(each)
        .map(|few| few.iter().map(|&value| f64::from(value)).sum::<f64>() / each as f64)
        .collect();
    let used = (means.len() * each) as f64;
    // Middle of the first mean from the middle of the record.
    let first = first_place(values.len()) + (each as f64 - 1.0) / 2.0;
    let places = || (0..means.len()).map(|k| first + (k * each) as f64);
    let mut bent = *wave;
    for _ in 0..=BEND_STEPS {
        let mut normal = Normal::new(6);
        for (t, &mean) in places().zip(&means) {
            let unit = turned_by(((bent.turns + 0.5 * bent.bend * t) * t).fract());
            // Derivative of Re(w u) by the phase, for w as it was found last.
            let aside = -(bent.phase * unit).im;
            let x = t / used;
            let row = [unit.re, -unit.im, 1.0, x, aside * x, aside * x * x];
            normal.add(&row, mean, 1.0);
        }
        let found = normal.solve(0.0)?;
        bent.phase = Complex64::new(found[0], found[1]);
        let turn = std::f64::consts::TAU;
        let step = found[4] / (turn * used);
        let bend = 2.0 * found[5] / (turn * used * used);
        bent.turns += step.clamp(-MOST_STEP_TURNS / used, MOST_STEP_TURNS / used);
        let most = MOST_BEND_TURNS / (used * used);
        bent.bend += bend.clamp(-most, most);
    }
    // What a mean of several values leaves of a sinusoid.
    let angle = std::f64::consts::PI * bent.turns;
    bent.phase *= each as f64 * angle.sin() / (each as f64 * angle).sin();
    Some(bent)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn lines_two_and_a_half_turns_apart_come_out_each_with_its_own_peak() {
        let count = 16_000;
        for nth in 0..8 {
            let turns = [40.0 / f64::from(count), 42.5 / f64::from(count)];
            let peaks = [0.05, 0.02];
            let lag = [0.13 * f64::from(nth), 0.31];
            let value = |n: i32| {
                let all = (0..2).map(|k| {
                    let turned = turns[k] * f64::from(n) + lag[k];
                    peaks[k] * (TAU * turned).cos()
                });
                all.sum::<f64>() as f32
            };
            let mut residual: Vec<f32> = (0..count).map(value).collect();
            let near = |k: usize| Wave {
                turns: turns[k] + 0.2 / f64::from(count),
                ..Wave::default()
            };
            let mut waves = [near(0), near(1)];
            fit_all(&mut residual, &mut waves);
            for (wave, peak) in waves.iter().zip(peaks) {
                let off = wave.peak() / peak - 1.0;
                assert!(off.abs() < 0.02, "{nth}: {off}");
            }
        }
    }

    #[test]
    fn a_rate_that_moves_is_followed() {
        let count = 30_000;
        // 0.5 turns a second at 500 values, which slow by 3.6 % a minute.
        let (turns, bend) = (0.5 / 500.0, -0.036 / 60.0 * 0.5 / 500.0 / 500.0);
        let truth = Wave {
            turns,
            bend,
            phase: Complex64::new(0.05, 0.06),
        };
        let mut values = vec![0.0; count];
        add(&mut values, &truth, 1.0);
        let mut near = Wave { turns, ..truth };
        fit_one(&values, &mut near);
        let got = fit_bent(&values, &near, 31).expect("a line");
        assert!((got.bend / bend - 1.0).abs() < 0.02, "{}", got.bend / bend);
        assert!((got.peak() / truth.peak() - 1.0).abs() < 0.005);
        add(&mut values, &got, -1.0);
        let left = values
            .iter()
            .fold(0.0f32, |most, value| most.max(value.abs()));
        assert!(left < 1e-3, "{left}");
    }
}
