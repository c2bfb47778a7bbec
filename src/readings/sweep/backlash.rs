//! How far apart the same places of the track lie on the ways out and back.
//!
//! The speed tells where the wiper is, not where the hand is: play between the
//! two hides at the ends. What shows is that a bad spot, which stays where it
//! is on the track, is met at one speed on the way out and at another on the
//! way back: the machine does not answer the same place with the same speed.

use super::bank::{LAGS_S, Trace};
use super::claims::Claim;
use super::series::RATE_HZ;
use crate::signal::statistics::median;
use crate::units::Percent;

/// Seconds beside a pattern from which on the speed is a clean wiper's.
const ASIDE_S: f64 = 0.1;
/// Seconds about a match within which the pattern is looked for on either pass:
/// they may meet a spot further apart than they were matched.
const NEARBY_S: f64 = 0.5;
/// Percent of speed that hand and lag feign of it: less is no backlash. 95 in 100
/// spots that are met in one place say less, `--bench sweep`, its usual seeds; a
/// rougher hand may feign more, so it is no ±.
pub const FEIGNED_BACKLASH: Percent = Percent(0.6);

/// A spot met on a way up and on a way down: speed up less speed down, in
/// percent, of a wiper that were clean there. `None` of ways in one direction.
/// `mean` is the speed track, briefly averaged.
pub(super) fn up_less_down(claim: &Claim, traces: &[Trace], mean: &[f64]) -> Option<f64> {
    // The lag is the machine's, one on both ways.
    let of_lag = |lag: usize| {
        claim.agreement.sides.map(|(_, peak)| {
            let traces = traces.iter().filter(|trace| trace.lag == lag);
            strongest(traces, peak.at, claim.agreement.sign)
        })
    };
    let together = |sides: &[Strongest; 2]| sides[0].score + sides[1].score;
    let sides = (0..LAGS_S.len())
        .map(of_lag)
        .max_by(|a, b| together(a).total_cmp(&together(b)))?;
    let [one, other] = [clean_speed(&sides[0], mean)?, clean_speed(&sides[1], mean)?];
    match claim.ways.map(|way| way.up) {
        [true, false] => Some(one - other),
        [false, true] => Some(other - one),
        _ => None,
    }
}

/// The pattern that shows most strongly, and where it begins.
#[derive(Default)]
struct Strongest<'a> {
    trace: Option<&'a Trace>,
    start: usize,
    score: f64,
}

/// With its middle near `at`.
fn strongest<'a>(traces: impl Iterator<Item = &'a Trace>, at: usize, sign: f64) -> Strongest<'a> {
    let near = (NEARBY_S * RATE_HZ) as usize;
    let mut best = Strongest::default();
    for trace in traces {
        let from = at.saturating_sub(near + trace.to_middle());
        let to = (at + near).saturating_sub(trace.to_middle());
        for start in from..to.min(trace.scores.len()) {
            let score = sign * trace.scores[start];
            if score > best.score {
                best = Strongest {
                    trace: Some(trace),
                    start,
                    score,
                };
            }
        }
    }
    best
}

/// The speed at the middle of a spot without the spot: from before it to after
/// it in a straight line, at the moment when the transport has followed.
fn clean_speed(spot: &Strongest, mean: &[f64]) -> Option<f64> {
    let trace = spot.trace?;
    let aside = (ASIDE_S * RATE_HZ) as usize;
    let from = spot.start.saturating_sub(aside);
    let to = (spot.start + trace.length() + aside).min(mean.len() - 1);
    let at = spot.start + trace.to_middle() - from;
    let share = at as f64 / (to - from).max(1) as f64;
    Some(mean[from] + share.min(1.0) * (mean[to] - mean[from]))
}

/// Of all spots that were met both ways; `None` where there is no spot.
pub(super) fn backlash(mut apart: Vec<f64>) -> Option<Percent> {
    Some(Percent(median(&mut apart)?.abs()))
}
