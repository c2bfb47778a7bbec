//! A straight line through the earliest arrivals: its slope with a ±, what
//! does not belong to it, and whether it is broken.

use crate::signal::line::{Line, squares_about_mean};
use crate::signal::statistics::{median, robust_sigma, student_95};
use crate::units::Seconds;

/// A jump counts from this many times its own standard deviation on: where noise
/// is not normal, chance reaches 5 now and then. Practice, no source.
const JUMP_SIGMAS: f64 = 8.0;
/// A smaller jump is no loss: the smallest usual block lasts this long.
const SMALLEST_JUMP_S: f64 = 0.001;

/// Points this many times the scatter above the line were held up as a whole.
const HELD_UP_SIGMAS: f64 = 5.0;
/// More of them than this share, and nothing is sure any more.
const MOST_HELD_UP: f64 = 0.2;

/// An arrival as a delay against the nominal rate.
#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    /// Frames ÷ nominal rate.
    pub sound_s: f64,
    /// Time of arrival, less that.
    pub delay_s: f64,
}

impl Point {
    fn xy(&self) -> [f64; 2] {
        [self.sound_s, self.delay_s]
    }
}

/// How far each point lies above the line through all; `None` where they make
/// no line.
fn residuals(points: &[Point]) -> Option<(Line, Vec<f64>)> {
    let line = Line::fitted(points.iter().map(Point::xy))?;
    let above = |point: &Point| point.delay_s - line.at(point.sound_s);
    Some((line, points.iter().map(above).collect()))
}

/// The slope and its ±, 95 %, widened for neighbours that are alike: the
/// correlation ρ of one residual with the next leaves as much knowledge as
/// (1 − ρ)/(1 + ρ) as many independent ones (JCGM 100:2008, 4.2.7 only warns
/// of it; the factor is that of a first-order process).
pub(super) fn slope_95(points: &[Point]) -> Option<[f64; 2]> {
    let (Line { slope, .. }, residuals) = residuals(points)?;
    let count = residuals.len() as f64;
    let squares: f64 = residuals.iter().map(|it| it * it).sum();
    if squares <= 0.0 {
        return Some([slope, 0.0]);
    }
    let products: f64 = residuals.windows(2).map(|pair| pair[0] * pair[1]).sum();
    let found = products / squares;
    // Taking a line out makes residuals look less alike than they are.
    let alike = (found + (2.0 + 4.0 * found.max(0.0)) / count).clamp(0.0, 0.85);
    let widened = (1.0 + alike) / (1.0 - alike);
    let freedom = ((count - 2.0) / widened).max(2.0);
    let spread = squares_about_mean(points.iter().map(|point| point.sound_s));
    let sigma = (squares / (count - 2.0) * widened / spread).sqrt();
    Some([slope, student_95(freedom) * sigma])
}

/// Points that lie far above the line of the others are left out: for all of
/// their stretch the computer was busy.
pub(super) fn without_held_up(points: &[Point]) -> Vec<Point> {
    let Some((_, residuals)) = residuals(points) else {
        return points.to_vec();
    };
    let middle = median(&mut residuals.clone()).unwrap_or(0.0);
    let aside = residuals.iter().map(|it| it - middle);
    let most = middle + HELD_UP_SIGMAS * robust_sigma(aside).unwrap_or(0.0);
    let kept: Vec<Point> = points
        .iter()
        .zip(&residuals)
        .filter(|(_, residual)| **residual <= most)
        .map(|(point, _)| *point)
        .collect();
    let held_up = (points.len() - kept.len()) as f64;
    if held_up > MOST_HELD_UP * points.len() as f64 {
        return points.to_vec();
    }
    kept
}

/// The place from which on everything lies higher or lower than before, and
/// by how much, where that is beyond doubt. Held up stretches at the end are
/// none: nobody knows yet whether they stay.
///
/// Nor is a slip by one step of a grid.
pub(super) fn jump(points: &[Point], grid_s: f64) -> Option<(Seconds, Seconds)> {
    let best = (1..points.len() - 2)
        .filter_map(|at| Step::at(points, at))
        .max_by(|one, other| one.sigmas().total_cmp(&other.sigmas()))?;
    let smallest_s = SMALLEST_JUMP_S.max(1.5 * grid_s);
    let clear = best.sigmas() > JUMP_SIGMAS && best.height.0.abs() > smallest_s;
    clear.then_some((best.after, best.height))
}

/// Two lines of one slope, with a step between them.
struct Step {
    after: Seconds,
    height: Seconds,
    /// Standard deviation of the height.
    sigma: Seconds,
}

impl Step {
    fn at(points: &[Point], at: usize) -> Option<Self> {
        let count = points.len() as f64;
        let share = (points.len() - at) as f64 / count;
        let (_, residuals) = residuals(points)?;
        // The step with mean and line taken out of it, as out of the points.
        let as_step: Vec<Point> = points
            .iter()
            .enumerate()
            .map(|(k, point)| Point {
                sound_s: point.sound_s,
                delay_s: if k >= at { 1.0 - share } else { -share },
            })
            .collect();
        let (_, shapes) = self::residuals(&as_step)?;
        let mut own = 0.0;
        let mut common = 0.0;
        let mut all = 0.0;
        for (residual, shape) in residuals.iter().zip(&shapes) {
            own += shape * shape;
            common += residual * shape;
            all += residual * residual;
        }
        if own <= 0.0 {
            return None;
        }
        let left = (all - common * common / own).max(0.0) / (count - 3.0);
        Some(Self {
            after: Seconds(points[at].sound_s),
            height: Seconds(common / own),
            sigma: Seconds((left / own).sqrt()),
        })
    }

    fn sigmas(&self) -> f64 {
        // An exact step leaves nothing at all.
        self.height.0.abs() / self.sigma.0.max(1e-12)
    }
}
