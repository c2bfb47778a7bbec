//! A straight line through the earliest arrivals: its slope with a ±, what
//! does not belong to it, and whether it is broken.

use crate::signal::statistics::{median, student_95};
use crate::units::Seconds;

/// A jump counts from so many times its own standard deviation on.
const JUMP_SIGMAS: f64 = 8.0;
/// A smaller jump is no loss: the smallest usual block lasts so long.
const SMALLEST_JUMP_S: f64 = 0.001;

/// Points so many times the scatter above the line were held up as a whole.
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

/// A straight line by least squares.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    middle_s: f64,
    mean: f64,
    pub slope: f64,
    /// Σ (x − middle)².
    spread: f64,
}

impl Line {
    pub(super) fn through(points: &[Point]) -> Self {
        let count = points.len().max(1) as f64;
        let middle_s = points.iter().map(|point| point.sound_s).sum::<f64>() / count;
        let mean = points.iter().map(|point| point.delay_s).sum::<f64>() / count;
        let moment: f64 = points
            .iter()
            .map(|point| (point.sound_s - middle_s) * (point.delay_s - mean))
            .sum();
        let spread: f64 = points
            .iter()
            .map(|point| (point.sound_s - middle_s).powi(2))
            .sum();
        Self {
            middle_s,
            mean,
            slope: if spread > 0.0 { moment / spread } else { 0.0 },
            spread,
        }
    }

    fn above(&self, point: &Point) -> f64 {
        point.delay_s - self.mean - self.slope * (point.sound_s - self.middle_s)
    }
}

/// The ± of a slope, 95 %, widened for neighbours that are alike: the
/// correlation ρ of one residual with the next leaves as much knowledge as
/// (1 − ρ)/(1 + ρ) as many independent ones (JCGM 100:2008, 4.2.7 only warns
/// of it; the factor is that of a first-order process).
pub(super) fn slope_95(points: &[Point], line: &Line) -> f64 {
    let residuals: Vec<f64> = points.iter().map(|point| line.above(point)).collect();
    let count = residuals.len() as f64;
    let squares: f64 = residuals.iter().map(|it| it * it).sum();
    if squares <= 0.0 {
        return 0.0;
    }
    let products: f64 = residuals.windows(2).map(|pair| pair[0] * pair[1]).sum();
    let found = products / squares;
    // Taking a line out makes residuals look less alike than they are.
    let alike = (found + (2.0 + 4.0 * found.max(0.0)) / count).clamp(0.0, 0.85);
    let widened = (1.0 + alike) / (1.0 - alike);
    let freedom = ((count - 2.0) / widened).max(2.0);
    student_95(freedom) * (squares / (count - 2.0) * widened / line.spread).sqrt()
}

/// Points that lie far above the line of the others are left out: for all of
/// such a stretch the computer was busy.
pub(super) fn without_held_up(points: &[Point]) -> Vec<Point> {
    let line = Line::through(points);
    let mut residuals: Vec<f64> = points.iter().map(|point| line.above(point)).collect();
    let middle = median(&mut residuals).unwrap_or(0.0);
    let mut sizes: Vec<f64> = residuals.iter().map(|it| (it - middle).abs()).collect();
    // 1.4826 times the median deviation is the deviation of a normal scatter.
    let scatter = 1.4826 * median(&mut sizes).unwrap_or(0.0);
    let kept: Vec<Point> = points
        .iter()
        .filter(|point| line.above(point) - middle <= HELD_UP_SIGMAS * scatter)
        .copied()
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
        let line = Line::through(points);
        // The step with mean and line taken out of it, as out of the points.
        let as_step: Vec<Point> = points
            .iter()
            .enumerate()
            .map(|(k, point)| Point {
                sound_s: point.sound_s,
                delay_s: if k >= at { 1.0 - share } else { -share },
            })
            .collect();
        let of_step = Line::through(&as_step);
        let mut own = 0.0;
        let mut common = 0.0;
        let mut all = 0.0;
        for (point, step) in points.iter().zip(&as_step) {
            let (residual, shape) = (line.above(point), of_step.above(step));
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
