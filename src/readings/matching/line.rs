//! Straight lines through places in the copy against time on the tape, with
//! some of the places wrong.

use crate::signal::statistics::median;

/// Scaled median of absolute values that is the standard deviation of normal
/// ones: 1 / Φ⁻¹(3/4).
const MEDIAN_TO_SIGMA: f64 = 1.4826;

/// What lies further from the line than so many standard deviations does not
/// count.
const CUT: f64 = 3.5;

/// A straight line, both quantities in seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// A time, and the place at that time.
    pub through: [f64; 2],
    /// Places a time: the speed.
    pub slope: f64,
}

impl Line {
    /// The place at a time.
    pub fn at(&self, time_s: f64) -> f64 {
        self.through[1] + self.slope * (time_s - self.through[0])
    }
}

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
        let mut off: Vec<f64> = points
            .iter()
            .map(|p| (p[1] - line.at(p[0])).abs())
            .collect();
        let sigma = MEDIAN_TO_SIGMA * median(&mut off).unwrap_or(0.0);
        let limit = (CUT * sigma).max(near_s);
        let kept = points
            .iter()
            .filter(|p| (p[1] - line.at(p[0])).abs() <= limit);
        match least_squares(kept) {
            Some(next) if next != line => line = next,
            _ => break,
        }
    }
    line
}

/// The line of least squares; `None` through fewer than two times.
pub fn least_squares<'a>(points: impl Iterator<Item = &'a [f64; 2]> + Clone) -> Option<Line> {
    let (mut count, mut time, mut place) = (0.0, 0.0, 0.0);
    for point in points.clone() {
        count += 1.0;
        time += point[0];
        place += point[1];
    }
    let (time, place) = (time / count, place / count);
    let (mut spread, mut both) = (0.0, 0.0);
    for point in points {
        spread += (point[0] - time).powi(2);
        both += (point[0] - time) * (point[1] - place);
    }
    (spread > 0.0).then(|| Line {
        through: [time, place],
        slope: both / spread,
    })
}
