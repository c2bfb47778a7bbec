//! The speed and its ± from the places found.
//!
//! The speed is the slope of place against time by least squares: in terms of
//! the speed at every moment a mean whose weights are a parabola. Its ± comes
//! from how the speed moved about ([`Fluctuation`]), which knows that wow
//! remembers; noise of the places is fast and reaches the slope only so far as
//! the weights let it through.

use super::hearing::{CLOSE, HOPS_S};
use super::line::refined;
use crate::readings::expanded::Expanded;
use crate::readings::fluctuation::{Fluctuation, Weighing};
use crate::signal::line::{Line, squares_about_mean};
use crate::signal::statistics::{NORMAL_95, median, robust_sigma};

/// Stretches with fewer places say nothing about their own ±.
const LEAST: usize = 28;

/// Places within this of the line always count: no wow is cut off.
const NEAR_S: f64 = 0.004;

/// Windows so far apart share no sound.
const APART: usize = 3;

/// A speed, from the places found so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpeedFound {
    /// Speed of the tape, 1 being that of the copy.
    pub ratio: f64,
    /// ± of it, 95 %, relative; sample clock and copy left out.
    pub uncertainty: Expanded,
    /// Part of it that comes from single places being heard a little beside:
    /// 95 %, relative. The scatter that `uncertainty` is made from has it in it
    /// already.
    pub noise: f64,
    /// Median of how far the places lie off the line, in seconds.
    pub residual_s: f64,
    /// Time on the tape over which places were found.
    pub matched_s: f64,
}

/// Pairs of time on the tape and place in the copy, in seconds, of one
/// stretch without a jump.
pub type Stretch = Vec<[f64; 2]>;

/// The speed of all stretches together: one slope, a start of its own for
/// each. `None` while no stretch is long enough.
pub fn speed_of(stretches: &[Stretch]) -> Option<SpeedFound> {
    let (mut slope, mut weight, mut matched_s) = (0.0, 0.0, 0.0);
    let mut noise = 0.0;
    let (mut parts, mut off) = (Vec::new(), Vec::new());
    for stretch in stretches.iter().filter(|it| it.len() >= LEAST) {
        let Some(one) = One::of(stretch) else {
            continue;
        };
        slope += one.spread * one.line.slope;
        weight += one.spread;
        noise += (one.spread * one.noise).powi(2);
        matched_s += one.length_s;
        parts.push((one.spread, one.uncertainty));
        off.extend(one.off);
    }
    if weight <= 0.0 {
        return None;
    }
    let parts = parts.iter().map(|(spread, it)| it.scaled(spread / weight));
    Some(SpeedFound {
        ratio: slope / weight,
        uncertainty: Expanded::together(parts),
        noise: NORMAL_95 * noise.sqrt() / weight,
        residual_s: median(&mut off)?,
        matched_s,
    })
}

/// What one stretch says.
struct One {
    line: Line,
    /// Σ of squares of the times about their mean: its weight.
    spread: f64,
    uncertainty: Expanded,
    /// Standard deviation of the slope from noise of the places, relative.
    noise: f64,
    length_s: f64,
    off: Vec<f64>,
}

impl One {
    fn of(stretch: &Stretch) -> Option<Self> {
        let line = refined(stretch, Line::fitted(stretch.iter().copied())?, NEAR_S);
        let off = |point: &[f64; 2]| point[1] - line.at(point[0]);
        let mut magnitudes: Vec<f64> = stretch.iter().map(|point| off(point).abs()).collect();
        let limit = (5.0 * median(&mut magnitudes)?).max(NEAR_S);
        let kept: Vec<[f64; 2]> = stretch
            .iter()
            .filter(|point| off(point).abs() <= limit)
            .map(|point| [point[0], off(point)])
            .collect();
        let speeds = speeds(&kept, HOPS_S[CLOSE]);
        let relative: Vec<f64> = speeds.iter().map(|speed| speed / line.slope).collect();
        let uncertainty = Fluctuation::of(&relative)?.of_figure(Weighing::Parabola);
        let spread = squares_about_mean(kept.iter().map(|p| p[0]));
        // Of APART windows side by side only one is news.
        let noise = noise_of(&kept)? * (APART as f64 / spread).sqrt() / line.slope;
        Some(Self {
            line,
            spread,
            uncertainty,
            noise,
            length_s: kept.last()?[0] - kept.first()?[0],
            off: magnitudes,
        })
    }
}

/// Standard deviation of single places, from how each lies beside the mean of
/// two that share no sound with it: of white noise, 3/2 of its variance.
fn noise_of(points: &[[f64; 2]]) -> Option<f64> {
    let beside = points
        .windows(2 * APART + 1)
        .map(|p| p[APART][1] - 0.5 * (p[0][1] + p[2 * APART][1]));
    Some(robust_sigma(beside)? * (2.0f64 / 3.0).sqrt())
}

/// Speeds over equal steps, places between those found taken as straight.
fn speeds(points: &[[f64; 2]], step_s: f64) -> Vec<f64> {
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return Vec::new();
    };
    let steps = ((last[0] - first[0]) / step_s).round() as usize;
    let mut next = 1;
    let mut before = first[1];
    (1..=steps)
        .map(|k| {
            let time_s = first[0] + k as f64 * step_s;
            while next + 1 < points.len() && points[next][0] < time_s {
                next += 1;
            }
            let [a, b] = [points[next - 1], points[next]];
            let part = ((time_s - a[0]) / (b[0] - a[0])).clamp(0.0, 1.0);
            let here = a[1] + part * (b[1] - a[1]);
            let speed = (here - before) / step_s;
            before = here;
            speed
        })
        .collect()
}
