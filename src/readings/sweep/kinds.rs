//! What a bad spot does, and what the speed does while the trimmer rests.

use super::SpotKind;
use super::bank::Trace;
use super::passes::Way;
use super::series::{RATE_HZ, running_mean, running_median};
use crate::signal::statistics::median;

/// A spot takes the speed against the turning by at least this part of its
/// depth, or it is no jump and no reversal.
const AGAINST_SHARE: f64 = 0.35;
/// A run against the turning that lasts this many seconds is no leap: no lag of
/// a transport explains it.
const SLOW_RUN_S: f64 = 0.7;

/// One passage over a spot.
#[derive(Clone, Copy, Debug)]
pub(super) struct Passage {
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) up: bool,
}

impl Passage {
    /// Over the pattern whose middle lies at `at`.
    pub(super) fn of(trace: &Trace, at: usize, way: Way, length: usize) -> Self {
        let aside = (0.15 * RATE_HZ) as usize;
        let start = at.saturating_sub(trace.to_middle());
        Self {
            from: start.saturating_sub(aside),
            to: (start + trace.length() + aside).min(length),
            up: way.up,
        }
    }

    /// Furthest run against the direction of turning in percent, and how long
    /// it lasts in values.
    fn against(self, values: &[f64]) -> (f64, usize) {
        let sign = if self.up { 1.0 } else { -1.0 };
        let (mut furthest, mut furthest_at) = (f64::NEG_INFINITY, 0);
        let (mut against, mut lasts) = (0.0, 0);
        for (k, value) in values[self.from..self.to].iter().enumerate() {
            let onward = sign * value;
            if onward >= furthest {
                (furthest, furthest_at) = (onward, k);
            } else if furthest - onward > against {
                (against, lasts) = (furthest - onward, k - furthest_at);
            }
        }
        (against, lasts)
    }
}

/// What a spot of this depth does on its passages; places where the speed
/// stands have no depth and are looked for by themselves. `flutter` is what wow
/// and flutter do from peak to peak within a passage.
pub(super) fn kind_of(passages: &[Passage], values: &[f64], depth: f64, flutter: f64) -> SpotKind {
    let least = (AGAINST_SHARE * depth.abs()).max(1.3 * flutter);
    let reverses = |it: &Passage| {
        let (against, lasts) = it.against(values);
        against >= least && lasts as f64 >= SLOW_RUN_S * RATE_HZ
    };
    if passages.iter().all(reverses) {
        SpotKind::Reversal
    } else {
        SpotKind::Jump
    }
}

/// Slower than this in percent a second, over a second, is rest.
const REST_PACE: f64 = 0.12;
/// A rest lasts this many seconds at least, its ends left out,
const LEAST_REST_S: f64 = 0.8;
/// where the hand stops and starts.
const REST_EDGE_S: f64 = 0.4;
/// At rest nothing but noise and flutter is about: a score beyond this is
/// none of theirs.
const LOUD_AT_REST: f64 = 6.5;
/// Leaps in a rest that make a crackle; one may be a finger.
const LEAST_LEAPS: usize = 2;
/// Leaps nearer to each other than this in seconds are one.
const LEAP_S: f64 = 0.2;

/// A rest in which the speed leapt to and fro.
#[derive(Clone, Copy, Debug)]
pub(super) struct Crackle {
    pub(super) from: usize,
    pub(super) to: usize,
    /// Middle speed of the rest in percent.
    pub(super) at: f64,
    /// Furthest from it in percent.
    pub(super) depth: f64,
    /// The first leap.
    pub(super) leap: usize,
}

/// Rests that crackle.
pub(super) fn crackles(values: &[f64], heard: &[bool], traces: &[Trace]) -> Vec<Crackle> {
    rests(values, heard)
        .into_iter()
        .filter_map(|(from, to)| {
            let leaps = leaps(traces, from, to);
            let first = *leaps.first()?;
            if leaps.len() < LEAST_LEAPS {
                return None;
            }
            let part = &values[from..to];
            let at = median(&mut part.to_vec())?;
            let furthest = part
                .iter()
                .max_by(|a, b| (*a - at).abs().total_cmp(&(*b - at).abs()))?;
            Some(Crackle {
                from,
                to,
                at,
                depth: furthest - at,
                leap: first,
            })
        })
        .collect()
}

fn rests(values: &[f64], heard: &[bool]) -> Vec<(usize, usize)> {
    let half = (0.5 * RATE_HZ) as usize;
    // The mean sees a hand that creeps, the median is not moved by crackles.
    let smooth = [running_mean(values, half), running_median(values, 2 * half)];
    let edge = (REST_EDGE_S * RATE_HZ) as usize;
    let mut rests = Vec::new();
    let mut since = None;
    for k in 0..=values.len() {
        let calm = k < values.len() && heard[k] && {
            smooth.iter().any(|smooth| {
                let before = smooth[k.saturating_sub(half)];
                let after = smooth[(k + half).min(values.len() - 1)];
                (after - before).abs() < REST_PACE
            })
        };
        match (calm, since) {
            (true, None) => since = Some(k),
            (false, Some(start)) => {
                let (from, to) = (start + edge, k.saturating_sub(edge));
                if to >= from + (LEAST_REST_S * RATE_HZ) as usize {
                    rests.push((from, to));
                }
                since = None;
            }
            _ => {}
        }
    }
    rests
}

fn leaps(traces: &[Trace], from: usize, to: usize) -> Vec<usize> {
    let apart = (LEAP_S * RATE_HZ) as usize;
    let mut leaps: Vec<usize> = Vec::new();
    for k in from..to {
        let loud = traces
            .iter()
            .any(|trace| k + trace.length() < to && trace.scores[k].abs() > LOUD_AT_REST);
        if loud && leaps.last().is_none_or(|last| k - last > apart) {
            leaps.push(k);
        }
    }
    leaps
}
