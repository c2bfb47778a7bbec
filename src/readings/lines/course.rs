//! How a line went over the windows of a long record.

use crate::readings::wavering::{Chirp, LineCourse};
use crate::signal::line::Line;
use crate::signal::statistics::{median, student_95};

/// Fewer windows tell no course.
const LEAST_WINDOWS: usize = 4;

/// A change by less than this part is no course. A choice.
const LEAST_CHANGE: f64 = 0.25;

/// Windows that scatter by more than this many times their own standard
/// deviations come and go. A choice.
const SCATTERS: f64 = 3.0;

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

/// Of all windows of `window_s`, with what could hide there where it was not
/// found.
pub fn course(points: &[Point], window_s: f64) -> Option<LineCourse> {
    if points.len() < LEAST_WINDOWS {
        return None;
    }
    let logs = points.iter().map(|point| [point.at_s, point.peak.ln()]);
    let line = Line::fitted(logs.clone())?;
    let length_s = points[points.len() - 1].at_s - points[0].at_s;
    let change = line.slope * length_s;
    let (known, scatter) = slope_and_scatter(logs, &line, window_s);
    if change.abs() > (1.0 + LEAST_CHANGE).ln() && change.abs() > known * length_s {
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
pub fn chirp(rates: &[[f64; 2]], window_s: f64) -> Option<Chirp> {
    if rates.len() < LEAST_WINDOWS {
        return None;
    }
    let logs = rates.iter().map(|[at_s, hz]| [*at_s, hz.ln()]);
    let line = Line::fitted(logs.clone())?;
    let (known, _) = slope_and_scatter(logs, &line, window_s);
    let moves = Chirp {
        percent_per_minute: 6000.0 * line.slope,
        uncertainty_percent_per_minute: 6000.0 * known,
    };
    (line.slope.abs() > known && is_a_reels(&moves)).then_some(moves)
}

/// True where a rate moves by what a reel could make it.
pub fn is_a_reels(moves: &Chirp) -> bool {
    moves.percent_per_minute.abs() >= LEAST_PER_MINUTE
}

/// Windows that begin nearer to one another than this part of their length
/// overlap. A choice between half and whole.
const OVERLAP: f64 = 0.75;

/// 95 % of a slope, and the standard deviation of the points about their line.
/// Windows that overlap by half share half of their noise: the variance of a
/// slope is up to twice that of windows apart, and they count for half
/// (derived).
fn slope_and_scatter(
    points: impl Iterator<Item = [f64; 2]> + Clone,
    line: &Line,
    window_s: f64,
) -> (f64, f64) {
    let (mut count, mut left, mut spread) = (0.0, 0.0, 0.0);
    let next = points.clone().skip(1);
    let mut steps: Vec<f64> = points.clone().zip(next).map(|(a, b)| b[0] - a[0]).collect();
    for [x, y] in points {
        count += 1.0;
        left += (y - line.at(x)).powi(2);
        spread += (x - line.through[0]).powi(2);
    }
    let scatter = (left / (count - 2.0f64).max(1.0)).sqrt();
    let overlap = median(&mut steps).is_some_and(|step| step < OVERLAP * window_s);
    let factor = if overlap {
        2.0f64.sqrt() * student_95((count - 1.0) / 2.0)
    } else {
        student_95(count - 2.0)
    };
    (factor * scatter / spread.sqrt(), scatter)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::lines::tests::noise;

    fn told(peaks: &[f64]) -> Option<LineCourse> {
        let points = peaks.iter().zip(0u32..).map(|(&peak, nth)| Point {
            at_s: 33.0 * f64::from(nth),
            peak,
            peak_sd: 0.02 * peak,
        });
        course(&points.collect::<Vec<_>>(), 65.5)
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
        let told = chirp(&rates(-3.1), 65.5).expect("a reel");
        assert!((told.percent_per_minute + 3.1).abs() < 0.01, "{told:?}");
        assert_eq!(chirp(&rates(0.02), 65.5), None);
        assert_eq!(chirp(&rates(-3.1)[..3], 65.5), None);
    }

    #[test]
    fn a_steady_line_is_seldom_said_to_grow_or_to_move() {
        const TRIALS: u32 = 2000;
        let rough = noise(4 * 10 * TRIALS as usize, 11);
        for overlap in [true, false] {
            for windows in [4, 5, 6, 8] {
                let (mut grows, mut moves) = (0, 0);
                for trial in rough.chunks(40) {
                    // Nearly bell-shaped, of standard deviation 1.
                    let own: Vec<f64> = trial
                        .chunks(4)
                        .map(|few| few.iter().sum::<f64>() * 3f64.sqrt())
                        .collect();
                    let off = |nth: usize| {
                        if overlap {
                            (own[nth] + own[nth + 1]) / 2f64.sqrt()
                        } else {
                            own[nth]
                        }
                    };
                    let at_s = |nth: usize| if overlap { 33.0 } else { 66.0 } * nth as f64;
                    let points = (0..windows).map(|nth| Point {
                        at_s: at_s(nth),
                        peak: 0.05 * (0.2 * off(nth)).exp(),
                        peak_sd: 0.01,
                    });
                    let told = course(&points.collect::<Vec<_>>(), 65.5);
                    let grown = [Some(LineCourse::Growing), Some(LineCourse::Fading)];
                    grows += u32::from(grown.contains(&told));
                    let rates = (0..windows).map(|nth| [at_s(nth), 0.5 + 0.005 * off(nth)]);
                    moves += u32::from(chirp(&rates.collect::<Vec<_>>(), 65.5).is_some());
                }
                // 5 %, and two standard deviations of this count.
                let most = TRIALS / 20 + 20;
                assert!(grows <= most, "{overlap}, {windows}: {grows}");
                assert!(moves <= most, "{overlap}, {windows}: {moves}");
                // The test can fail: it is not that nothing is ever told.
                assert!(moves > TRIALS / 100, "{overlap}, {windows}: {moves}");
            }
        }
    }
}
