//! How fast a sample clock runs, from when its blocks of samples arrive.
//!
//! A block arrives when it is full, or later: a busy computer only ever
//! delays. So the earliest arrivals lie on a straight line of time against
//! frames, whose slope is the clock's, and all the others above it. The
//! lowest arrival of each stretch is taken, and a line fitted through these.
//!
//! Delays last, which makes neighbours alike, so the ± is widened for what the
//! residuals show of that. Arrivals that keep to a grid of their own (a timer
//! tick, the blocks of a sound server) can hide a slow slip of up to one step
//! of that grid, which no residual shows; the ± has a part for it, too.

mod line;

use super::statistics::median;
use crate::units::{Ppm, Seconds};
use line::{Point, jump, slope_95, without_held_up};

/// Left out at the start, while the sound system fills its buffers. Practice.
const SETTLING_S: f64 = 3.0;

/// Sound of which only the earliest arrival is kept: the others waited.
const CELL_S: f64 = 1.0;

/// Points that the line is fitted through, at most, where there is enough.
const MOST_POINTS: usize = 32;
/// Cells that make a point, at least.
const FEWEST_CELLS: usize = 4;
/// Fewer points do not tell how much they scatter.
const FEWEST_POINTS: usize = 12;

/// No crystal is so far off; what is does not run by one.
const FARTHEST: Ppm = Ppm(2000.0);

/// A difference of two errors, each even over one step of a grid, stays
/// within this share of the step 95 times in 100: 1 − √0.05.
const GRID_95: f64 = 0.776;

/// The longest run that is worth asking for.
const LONGEST_S: f64 = 7200.0;

/// A block of samples has arrived.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arrival {
    /// Frames that had come with it and before it.
    pub frames: u64,
    /// When, in seconds of the clock that is compared with.
    pub at: Seconds,
}

/// The arrivals of a run, reduced as they come: memory grows by one small
/// entry a second.
#[derive(Clone, Debug)]
pub struct Arrivals {
    rate_hz: f64,
    first: Option<Arrival>,
    newest: Seconds,
    cells: Vec<Cell>,
    filling: Filling,
}

/// The cell that is still filling.
#[derive(Clone, Debug, Default)]
struct Filling {
    number: u64,
    lowest: Option<Point>,
    delays_s: Vec<f64>,
}

/// The arrivals within a second of sound.
#[derive(Clone, Copy, Debug)]
struct Cell {
    /// The earliest for its frames.
    lowest: Point,
    /// How much later the others are, on average.
    mean_delay_s: f64,
    /// The widest gap among the lower half of the delays: where they keep to
    /// a grid, its step; where they do not, next to nothing.
    gap_s: f64,
}

/// What a run says about the sample clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ArrivalFit {
    /// How much faster than nominal the samples came.
    pub error: Ppm,
    /// How well the arrivals tell that, 95 %; the clock that was compared
    /// with is taken for true.
    pub uncertainty: Ppm,
    /// Length of the run that was used.
    pub over: Seconds,
    /// How much later than the earliest an arrival usually is.
    pub delay: Seconds,
}

/// Why a run says nothing about the sample clock.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum Unfit {
    /// More is needed.
    #[error(
        "{:.0} s are too short to say how well the clock is known; let it run for {:.0} s at least", have.0, need.0
    )]
    TooShort {
        /// So long it was.
        have: Seconds,
        /// So long it must be.
        need: Seconds,
    },
    /// More is needed for the ± that is wanted.
    #[error(
        "after {:.0} s the timing still leaves ±{:.1} ppm, more than the ±{:.1} ppm that are wanted; let it run for {:.0} minutes", have.0, reached.0, wanted.0, (need.0 / 60.0).ceil()
    )]
    NotYet {
        /// So long it was.
        have: Seconds,
        /// The ± so far.
        reached: Ppm,
        /// The ± to reach.
        wanted: Ppm,
        /// So long it would take at this pace.
        need: Seconds,
    },
    /// No length would help.
    #[error(
        "the system's timing is too jittery: blocks of samples arrive {:.1} ms late as a rule, which leaves ±{:.1} ppm after {:.0} s where ±{:.1} ppm are wanted; close other programs, go past the sound server (an id alsa:hw:… of tapewright inputs), or measure against a reference tone with --tone", delay.0 * 1e3, reached.0, have.0, wanted.0
    )]
    Jittery {
        /// So long it was.
        have: Seconds,
        /// The ± that was reached.
        reached: Ppm,
        /// The ± to reach.
        wanted: Ppm,
        /// How late a block usually is.
        delay: Seconds,
    },
    /// From some moment on everything came later, or earlier, than before.
    #[error(
        "after {:.0} s the samples fell {:.1} ms {}: some were lost or the sound system changed its buffers, so nothing is known about the clock; close other programs and measure again", after.0, by.0.abs() * 1e3, if by.0 > 0.0 { "behind" } else { "ahead" }
    )]
    Jump {
        /// When.
        after: Seconds,
        /// By how much; positive: samples are missing.
        by: Seconds,
    },
    /// Not the pace of any crystal.
    #[error(
        "the samples come {:+.0} ppm off their nominal rate, which no sample clock is; this input is not paced by one, so choose another (tapewright inputs lists them)", error.0
    )]
    NotPaced {
        /// How far off.
        error: Ppm,
    },
}

impl Arrivals {
    /// For an input of `rate_hz` frames a second, nominally.
    pub fn new(rate_hz: u32) -> Self {
        Self {
            rate_hz: f64::from(rate_hz.max(1)),
            first: None,
            newest: Seconds(0.0),
            cells: Vec::new(),
            filling: Filling::default(),
        }
    }

    /// Takes the next one.
    pub fn push(&mut self, arrival: Arrival) {
        let first = *self.first.get_or_insert(arrival);
        self.newest = Seconds(arrival.at.0 - first.at.0);
        let sound_s = arrival.frames.saturating_sub(first.frames) as f64 / self.rate_hz;
        if sound_s < SETTLING_S {
            return;
        }
        let point = Point {
            sound_s,
            delay_s: self.newest.0 - sound_s,
        };
        let number = (sound_s / CELL_S) as u64;
        if number != self.filling.number {
            self.cells.extend(self.filling.close());
            self.filling.number = number;
        }
        self.filling.push(point);
    }

    /// From the first arrival to the newest.
    pub fn length(&self) -> Seconds {
        self.newest
    }

    /// What they say so far.
    pub fn fit(&self) -> Result<ArrivalFit, Unfit> {
        let points = self.points();
        let too_short = Unfit::TooShort {
            have: self.newest,
            need: Seconds(SETTLING_S + CELL_S * (FEWEST_CELLS * FEWEST_POINTS + 1) as f64),
        };
        if points.len() < FEWEST_POINTS {
            return Err(too_short);
        }
        let delay_s = self.median(|cell| cell.mean_delay_s);
        let grid_s = self.median(|cell| cell.gap_s);
        if let Some((after, by)) = jump(&points, grid_s) {
            return Err(Unfit::Jump { after, by });
        }
        let kept = without_held_up(&points);
        let over_s = points[points.len() - 1].sound_s - points[0].sound_s;
        let [slope, slope_95] = slope_95(&kept).ok_or(too_short)?;
        // A slope of +1 ppm is a clock that takes longer for its frames.
        let error = Ppm((1.0 / (1.0 + slope) - 1.0) * 1e6);
        if error.0.abs() > FARTHEST.0 {
            return Err(Unfit::NotPaced { error });
        }
        let grid = GRID_95 * grid_s / over_s * 1e6;
        Ok(ArrivalFit {
            error,
            uncertainty: Ppm((slope_95 * 1e6).hypot(grid)),
            over: Seconds(over_s),
            delay: Seconds(delay_s),
        })
    }

    /// The lowest of every few cells.
    fn points(&self) -> Vec<Point> {
        let each = self.cells.len().div_ceil(MOST_POINTS).max(FEWEST_CELLS);
        self.cells
            .chunks_exact(each)
            .filter_map(|cells| {
                cells
                    .iter()
                    .map(|cell| cell.lowest)
                    .min_by(|one, other| one.delay_s.total_cmp(&other.delay_s))
            })
            .collect()
    }

    fn median(&self, figure: impl Fn(&Cell) -> f64) -> f64 {
        let mut figures: Vec<f64> = self.cells.iter().map(figure).collect();
        median(&mut figures).unwrap_or(0.0)
    }
}

impl Filling {
    fn push(&mut self, point: Point) {
        if self
            .lowest
            .is_none_or(|lowest| point.delay_s < lowest.delay_s)
        {
            self.lowest = Some(point);
        }
        self.delays_s.push(point.delay_s);
    }

    /// The full cell; empty again afterwards. `None` where nothing came.
    fn close(&mut self) -> Option<Cell> {
        let lowest = self.lowest.take()?;
        self.delays_s.sort_unstable_by(f64::total_cmp);
        let sum: f64 = self.delays_s.iter().sum();
        let lower = &self.delays_s[..self.delays_s.len().div_ceil(2)];
        let cell = Cell {
            lowest,
            mean_delay_s: sum / self.delays_s.len() as f64 - lowest.delay_s,
            gap_s: lower
                .windows(2)
                .map(|pair| pair[1] - pair[0])
                .fold(0.0, f64::max),
        };
        self.delays_s.clear();
        Some(cell)
    }
}

impl ArrivalFit {
    /// Itself where it is good enough, else what to do about it.
    pub fn within(self, wanted: Ppm) -> Result<Self, Unfit> {
        let (have, reached) = (self.over, self.uncertainty);
        if reached.0 <= wanted.0 {
            return Ok(self);
        }
        // The scatter of a slope falls as length to the power 1.5, the part
        // of the grid as its first power; the latter is the safer guess.
        let need = Seconds(have.0 * reached.0 / wanted.0 * 1.1);
        Err(if need.0 <= LONGEST_S {
            Unfit::NotYet {
                have,
                reached,
                wanted,
                need,
            }
        } else {
            Unfit::Jittery {
                have,
                reached,
                wanted,
                delay: self.delay,
            }
        })
    }
}
