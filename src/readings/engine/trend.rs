//! The speed of the last minutes, a mean each half second, and its slope.

use std::cell::OnceCell;
use std::collections::VecDeque;

use crate::readings::fluctuation::{Fluctuation, Weighing};
use crate::signal::line::Line;

/// Length of a point.
pub(super) const STEP_S: f64 = 0.5;

/// How many are kept: five minutes.
const POINTS: usize = 600;

/// The slope looks back this far and needs this much.
const DRIFT_POINTS: usize = 240;
const DRIFT_LEAST_POINTS: usize = 34;

/// Points in each of the means that are compared for the span.
const SPAN_POINTS: usize = 10;

/// Slow change of the speed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Drift {
    pub(super) hz_per_s: f64,
    /// 95 % of it.
    pub(super) uncertainty_hz_per_s: f64,
    /// Largest minus smallest 5 s mean.
    pub(super) span_hz: f64,
}

/// See the module. Values in hertz.
pub(super) struct Trend {
    sum: f64,
    count: u32,
    ticks: u32,
    /// Ticks in a point.
    per_point: u32,
    points: VecDeque<Option<f64>>,
    /// Points since the last move.
    since_move: usize,
    /// Points since the tone was found.
    since_found: usize,
    /// Worked out when it is asked for, once for each point.
    drift: OnceCell<Option<Drift>>,
}

impl Trend {
    /// Empty, for a track of `rate_hz` values a second.
    pub(super) fn new(rate_hz: f64) -> Self {
        Self {
            sum: 0.0,
            count: 0,
            ticks: 0,
            per_point: (STEP_S * rate_hz) as u32,
            points: VecDeque::with_capacity(POINTS),
            since_move: 0,
            since_found: 0,
            drift: OnceCell::new(),
        }
    }

    /// What was added up before a move does not go into the point after it.
    pub(super) fn begin_anew(&mut self) {
        (self.sum, self.count) = (0.0, 0);
        self.since_move = 0;
        self.drift.take();
    }

    /// A tone was found: points are counted from there, as of this tone alone.
    pub(super) fn found(&mut self) {
        self.begin_anew();
        self.ticks = 0;
        self.since_found = 0;
    }

    /// What has been followed since is refused: it was no reading.
    pub(super) fn refuse_piece(&mut self) {
        let newest = self.points.iter_mut().rev().take(self.since_found);
        newest.for_each(|point| *point = None);
        self.begin_anew();
    }

    /// A value of the track.
    pub(super) fn value(&mut self, hz: f64) {
        self.sum += hz;
        self.count += 1;
    }

    /// Time passes, with or without values; a point is kept when it ends while
    /// a tone is shown.
    pub(super) fn tick(&mut self, shown: bool) {
        self.ticks += 1;
        if self.ticks < self.per_point {
            return;
        }
        self.drift.take();
        // A point needs half of its time.
        let enough = self.count * 2 > self.ticks && shown;
        let mean = self.sum / f64::from(self.count.max(1));
        (self.sum, self.count, self.ticks) = (0.0, 0, 0);
        if self.points.len() == POINTS {
            self.points.pop_front();
        }
        self.points.push_back(enough.then_some(mean));
        self.since_move = if enough { self.since_move + 1 } else { 0 };
        self.since_found += 1;
    }

    /// All points, oldest first; `None` where there was no reading.
    pub(super) fn points(&self) -> impl Iterator<Item = Option<f64>> + '_ {
        self.points.iter().copied()
    }

    /// The newest points that no move and no loss divides, at most `most`.
    pub(super) fn undisturbed(&self, most: usize) -> Vec<f64> {
        let count = self.since_move.min(most).min(self.points.len());
        let newest = self.points.iter().skip(self.points.len() - count);
        newest.filter_map(|point| *point).collect()
    }

    /// The slope since the last move; `None` until there is enough of it.
    pub(super) fn drift(&self) -> Option<Drift> {
        *self.drift.get_or_init(|| self.work_out_drift())
    }

    fn work_out_drift(&self) -> Option<Drift> {
        let points = self.undisturbed(DRIFT_POINTS);
        if points.len() < DRIFT_LEAST_POINTS {
            return None;
        }
        let length_s = points.len() as f64 * STEP_S;
        let rise = Fluctuation::of(&points)?.of_figure(Weighing::Slope);
        let means = points
            .chunks_exact(SPAN_POINTS)
            .map(|chunk| chunk.iter().sum::<f64>() / chunk.len() as f64);
        let (low, high) = means.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), mean| {
            (low.min(mean), high.max(mean))
        });
        Some(Drift {
            hz_per_s: Line::of_series(&points).slope / STEP_S,
            uncertainty_hz_per_s: rise.half_width / length_s,
            span_hz: high - low,
        })
    }
}
