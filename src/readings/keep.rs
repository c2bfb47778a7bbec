//! Keeps a stretch on request: waits until the speed is left alone, then
//! averages over whole wow periods until the figures are valid.

use std::sync::Arc;

use super::flutter::FlutterTotals;
use super::measurement::{Keeping, Measurement};
use super::settings::KeepRequest;
use super::stretch::Stretch;
use crate::units::Seconds;

/// Averaging may end early when the mean is known to this part of the
/// tolerance.
const KNOWN_WELL: f64 = 0.25;

/// Flutter needs this much valid signal.
const LEAST_FLUTTER_S: f64 = 5.0;

/// Least that is worth keeping where the input ends.
const LEAST_AT_THE_END_S: f64 = 5.0;

enum State {
    Idle,
    Waiting(KeepRequest),
    Averaging(KeepRequest, Box<Stretch>),
    Done(Arc<Measurement>),
}

/// See the module.
pub struct Keeper {
    rate_hz: f64,
    state: State,
    /// The mean is known well enough.
    known_well: bool,
}

impl Keeper {
    /// Idle, for a track of `rate_hz` values a second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            state: State::Idle,
            known_well: false,
        }
    }

    /// Begins to wait for a steady stretch.
    pub fn begin(&mut self, request: KeepRequest) {
        self.state = State::Waiting(request);
    }

    /// Back to idle.
    pub fn forget(&mut self) {
        self.state = State::Idle;
    }

    /// True while waiting or averaging.
    pub fn is_busy(&self) -> bool {
        matches!(self.state, State::Waiting(_) | State::Averaging(..))
    }

    /// The speed was moved, or the tone went away: what was averaged so far
    /// does not go with what comes.
    pub fn disturbed(&mut self) {
        if let State::Averaging(request, _) = &self.state {
            self.state = State::Waiting(*request);
        }
    }

    /// Does something to the stretch, if one is being averaged.
    pub fn each(&mut self, act: impl FnOnce(&mut Stretch)) {
        if let State::Averaging(_, stretch) = &mut self.state {
            act(stretch);
        }
    }

    /// Notes a dropout that has just ended, at the stretch's own time: where the
    /// input began, it does not know.
    pub fn dropout(&mut self, length: Seconds) {
        self.each(|stretch| {
            let now = Seconds((stretch.track_s() - length.0).max(0.0));
            let _ = stretch.dropout(now, length);
        });
    }

    /// The flutter totals that want values.
    pub fn flutter_totals(&mut self) -> Option<&mut FlutterTotals> {
        match &mut self.state {
            State::Averaging(_, stretch) => Some(&mut stretch.flutter),
            _ => None,
        }
    }

    /// Called with every value of the digits: whether the speed is being left
    /// alone, the wow period, and the scatter of the mean in parts of the
    /// tolerance. Returns the stretch when it is complete.
    pub fn advance(
        &mut self,
        steady: bool,
        period_s: Option<f64>,
        scatter: Option<f64>,
    ) -> Option<Stretch> {
        match &mut self.state {
            State::Waiting(request) if steady => {
                let stretch = Box::new(Stretch::new(self.rate_hz));
                self.state = State::Averaging(*request, stretch);
                None
            }
            State::Averaging(request, stretch) => {
                let have_s = stretch.track_s();
                let flutter_ready = stretch.flutter.seen_s() >= LEAST_FLUTTER_S;
                self.known_well = scatter.is_some_and(|scatter| scatter <= KNOWN_WELL);
                let enough = have_s >= request.at_least.0 && self.known_well;
                let most_s = request.at_most.0;
                let complete = flutter_ready && (enough || have_s >= most_s);
                // Whole periods, but a period that changes its mind does not
                // keep it waiting for ever.
                let overdue = have_s >= most_s + period_s.unwrap_or(0.0);
                let whole = overdue || is_whole(have_s, period_s);
                (complete && whole).then(|| (**stretch).clone())
            }
            _ => None,
        }
    }

    /// The input has ended: the stretch so far, if it is worth keeping;
    /// otherwise idle.
    pub fn end(&mut self) -> Option<Stretch> {
        let stretch = match &self.state {
            State::Averaging(_, stretch) if stretch.track_s() >= LEAST_AT_THE_END_S => {
                Some((**stretch).clone())
            }
            _ => None,
        };
        if self.is_busy() {
            self.state = State::Idle;
        }
        stretch
    }

    /// The measurement made of a complete stretch.
    pub fn finish(&mut self, measurement: Measurement) {
        self.state = State::Done(Arc::new(measurement));
    }

    /// For the screen.
    pub fn state(&self) -> Option<Keeping> {
        match &self.state {
            State::Idle => None,
            State::Waiting(_) => Some(Keeping::Waiting),
            State::Averaging(request, stretch) => {
                // Flutter that is still settling makes it longer, and so does
                // a mean that is not known well enough yet.
                let have_s = stretch.track_s();
                let missing_s = (LEAST_FLUTTER_S - stretch.flutter.seen_s()).max(0.0);
                let goal_s = if have_s >= request.at_least.0 && !self.known_well {
                    request.at_most.0
                } else {
                    request.at_least.0
                };
                let want_s = goal_s.max(have_s.min(goal_s) + missing_s);
                Some(Keeping::Averaging {
                    // The last period is brought to its end.
                    have: Seconds(have_s.min(want_s)),
                    want: Seconds(want_s),
                })
            }
            State::Done(measurement) => Some(Keeping::Done(Arc::clone(measurement))),
        }
    }
}

/// A whole number of wow periods, to within a hundredth of one.
fn is_whole(have_s: f64, period_s: Option<f64>) -> bool {
    period_s.is_none_or(|period| (have_s / period).fract() < 0.02)
}
