//! Finds short sounds that stand out, and when exactly each arrives.

use super::envelope::{smoothed, usual};
use crate::signal::statistics::{median, parabola_top};

/// Powers are taken over this while marks are looked for: as long as the
/// loudest part of a burst, longer than a click.
const FINE_S: f64 = 0.008;

/// A mark stands this many times the scatter above the usual power. Tuned, as
/// what follows, and judged by `--bench references -- marks`.
const ABOVE_SCATTER: f64 = 6.0;

/// Nothing is a mark that lies farther below the loudest, as a power: −40 dB.
const BELOW_LOUDEST: f64 = 1e-4;

/// Half of what is compared when arrivals are refined.
const AROUND_S: f64 = 0.03;

/// Passes of refining, and how far each may move an arrival, in hops: the
/// pattern gets sharper with each.
const PASSES: [usize; 5] = [24, 12, 6, 3, 3];

/// More sounds than this are not looked at, the loudest are kept: 72 000 are
/// four hours of five a second.
pub const MOST: usize = 72_000;

/// A short sound that stands out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mark {
    /// When, in seconds from the first hop.
    pub at_s: f64,
    /// Its greatest power, over 8 ms.
    pub power: f64,
}

/// What was heard.
#[derive(Clone, Debug)]
pub struct Heard {
    /// In the order of time.
    pub marks: Vec<Mark>,
    /// Usual power in between.
    pub noise: f64,
    /// Scatter of the power over 8 ms in between.
    pub scatter: f64,
}

/// Short sounds no nearer to each other than `apart_s`, the louder of two that
/// are; `power` in hops of `hop_s`.
pub fn standing_out(power: &[f32], hop_s: f64, apart_s: f64) -> Heard {
    let width = hops(FINE_S, hop_s);
    let fine = smoothed(power, width);
    let (noise, scatter) = usual(&mut fine.clone());
    let loudest = fine.iter().copied().fold(0.0, f32::max);
    let threshold = (noise + ABOVE_SCATTER * scatter).max(BELOW_LOUDEST * f64::from(loudest));
    let apart = hops(apart_s, hop_s);
    let mut marks: Vec<(usize, f32)> = Vec::new();
    for (at, &here) in fine.iter().enumerate() {
        if f64::from(here) <= threshold {
            continue;
        }
        match marks.last_mut() {
            Some(last) if at - last.0 < apart => {
                if here > last.1 {
                    *last = (at, here);
                }
            }
            _ => marks.push((at, here)),
        }
    }
    if marks.len() > MOST {
        marks.sort_by(|a, b| b.1.total_cmp(&a.1));
        marks.truncate(MOST);
        marks.sort_by_key(|mark| mark.0);
    }
    Heard {
        marks: marks
            .into_iter()
            .map(|(at, power)| Mark {
                at_s: (half_power_middle(&fine, at, noise, hops(AROUND_S, hop_s))
                    + 0.5 * width as f64)
                    * hop_s,
                power: f64::from(power),
            })
            .collect(),
        noise,
        scatter,
    }
}

/// The middle of what lies around the loudest moment and reaches half of its
/// power: where a long one is loudest is up to chance.
fn half_power_middle(fine: &[f32], loudest: usize, noise: f64, most: usize) -> f64 {
    let half = noise + 0.5 * (f64::from(fine[loudest]) - noise);
    let reaches = |k: &usize| f64::from(fine[*k]) > half;
    let before = (loudest.saturating_sub(most)..loudest)
        .rev()
        .take_while(reaches)
        .count();
    let after = (loudest + 1..fine.len().min(loudest + most))
        .take_while(reaches)
        .count();
    loudest as f64 + 0.5 * (after as f64 - before as f64)
}

fn hops(seconds: f64, hop_s: f64) -> usize {
    (seconds / hop_s).round().max(1.0) as usize
}

/// Arrivals by the pattern that the marks have in common, and what noise does
/// to each (one standard deviation, in seconds).
///
/// The pattern is the mean of the marks themselves, so that it is right at any
/// speed and for any sort of click.
pub fn refined(power: &[f32], hop_s: f64, noise: f64, marks: &[Mark]) -> (Vec<f64>, f64) {
    let half = hops(AROUND_S, hop_s).cast_signed();
    let mut at: Vec<f64> = marks.iter().map(|mark| mark.at_s / hop_s).collect();
    let mut pattern = Vec::new();
    for reach in PASSES {
        pattern = mean_pattern(power, noise, &at, half);
        for place in &mut at {
            *place += shift(power, noise, &pattern, *place, reach);
        }
    }
    let jitter = jitter(&pattern, power, noise, &at, half);
    (at.iter().map(|at| at * hop_s).collect(), jitter * hop_s)
}

/// The amplitude-like excess at a fractional hop: hops are values at their
/// middles, straight lines in between.
fn excess(power: &[f32], noise: f64, place: f64) -> f64 {
    let place = place - 0.5;
    let below = place.floor();
    let value = |k: f64| {
        if k < 0.0 || k >= power.len() as f64 {
            0.0
        } else {
            f64::from(power[k as usize]) - noise
        }
    };
    let part = place - below;
    value(below) * (1.0 - part) + value(below + 1.0) * part
}

fn mean_pattern(power: &[f32], noise: f64, at: &[f64], half: isize) -> Vec<f64> {
    let mut pattern = vec![0.0; 2 * half.unsigned_abs() + 1];
    for place in at {
        let one: Vec<f64> = (-half..=half)
            .map(|k| excess(power, noise, place + k as f64))
            .collect();
        // A loud one counts no more than the others.
        let size = one.iter().map(|v| v * v).sum::<f64>().sqrt();
        if size > 0.0 {
            for (sum, value) in pattern.iter_mut().zip(one) {
                *sum += value / size;
            }
        }
    }
    let size = pattern.iter().map(|v| v * v).sum::<f64>().sqrt();
    if size > 0.0 {
        for value in &mut pattern {
            *value /= size;
        }
    }
    pattern
}

/// How far the pattern has to move to fit best, in hops, `reach` at most.
fn shift(power: &[f32], noise: f64, pattern: &[f64], place: f64, reach: usize) -> f64 {
    let half = (pattern.len() / 2).cast_signed();
    let farthest = reach.cast_signed() + 1;
    let fit = |by: isize| -> f64 {
        (-half..=half)
            .zip(pattern)
            .map(|(k, p)| p * excess(power, noise, place + (k + by) as f64))
            .sum()
    };
    let fits: Vec<f64> = (-farthest..=farthest).map(fit).collect();
    let best = (1..fits.len() - 1)
        .max_by(|a, b| fits[*a].total_cmp(&fits[*b]))
        .unwrap_or(1);
    let part = parabola_top(fits[best - 1], fits[best], fits[best + 1]);
    best as f64 - farthest as f64 + part
}

/// Standard deviation of an arrival from the noise, in hops: that of the
/// powers in between over the steepness of the pattern, as of any place found
/// by correlation (the bound for a known shape in white noise).
fn jitter(pattern: &[f64], power: &[f32], noise: f64, at: &[f64], half: isize) -> f64 {
    let steep: f64 = pattern
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).powi(2))
        .sum();
    let mut sizes: Vec<f64> = at
        .iter()
        .map(|place| {
            (-half..=half)
                .zip(pattern)
                .map(|(k, p)| p * excess(power, noise, place + k as f64))
                .sum()
        })
        .collect();
    let size = median(&mut sizes).unwrap_or(0.0);
    // Where the mark is, its own power beats with the noise's: twice the
    // product of both.
    let scatter = (2.0 * noise * (noise + size)).sqrt();
    if size > 0.0 && steep > 0.0 {
        // Far from the marks hops scatter by the noise alone, within by the
        // beat; the larger is taken for all.
        scatter / (size * steep.sqrt()) * 0.5
    } else {
        f64::INFINITY
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOP_S: f64 = 0.0005;

    /// Bumps of some milliseconds at these times, on a low ground.
    fn bumps(times: &[f64]) -> Vec<f32> {
        let ground = |k: usize| 1e-3 * (0.5 + (k as f64 * 0.618_033_988_75).fract());
        let mut power: Vec<f32> = (0..12_000).map(|k| ground(k) as f32).collect();
        for time in times {
            for (k, slot) in power.iter_mut().enumerate() {
                let off = (k as f64 + 0.5) * HOP_S - time;
                *slot += (-(off / 0.004).powi(2)).exp() as f32;
            }
        }
        power
    }

    #[test]
    fn arrivals_are_found_to_a_part_of_a_hop() {
        let times = [1.000_13, 2.3, 3.777_77, 5.5];
        let power = bumps(&times);
        let heard = standing_out(&power, HOP_S, 0.15);
        assert_eq!(heard.marks.len(), times.len());
        let (arrivals, jitter_s) = refined(&power, HOP_S, heard.noise, &heard.marks);
        // All of them may be off by the same: only their distances count.
        let shift = arrivals[0] - times[0];
        for (got, time) in arrivals.iter().zip(times) {
            assert!((got - time - shift).abs() < 5e-5, "{got} {time}");
        }
        assert!(shift.abs() < 0.001 && jitter_s < 3e-4, "{shift} {jitter_s}");
    }

    #[test]
    fn of_two_that_are_near_the_louder_counts() {
        let mut power = bumps(&[1.0, 3.0]);
        for (k, add) in (0..20).map(|k| (2200 + k, 3.0)) {
            power[k] += add;
        }
        let heard = standing_out(&power, HOP_S, 0.15);
        let times: Vec<f64> = heard.marks.iter().map(|mark| mark.at_s).collect();
        assert_eq!(times.len(), 2, "{times:?}");
        assert!((times[0] - 1.105).abs() < 0.005, "{times:?}");
    }

    #[test]
    fn nothing_stands_out_of_nothing() {
        assert!(standing_out(&[], HOP_S, 0.1).marks.is_empty());
        assert!(standing_out(&[0.0; 4000], HOP_S, 0.1).marks.is_empty());
        assert!(standing_out(&bumps(&[]), HOP_S, 0.1).marks.is_empty());
    }
}
