//! Following the tape through the copy once its place is known.

use super::copy::Copy;
use super::hearing::{CLOSE, HOPS_S, Hearing, NEAR, Point, Tape};
use super::line::{median_line, refined};
use super::speed::Stretch;
use super::{RATE, SPEEDS};
use crate::signal::line::Line;

/// The way on is foreseen from the places of this many seconds.
const FORESEEN_FROM_S: f64 = 1.2;

/// What is within this of the line foreseen from always counts.
const NEAR_S: f64 = 0.001;

/// A window is at its place when the bands' coefficients are this on average.
const LIKE: f32 = 0.2;

/// Windows in vain in a row after which the place is lost.
const MOST_MISSED: usize = 24;

/// After each of the first windows in vain, and then after every fourth, the place
/// is looked for further off and at other speeds: a hand turns the trimmer, and
/// sound at a wrong speed is not like itself for longer than some cycles.
const LOOK_AT_FIRST: usize = 3;
const LOOK_EVERY: usize = 4;

/// Speeds that are tried beside the last: steps either way, and their size.
const STEPS: i32 = 10;
const STEP: f64 = 0.004;

/// Of all tries the best is believed when its correlation is this high, and this
/// many times that at the last speed.
const LIKE_ELSEWHERE: f32 = 0.35;
const MORE_LIKE: f32 = 1.3;

/// A new speed is taken as it was found until this many places bear it out.
const BORNE_OUT: usize = 4;

/// Silence of the copy through which the place is foreseen at most, in
/// windows: 20 s.
const MOST_QUIET: usize = 160;

/// The tape is not where it should be, or the copy is over.
#[derive(Clone, Copy, Debug)]
pub struct Lost;

/// The speed has been changed: places from this one on go by another.
#[derive(Clone, Copy, Debug)]
struct Turned {
    first: usize,
    slope: f64,
}

/// Follows one stretch.
pub struct Follower {
    sign: f32,
    places: Stretch,
    turned: Option<Turned>,
    missed: usize,
    quiet: usize,
}

impl Follower {
    /// From windows heard closely on.
    pub fn new(points: &[Point], line: Line, sign: f32) -> Self {
        let places = points
            .iter()
            .filter(|point| point.loud && point.correlation >= LIKE)
            .map(|point| [point.time_s, point.place_s])
            .filter(|place| (place[1] - line.at(place[0])).abs() < 0.01)
            .collect();
        Self {
            sign,
            places,
            turned: None,
            missed: 0,
            quiet: 0,
        }
    }

    /// Everything found so far.
    pub fn places(&self) -> &Stretch {
        &self.places
    }

    /// Windows in vain in a row so far; they come a tick apart.
    pub fn missed(&self) -> usize {
        self.missed
    }

    /// Where the tape is at a time, and how fast it runs there.
    pub fn foreseen(&self) -> Option<Line> {
        let last = *self.places.last()?;
        let since = self
            .places
            .partition_point(|place| place[0] < last[0] - FORESEEN_FROM_S);
        let since = since.min(self.places.len().saturating_sub(BORNE_OUT));
        let newest = match self.turned {
            Some(turned) if self.places.len() < turned.first + BORNE_OUT => {
                return Some(Line {
                    through: last,
                    slope: turned.slope,
                });
            }
            Some(turned) => &self.places[since.max(turned.first)..],
            None => &self.places[since..],
        };
        let line = median_line(newest, 2.0 * HOPS_S[CLOSE])
            .map(|line| refined(newest, line, NEAR_S))
            .or_else(|| Line::fitted(newest.iter().copied()))?;
        Some(Line {
            slope: line.slope.clamp(SPEEDS[0] - 0.01, SPEEDS[1] + 0.01),
            ..line
        })
    }

    /// Goes on to windows that the tape now reaches.
    pub fn follow(&mut self, hearing: &mut Hearing, copy: &Copy, tape: Tape) -> Result<(), Lost> {
        let half_s = hearing.length(CLOSE) as f64 / RATE / 2.0;
        let hop_s = HOPS_S[CLOSE];
        let last = self.places.last().ok_or(Lost)?;
        let mut step = (last[0] / hop_s).round() as usize + self.missed + self.quiet + 1;
        while step as f64 * hop_s + half_s <= tape.end_s() {
            self.one(hearing, copy, tape, step as f64 * hop_s)?;
            step += 1;
        }
        Ok(())
    }

    fn one(
        &mut self,
        hearing: &mut Hearing,
        copy: &Copy,
        tape: Tape,
        time_s: f64,
    ) -> Result<(), Lost> {
        let along = self.foreseen().ok_or(Lost)?;
        let window = hearing.window(tape, CLOSE, time_s);
        match hearing.at(&copy.samples, &window, along, CLOSE, self.sign) {
            Some(point) if !point.loud => self.quiet += 1,
            Some(point) if point.correlation >= LIKE => self.found(&point),
            close => {
                self.missed += 1;
                let close = close.map_or(0.0, |point| point.correlation);
                let looks = self.missed <= LOOK_AT_FIRST || self.missed.is_multiple_of(LOOK_EVERY);
                if looks {
                    self.look_around(hearing, copy, tape, (time_s, along, close));
                }
            }
        }
        if self.missed >= MOST_MISSED || self.quiet >= MOST_QUIET {
            return Err(Lost);
        }
        Ok(())
    }

    fn found(&mut self, point: &Point) {
        self.places.push([point.time_s, point.place_s]);
        self.missed = 0;
        self.quiet = 0;
    }

    /// Looks for a window further off and at other speeds; `close`: how like it
    /// was at the last.
    fn look_around(
        &mut self,
        hearing: &mut Hearing,
        copy: &Copy,
        tape: Tape,
        (time_s, along, close): (f64, Line, f32),
    ) {
        let window = hearing.window(tape, NEAR, time_s);
        let through = [time_s, along.at(time_s)];
        let tried = (-STEPS..=STEPS).filter_map(|step| {
            let slope = along.slope * (1.0 + f64::from(step) * STEP);
            if !(SPEEDS[0]..=SPEEDS[1]).contains(&slope) {
                return None;
            }
            let line = Line { through, slope };
            let point = hearing.at(&copy.samples, &window, line, NEAR, self.sign)?;
            Some((point, slope))
        });
        let best = tried.max_by(|a, b| a.0.correlation.total_cmp(&b.0.correlation));
        let Some((point, slope)) = best else { return };
        let least = LIKE_ELSEWHERE.max(MORE_LIKE * close);
        if point.loud && point.correlation >= least {
            self.turned = Some(Turned {
                first: self.places.len(),
                slope,
            });
            self.found(&point);
        }
    }
}
