//! How a line went over the windows of a long record.

use crate::readings::wavering::{Chirp, LineCourse};
use crate::signal::line::Line;
use crate::signal::statistics::student_95;

/// Fewer windows tell no course.
const LEAST_WINDOWS: usize = 4;

/// A change by less than this part is no course. A choice.
const LEAST_CHANGE: f64 = 0.25;

/// Windows that scatter by more than this many times their own standard
/// deviations come and go. A choice.
const SCATTERS: f64 = 3.0;

/// A rate moves by itself when its slope is this many times its standard
/// deviation; as in a single look.
const MOVES: f64 = 2.5;

/// A line in one window: time, amplitude, standard deviation of it.
#[derive(Clone, Copy, Debug)]
pub struct Point {
    pub at_s: f64,
    pub peak: f64,
    pub peak_sd: f64,
}

/// Of all windows, with what could hide there where it was not found.
pub fn course(points: &[Point]) -> Option<LineCourse> {
    if points.len() < LEAST_WINDOWS {
        return None;
    }
    let logs = points.iter().map(|point| [point.at_s, point.peak.ln()]);
    let line = Line::fitted(logs.clone())?;
    let length_s = points[points.len() - 1].at_s - points[0].at_s;
    let change = line.slope * length_s;
    let (known, scatter) = slope_and_scatter(logs, &line);
    if change.abs() > (1.0 + LEAST_CHANGE).ln() && change.abs() > 2.0 * known * length_s {
        return Some(if change > 0.0 {
            LineCourse::Growing
        } else {
            LineCourse::Fading
        });
    }
    let own = points
        .iter()
        .map(|point| (point.peak_sd / point.peak).powi(2));
    let own = (own.sum::<f64>() / points.len() as f64).sqrt();
    let scatters = scatter > SCATTERS * own && scatter > (1.0 + LEAST_CHANGE).ln();
    Some(if scatters {
        LineCourse::ComesAndGoes
    } else {
        LineCourse::Steady
    })
}

/// How the rate moved by itself: (time, rate) of the windows that have it.
pub fn chirp(rates: &[[f64; 2]]) -> Option<Chirp> {
    if rates.len() < LEAST_WINDOWS {
        return None;
    }
    let logs = rates.iter().map(|[at_s, hz]| [*at_s, hz.ln()]);
    let line = Line::fitted(logs.clone())?;
    let (sd, _) = slope_and_scatter(logs, &line);
    let factor = student_95(rates.len() as f64 - 2.0);
    (line.slope.abs() > MOVES * sd).then_some(Chirp {
        percent_per_minute: 6000.0 * line.slope,
        uncertainty_percent_per_minute: 6000.0 * factor * sd,
    })
}

/// Standard deviation of a slope, and of the points about their line.
fn slope_and_scatter(points: impl Iterator<Item = [f64; 2]>, line: &Line) -> (f64, f64) {
    let (mut count, mut left, mut spread) = (0.0, 0.0, 0.0);
    for [x, y] in points {
        count += 1.0;
        left += (y - line.at(x)).powi(2);
        spread += (x - line.through[0]).powi(2);
    }
    let scatter = (left / (count - 2.0f64).max(1.0)).sqrt();
    (scatter / spread.sqrt(), scatter)
}
