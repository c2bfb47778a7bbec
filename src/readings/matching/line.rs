//! Straight lines through places in the copy against time on the tape, with
//! some of the places wrong.

use crate::signal::line::Line;
use crate::signal::statistics::{median, robust_sigma};

/// What lies further from the line than this many standard deviations does not
/// count.
const CUT: f64 = 3.5;

/// A first line: the median slope of pairs at least `apart_s` from each other
/// (H. Theil, 1950; P. K. Sen, J. Am. Stat. Assoc., 1968), and the median of
/// what is left. `None` without such pairs.
pub fn median_line(points: &[[f64; 2]], apart_s: f64) -> Option<Line> {
    let mut slopes = Vec::new();
    for (k, a) in points.iter().enumerate() {
        let far = points[k + 1..].iter().filter(|b| b[0] - a[0] >= apart_s);
        slopes.extend(far.map(|b| (b[1] - a[1]) / (b[0] - a[0])));
    }
    let slope = median(&mut slopes)?;
    let time = points.iter().map(|point| point[0]).sum::<f64>() / points.len() as f64;
    let mut places: Vec<f64> = points
        .iter()
        .map(|point| point[1] - slope * (point[0] - time))
        .collect();
    Some(Line {
        through: [time, median(&mut places)?],
        slope,
    })
}

/// Least squares from a first line on, without what lies far off it; what is
/// within `near_s` always counts.
pub fn refined(points: &[[f64; 2]], first: Line, near_s: f64) -> Line {
    let mut line = first;
    for _ in 0..6 {
        let off = |p: &[f64; 2]| p[1] - line.at(p[0]);
        let sigma = robust_sigma(points.iter().map(off)).unwrap_or(0.0);
        let limit = (CUT * sigma).max(near_s);
        let kept = points.iter().filter(|p| off(p).abs() <= limit);
        match Line::fitted(kept.copied()) {
            Some(next) if next != line => line = next,
            _ => break,
        }
    }
    line
}
