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

/// A slower change is none of a reel, percent a minute: the largest in use, full
/// and at 9.5 cm/s, makes three times as much (derived: 2 t v ÷ π d²).
const LEAST_PER_MINUTE: f64 = 0.1;

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
    let moves = Chirp {
        percent_per_minute: 6000.0 * line.slope,
        uncertainty_percent_per_minute: 6000.0 * factor * sd,
    };
    (line.slope.abs() > MOVES * sd && is_a_reels(&moves)).then_some(moves)
}

/// True where a rate moves by what a reel could make it.
pub fn is_a_reels(moves: &Chirp) -> bool {
    moves.percent_per_minute.abs() >= LEAST_PER_MINUTE
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

#[cfg(test)]
mod tests {
    use super::*;

    fn told(peaks: &[f64]) -> Option<LineCourse> {
        let points = peaks.iter().zip(0u32..).map(|(&peak, nth)| Point {
            at_s: 33.0 * f64::from(nth),
            peak,
            peak_sd: 0.02 * peak,
        });
        course(&points.collect::<Vec<_>>())
    }

    #[test]
    fn a_course_is_told_from_four_windows_on() {
        assert_eq!(told(&[0.05, 0.06, 0.07]), None);
        assert_eq!(told(&[0.05, 0.051, 0.049, 0.05]), Some(LineCourse::Steady));
        assert_eq!(told(&[0.05, 0.06, 0.07, 0.08]), Some(LineCourse::Growing));
        assert_eq!(told(&[0.08, 0.07, 0.05, 0.04]), Some(LineCourse::Fading));
        let beats = [0.05, 0.01, 0.05, 0.01, 0.05, 0.01, 0.05];
        assert_eq!(told(&beats), Some(LineCourse::ComesAndGoes));
    }

    #[test]
    fn a_rate_moves_with_a_reel_and_not_with_a_clock() {
        let rates = |percent_per_minute: f64| -> Vec<[f64; 2]> {
            (0..6u32)
                .map(|nth| {
                    let at_s = 33.0 * f64::from(nth);
                    // Known to some parts in a hundred thousand.
                    let rough = f64::from(nth * nth % 5) * 2e-6;
                    let moved = percent_per_minute / 6000.0 * at_s + rough;
                    [at_s, 0.5 * moved.exp()]
                })
                .collect()
        };
        let told = chirp(&rates(-3.1)).expect("a reel");
        assert!((told.percent_per_minute + 3.1).abs() < 0.01, "{told:?}");
        assert_eq!(chirp(&rates(0.02)), None);
        assert_eq!(chirp(&rates(-3.1)[..3]), None);
    }
}
