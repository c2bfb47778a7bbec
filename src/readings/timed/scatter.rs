//! How marks scatter about their row, and those that do not belong to it.

use super::summary::assumed_wow_s;
use crate::readings::expanded::Expanded;
use crate::readings::fluctuation::{Fluctuation, Weighing};
use crate::signal::line::{Line, squares_about_mean};
use crate::signal::statistics::{NORMAL_95, robust_sigma, student_95};

/// An arrival this many times the usual scatter off the row is no mark of it;
/// nor is anything nearer than the second called off.
const OFF: f64 = 5.0;
pub(super) const NEVER_OFF_S: f64 = 0.003;

/// Scatter of neighbours that remember each other tells less than it seems to.
const REMEMBERED: f64 = 1.5;

/// How far each mark is off the row, in seconds. Marks are numbers and times.
pub(super) fn residuals(marks: &[[f64; 2]], row: &Line) -> Vec<f64> {
    marks.iter().map(|mark| mark[1] - row.at(mark[0])).collect()
}

/// The root of Σ (number − mean)²: noise of single marks, divided by it, is that
/// of the spacing.
pub(super) fn lever(marks: &[[f64; 2]]) -> f64 {
    squares_about_mean(marks.iter().map(|mark| mark[0])).sqrt()
}

/// Takes out what does not come with the others, worst first.
pub(super) fn leave_out_strays(marks: &mut Vec<[f64; 2]>) {
    while marks.len() > 3
        && let Some(row) = Line::fitted(marks.iter().copied())
    {
        let off = residuals(marks, &row);
        let usual = robust_sigma(off.iter().copied()).unwrap_or(0.0);
        let limit = (OFF * usual).max(NEVER_OFF_S);
        let worst = (0..off.len())
            .max_by(|a, b| off[*a].abs().total_cmp(&off[*b].abs()))
            .filter(|worst| off[*worst].abs() > limit);
        let Some(worst) = worst else {
            return;
        };
        marks.remove(worst);
    }
}

/// 95 % of the spacing from how the arrivals scatter about the row, in seconds.
pub(super) fn scatter(marks: &[[f64; 2]], row: &Line) -> Expanded {
    let off = residuals(marks, row);
    // Enough of them show by themselves how the machine wavers.
    let series = filled(marks, &off);
    if let Some(fluctuation) = Fluctuation::of(&series) {
        let rise = fluctuation.of_figure(Weighing::Slope);
        return rise.scaled(1.0 / series.len() as f64);
    }
    // Few ones: what wow is assumed to do, or what they show if that is more.
    let freedom = marks.len() as f64 - 2.0;
    let shown = if freedom >= 1.0 {
        let square: f64 = off.iter().map(|off| off * off).sum();
        REMEMBERED * student_95(freedom) * (square / freedom).sqrt()
    } else {
        0.0
    };
    Expanded::of_limit((NORMAL_95 * assumed_wow_s()).max(shown) / lever(marks))
}

/// A value for every number from the first to the last, straight lines across
/// those that are missing.
fn filled(marks: &[[f64; 2]], values: &[f64]) -> Vec<f64> {
    let mut series = Vec::new();
    for (pair, value) in marks.windows(2).zip(values.windows(2)) {
        let steps = (pair[1][0] - pair[0][0]) as usize;
        for step in 0..steps {
            series.push(value[0] + (value[1] - value[0]) * step as f64 / steps as f64);
        }
    }
    series.extend(values.last());
    series
}
