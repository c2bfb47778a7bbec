//! Does the speed hold when the tool is taken away? The pressure of a
//! screwdriver, and steel near a motor, shift it.
//!
//! The mean at the moment when the hand goes is set against a new one over
//! whole wow periods after it. Both have their own scatter, learnt from this
//! very machine.

use std::collections::VecDeque;

use crate::units::{Percent, Seconds};

/// The hand and the tool need this long to go, and the transport to follow. A
/// choice, as what follows.
const LEAVING_S: f64 = 2.0;

/// What is averaged at least, in seconds and in whole wow periods.
const LEAST_S: f64 = 5.0;
const LEAST_PERIODS: usize = 3;

/// Averaging ends here, however unsteady the machine.
const MOST_S: f64 = 20.0;

/// The new mean is to be known to this part of the tolerance.
const KNOWN_WELL: f64 = 0.25;

/// A shift below this part of the tolerance is not worth another turn, and a
/// machine that is still warming drifts by as much meanwhile; common practice,
/// no source.
const WORTH_A_TURN: f64 = 0.2;

/// How the speed did when the tool was taken away.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Holding {
    /// Not yet known.
    Averaging {
        /// Averaged since.
        have: Seconds,
        /// Wanted at least.
        want: Seconds,
    },
    /// It stayed: the shift lies within its ±, or is too small to matter.
    Holds(Shift),
    /// It moved.
    Moved(Shift),
}

/// From the mean before to the mean after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shift {
    /// Positive: faster without the tool.
    pub by: Percent,
    /// 95 % of it; clock and reference are the same in both and fall out.
    pub uncertainty: Percent,
}

/// What the means of this machine scatter by.
pub struct Known<'a> {
    /// Values in one wow period.
    pub period: usize,
    /// 95 % of a mean over this many seconds, hertz.
    pub scatter_hz: &'a dyn Fn(f64) -> f64,
    /// Percent for each hertz.
    pub scale: f64,
    /// Half width of the tolerance band.
    pub tolerance: Percent,
}

/// See the module. Values in hertz, about 200 a second.
#[derive(Clone, Debug)]
pub struct HoldCheck {
    rate_hz: f64,
    before_hz: f64,
    before_scatter_hz: f64,
    /// Values still to be left out.
    leaving: usize,
    /// Sum of (value − before) up to each value.
    sums: VecDeque<f64>,
}

impl HoldCheck {
    /// Begins as the hand goes: the mean until now, and 95 % of it.
    pub fn begin(rate_hz: f64, before_hz: f64, before_scatter_hz: f64) -> Self {
        Self {
            rate_hz,
            before_hz,
            before_scatter_hz,
            leaving: (LEAVING_S * rate_hz) as usize,
            sums: VecDeque::from([0.0]),
        }
    }

    /// The speed moved, or the tone was lost: averaging begins anew.
    pub fn disturbed(&mut self) {
        self.sums.clear();
        self.sums.push_back(0.0);
    }

    /// Takes a value.
    pub fn push(&mut self, hz: f64) {
        if self.leaving > 0 {
            self.leaving -= 1;
            return;
        }
        let last = self.sums.back().copied().unwrap_or(0.0);
        self.sums.push_back(last + hz - self.before_hz);
        if self.sums.len() > (MOST_S * self.rate_hz) as usize {
            self.sums.pop_front();
        }
    }

    /// What can be said; `None`: what the machine's means scatter by is not
    /// known yet.
    pub fn state(&self, known: Option<&Known>) -> Holding {
        let available = self.sums.len() - 1;
        let least_s = known.map_or(LEAST_S, |known| {
            let periods = (LEAST_PERIODS * known.period) as f64 / self.rate_hz;
            periods.max(LEAST_S)
        });
        let not_yet = Holding::Averaging {
            have: Seconds(available as f64 / self.rate_hz),
            want: Seconds(least_s),
        };
        let Some(known) = known else { return not_yet };
        let period = known.period.max(1);
        let count = available / period * period;
        let length_s = count as f64 / self.rate_hz;
        if count < LEAST_PERIODS * period || length_s < LEAST_S {
            return not_yet;
        }
        let scatter_hz = (known.scatter_hz)(length_s);
        let full = self.sums.len() >= (MOST_S * self.rate_hz) as usize;
        if scatter_hz * known.scale > KNOWN_WELL * known.tolerance.0 && !full {
            return Holding::Averaging {
                have: Seconds(length_s),
                want: Seconds(MOST_S),
            };
        }
        let sum = self.sums[available] - self.sums[available - count];
        let shift = Shift {
            by: Percent(sum / count as f64 * known.scale),
            uncertainty: Percent(scatter_hz.hypot(self.before_scatter_hz) * known.scale),
        };
        let least = shift.uncertainty.0.max(WORTH_A_TURN * known.tolerance.0);
        if shift.by.0.abs() <= least {
            Holding::Holds(shift)
        } else {
            Holding::Moved(shift)
        }
    }
}
