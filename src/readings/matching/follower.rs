//! Following the tape through the copy once its place is known.

use super::copy::Copy;
use super::hearing::{CLOSE, HOPS_S, Hearing, NEAR, Point, Tape};
use super::line::{Line, least_squares, median_line, refined};
use super::speed::Stretch;
use super::{RATE, SPEEDS};

/// The way on is foreseen from the places of so many seconds.
const FORESEEN_FROM_S: f64 = 1.2;

/// What is within this of the line foreseen from always counts.
const NEAR_S: f64 = 0.001;

/// A window is at its place when the bands' coefficients are this on average.
const LIKE: f32 = 0.2;

/// After so many windows in vain in a row it is looked for a little further
/// off; after so many the place is lost.
const LOOK_AROUND: usize = 8;
const LOST: usize = 24;

/// Silence of the copy through which the place is foreseen at most, in
/// windows: 20 s.
const MOST_QUIET: usize = 160;

/// What came of following one window further.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Followed {
    /// Still there.
    On,
    /// The tape is not where it should be, or the copy is over.
    Lost,
}

/// Follows one stretch.
pub struct Follower {
    sign: f32,
    places: Stretch,
    missed: usize,
    quiet: usize,
}

impl Follower {
    /// From windows heard closely on.
    pub fn new(points: &[Point], line: Line, sign: f32) -> Self {
        let places = points
            .iter()
            .filter(|point| point.loud && point.likeness >= LIKE)
            .map(|point| [point.time_s, point.place_s])
            .filter(|place| (place[1] - line.at(place[0])).abs() < 0.01)
            .collect();
        Self {
            sign,
            places,
            missed: 0,
            quiet: 0,
        }
    }

    /// Everything found so far.
    pub fn places(&self) -> &Stretch {
        &self.places
    }

    /// Where the tape is at a time, and how fast it runs there.
    pub fn foreseen(&self) -> Option<Line> {
        let last_s = self.places.last()?[0];
        let from = self
            .places
            .partition_point(|place| place[0] < last_s - FORESEEN_FROM_S);
        let newest = &self.places[from.min(self.places.len().saturating_sub(4))..];
        let line = median_line(newest, 2.0 * HOPS_S[CLOSE])
            .map(|line| refined(newest, line, NEAR_S))
            .or_else(|| least_squares(newest.iter()))?;
        Some(Line {
            slope: line.slope.clamp(SPEEDS[0] - 0.01, SPEEDS[1] + 0.01),
            ..line
        })
    }

    /// Goes on to windows that the tape now reaches.
    pub fn follow(&mut self, hearing: &mut Hearing, copy: &Copy, tape: Tape) -> Followed {
        let half_s = hearing.length(CLOSE) as f64 / RATE / 2.0;
        let hop_s = HOPS_S[CLOSE];
        let Some(last) = self.places.last() else {
            return Followed::Lost;
        };
        let mut step = (last[0] / hop_s).round() as usize + self.missed + self.quiet + 1;
        while step as f64 * hop_s + half_s <= tape.end_s() {
            if self.one(hearing, copy, tape, step as f64 * hop_s) == Followed::Lost {
                return Followed::Lost;
            }
            step += 1;
        }
        Followed::On
    }

    fn one(&mut self, hearing: &mut Hearing, copy: &Copy, tape: Tape, time_s: f64) -> Followed {
        let Some(along) = self.foreseen() else {
            return Followed::Lost;
        };
        let scale = match self.missed {
            missed if missed > 0 && missed.is_multiple_of(LOOK_AROUND) => NEAR,
            _ => CLOSE,
        };
        let window = hearing.window(tape, scale, time_s);
        match hearing.at(&copy.samples, &window, along, scale, self.sign) {
            Some(point) if !point.loud => self.quiet += 1,
            Some(point) if point.likeness >= LIKE => {
                self.places.push([point.time_s, point.place_s]);
                self.missed = 0;
                self.quiet = 0;
            }
            _ => self.missed += 1,
        }
        if self.missed >= LOST || self.quiet >= MOST_QUIET {
            Followed::Lost
        } else {
            Followed::On
        }
    }
}
