//! Puts the ways of a sweep together: a bad spot shows at the same speed on
//! each of them, a hand's doings do not.
//!
//! For each way, each pattern and each speed the highest score is kept. Two
//! ways agree at a speed as far as the weaker of them goes along.

use super::bank::{LAGS_S, Trace};
use super::passes::Way;
use super::series::RATE_HZ;
use crate::signal::statistics::median;

/// Speeds that are told apart, over the range.
pub(super) const BINS: usize = 240;

/// Steps of the list by which dwells on two ways may differ.
const DWELL_STEPS: usize = 2;

/// Agreement reaches no further than this many times the weaker score's own.
const WEAKER_TIMES: f64 = 1.5;

/// Asked of each lag: a hand's own doings look most like a spot behind a slow
/// transport. Tuned, `--bench sweep -- --hands --tuning`; judged without
/// `--tuning`.
pub(super) const ASKED_OF_LAG: [f64; LAGS_S.len()] = [1.0, 1.0, 1.1];

/// Speeds that a spot reaches to either side in the traces. Tuned, the same; 10
/// and 24 do nearly as well.
const OWN_PLACE: usize = BINS / 15;

/// A score and the moment it comes from.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Peak {
    pub(super) score: f64,
    pub(super) at: usize,
}

/// The highest scores of a way: for each pattern and sign, by speed.
#[derive(Clone, Debug)]
pub(super) struct Scores {
    /// Indexed by pattern, then sign (0 faster, 1 slower).
    peaks: Vec<[Vec<Peak>; 2]>,
}

/// Where in the range a speed lies.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    pub(super) low: f64,
    pub(super) high: f64,
}

impl Scale {
    pub(super) fn bin(self, percent: f64) -> Option<usize> {
        let at = (percent - self.low) / (self.high - self.low) * BINS as f64;
        (0.0..BINS as f64).contains(&at).then_some(at as usize)
    }

    pub(super) fn percent(self, bin: usize) -> f64 {
        self.low + (bin as f64 + 0.5) / BINS as f64 * (self.high - self.low)
    }
}

/// The inner part of a way: where the hand has left one end and not yet
/// reached the other.
#[derive(Clone, Copy, Debug)]
pub(super) struct Inner {
    pub(super) from: usize,
    pub(super) to: usize,
}

impl Inner {
    pub(super) fn seconds(self) -> f64 {
        (self.to - self.from) as f64 / RATE_HZ
    }
}

impl Scores {
    /// Over the inner part of a way. `mean` is the speed track, briefly
    /// averaged.
    pub(super) fn of(traces: &[Trace], inner: Inner, mean: &[f64], scale: Scale) -> Self {
        let peaks = traces.iter();
        Self {
            peaks: peaks
                .map(|trace| trace_peaks(trace, inner, mean, scale))
                .collect(),
        }
    }

    /// The same, each speed taking the highest score within `reach` bins.
    fn widened(&self, reach: usize) -> Self {
        let widen = |peaks: &Vec<Peak>| -> Vec<Peak> {
            (0..peaks.len())
                .map(|bin| {
                    let near = &peaks[bin.saturating_sub(reach)..(bin + reach + 1).min(BINS)];
                    let best = near.iter().max_by(|a, b| a.score.total_cmp(&b.score));
                    best.copied().unwrap_or_default()
                })
                .collect()
        };
        let peaks = self.peaks.iter();
        Self {
            peaks: peaks.map(|[up, down]| [widen(up), widen(down)]).collect(),
        }
    }
}

fn trace_peaks(trace: &Trace, inner: Inner, mean: &[f64], scale: Scale) -> [Vec<Peak>; 2] {
    let mut peaks = [vec![Peak::default(); BINS], vec![Peak::default(); BINS]];
    let length = trace.length();
    let aside = (0.1 * RATE_HZ) as usize;
    for start in inner.from..inner.to.saturating_sub(length) {
        let before = mean[start.saturating_sub(aside)];
        let after = mean[(start + length + aside).min(mean.len() - 1)];
        let Some(bin) = scale.bin(f64::midpoint(before, after)) else {
            continue;
        };
        let score = trace.scores[start];
        let sign = usize::from(score < 0.0);
        let peak = &mut peaks[sign][bin];
        if score.abs() > peak.score {
            *peak = Peak {
                score: score.abs(),
                at: start + trace.to_middle(),
            };
        }
    }
    peaks
}

/// Where two ways agree.
#[derive(Clone, Copy, Debug)]
pub(super) struct Agreement {
    pub(super) strength: f64,
    /// How much is asked of its lag.
    pub(super) asked: f64,
    pub(super) bin: usize,
    /// 1 faster, −1 slower.
    pub(super) sign: f64,
    /// Pattern and peak on either way.
    pub(super) sides: [(usize, Peak); 2],
}

/// Two ways, ready to be held against each other.
pub(super) struct Pair<'a> {
    one: &'a Scores,
    other: Scores,
    /// Which patterns of the other way go with one of this.
    alike: Vec<Vec<usize>>,
    /// How much is asked of each pattern.
    asked: Vec<f64>,
}

impl<'a> Pair<'a> {
    /// Speeds within `reach` bins are the same.
    pub(super) fn new(one: &'a Scores, other: &Scores, traces: &[Trace], reach: usize) -> Self {
        let alike = traces
            .iter()
            .map(|a| {
                let fits = |b: &Trace| a.lag == b.lag && a.dwell.abs_diff(b.dwell) <= DWELL_STEPS;
                (0..traces.len()).filter(|&k| fits(&traces[k])).collect()
            })
            .collect();
        Self {
            one,
            other: other.widened(reach),
            alike,
            asked: traces.iter().map(|it| ASKED_OF_LAG[it.lag]).collect(),
        }
    }

    /// The strongest agreement at each speed of the one way, the other moved
    /// `by` bins along the range.
    pub(super) fn agreements(&self, by: isize) -> Vec<Agreement> {
        (0..BINS).filter_map(|bin| self.best_at(bin, by)).collect()
    }

    /// How strongly the ways agree where they must not: one of them moved
    /// along the range, by several shares of it.
    pub(super) fn by_chance(&self) -> Chance {
        let shifts = [
            -0.36, -0.28, -0.2, -0.14, -0.09, 0.09, 0.14, 0.2, 0.28, 0.36,
        ];
        Chance(shifts.map(|share| {
            let by = (share * BINS as f64) as isize;
            (by, self.agreements(by))
        }))
    }

    fn best_at(&self, bin: usize, by: isize) -> Option<Agreement> {
        let there_bin = bin.checked_add_signed(by).filter(|bin| *bin < BINS)?;
        let mut best: Option<Agreement> = None;
        for (pattern, peaks) in self.one.peaks.iter().enumerate() {
            for sign in 0..2 {
                let here = peaks[sign][bin];
                if here.score <= 0.0 {
                    continue;
                }
                for &alike in &self.alike[pattern] {
                    let there = self.other.peaks[alike][sign][there_bin];
                    let strength = agreement(here.score, there.score);
                    if best.as_ref().is_none_or(|best| strength > best.strength) {
                        best = Some(Agreement {
                            strength,
                            bin,
                            asked: self.asked[pattern],
                            sign: [1.0, -1.0][sign],
                            sides: [(pattern, here), (alike, there)],
                        });
                    }
                }
            }
        }
        best
    }
}

/// Two ways that were moved along the range: by how many bins, and where they
/// agree then.
pub(super) struct Chance([(isize, Vec<Agreement>); 10]);

impl Chance {
    /// How strongly the ways agree by chance.
    pub(super) fn strength(&self) -> f64 {
        self.median_of(|_, _| true)
    }

    /// The same for a spot at `bin`, the other way being moved `by` bins: a
    /// spot is no chance, so that its own place is left out on either way.
    pub(super) fn strength_beside(&self, bin: usize, by: isize) -> f64 {
        let away = |one: isize, other: isize| one.abs_diff(other) > OWN_PLACE;
        let bin = bin.cast_signed();
        self.median_of(|moved, it| {
            let here = it.bin.cast_signed();
            away(here, bin) && away(here + moved, bin + by)
        })
    }

    fn median_of(&self, counts: impl Fn(isize, &Agreement) -> bool) -> f64 {
        let highest = |(by, agreements): &(isize, Vec<Agreement>)| {
            let counted = agreements.iter().filter(|it| counts(*by, it));
            counted.map(|it| it.strength).fold(0.0, f64::max)
        };
        median(&mut self.0.each_ref().map(highest)).unwrap_or_default()
    }
}

fn agreement(one: f64, other: f64) -> f64 {
    let together = (one + other) * std::f64::consts::FRAC_1_SQRT_2;
    together.min(WEAKER_TIMES * std::f64::consts::SQRT_2 * one.min(other))
}

/// The inner part of a way: more than `margin` percent from both of its ends.
pub(super) fn inner_part(way: Way, smooth: &[f64], margin: f64) -> Inner {
    let [start, end] = [smooth[way.from], smooth[way.to]];
    let from = (way.from..way.to)
        .rev()
        .find(|&k| (smooth[k] - start).abs() < margin)
        .unwrap_or(way.from);
    let to = (way.from..way.to)
        .find(|&k| (smooth[k] - end).abs() < margin)
        .unwrap_or(way.to);
    Inner {
        from,
        to: to.max(from),
    }
}
