//! Straight lines by least squares.

/// A straight line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// A point of it; of a fitted one the mean of the points.
    pub through: [f64; 2],
    /// Change of the second quantity with the first.
    pub slope: f64,
}

impl Line {
    /// Through points; `None` where they do not stand at two places at least.
    pub fn fitted(points: impl Iterator<Item = [f64; 2]> + Clone) -> Option<Self> {
        let (mut count, mut x, mut y) = (0.0, 0.0, 0.0);
        for point in points.clone() {
            count += 1.0;
            x += point[0];
            y += point[1];
        }
        let through = [x / count, y / count];
        // About the means: sums of plain squares would cancel.
        let (mut spread, mut moment) = (0.0, 0.0);
        for point in points {
            let aside = point[0] - through[0];
            spread += aside * aside;
            moment += aside * (point[1] - through[1]);
        }
        (spread > 0.0).then(|| Self {
            through,
            slope: moment / spread,
        })
    }

    /// Through values at 0, 1, 2 …; one alone has no slope, none at all the
    /// mean 0.
    pub fn of_series(values: &[f64]) -> Self {
        let level = || Self {
            through: [0.0, values.first().copied().unwrap_or(0.0)],
            slope: 0.0,
        };
        let points = values.iter().enumerate();
        Self::fitted(points.map(|(k, value)| [k as f64, *value])).unwrap_or_else(level)
    }

    /// The value at a place.
    pub fn at(&self, place: f64) -> f64 {
        self.through[1] + self.slope * (place - self.through[0])
    }

    /// How far values at 0, 1, 2 … lie above it.
    pub fn residuals(self, values: &[f64]) -> impl Iterator<Item = f64> {
        let values = values.iter().enumerate();
        values.map(move |(k, value)| value - self.at(k as f64))
    }
}

/// Σ (x − mean)²; 0 of none.
pub fn squares_about_mean(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let (sum, count) = (values.clone()).fold((0.0, 0.0), |(sum, n), x| (sum + x, n + 1.0));
    values.map(|value| (value - sum / count).powi(2)).sum()
}

/// Sums over points, from which the line through them follows. Their differences
/// give the line through any run of points; the origin should lie near.
#[derive(Clone, Copy, Debug, Default)]
pub struct Sums {
    /// How many points.
    pub count: f64,
    x: f64,
    y: f64,
    xx: f64,
    xy: f64,
    yy: f64,
}

impl Sums {
    /// Adds a point.
    pub fn push(&mut self, [x, y]: [f64; 2]) {
        self.count += 1.0;
        self.x += x;
        self.y += y;
        self.xx += x * x;
        self.xy += x * y;
        self.yy += y * y;
    }

    /// Of the points that came after `earlier`.
    pub fn since(&self, earlier: &Self) -> Self {
        Self {
            count: self.count - earlier.count,
            x: self.x - earlier.x,
            y: self.y - earlier.y,
            xx: self.xx - earlier.xx,
            xy: self.xy - earlier.xy,
            yy: self.yy - earlier.yy,
        }
    }

    /// The line; level where the points do not stand at two places at least.
    pub fn line(&self) -> Line {
        let through = [self.x / self.count, self.y / self.count];
        let spread = self.xx - self.x * through[0];
        let slope = if self.count > 1.0 && spread > 0.0 {
            (self.xy - self.x * through[1]) / spread
        } else {
            0.0
        };
        Line { through, slope }
    }

    /// Sum of the squares of the residuals.
    pub fn squares_left(&self) -> f64 {
        let Line { through, slope } = self.line();
        let moment = self.xy - self.x * through[1];
        (self.yy - self.y * through[1] - slope * moment).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: numbers 0, 1, 3 (mean 4/3) and times 1, 2, 5 (mean 8/3): the
    /// products of the distances make 19/3, the squares 14/3 and 26/3.
    const POINTS: [[f64; 2]; 3] = [[0.0, 1.0], [1.0, 2.0], [3.0, 5.0]];

    #[test]
    fn a_line_is_that_of_least_squares() {
        let line = Line::fitted(POINTS.into_iter()).expect("two places");
        assert!((line.slope - 19.0 / 14.0).abs() < 1e-12);
        assert!((line.at(0.0) - (8.0 - 4.0 * 19.0 / 14.0) / 3.0).abs() < 1e-12);
        let numbers = POINTS.map(|point| point[0]);
        assert!((squares_about_mean(numbers.into_iter()) - 14.0 / 3.0).abs() < 1e-12);
        assert_eq!(Line::fitted([[1.0, 2.0], [1.0, 3.0]].into_iter()), None);
    }

    #[test]
    fn sums_give_the_line_of_any_run_and_what_it_leaves() {
        let mut sums = Sums::default();
        sums.push([7.0, -2.0]);
        let before = sums;
        for point in POINTS {
            sums.push(point);
        }
        let of_three = sums.since(&before);
        assert!((of_three.line().slope - 19.0 / 14.0).abs() < 1e-12);
        let left = 26.0 / 3.0 - 19.0 * 19.0 / (3.0 * 14.0);
        assert!((of_three.squares_left() - left).abs() < 1e-12);
        assert!(before.line().slope.abs() < f64::EPSILON);
    }

    #[test]
    fn a_series_leaves_nothing_of_its_own_line() {
        let values: Vec<f64> = (0..11).map(|k| 2.0 + 0.5 * f64::from(k)).collect();
        let line = Line::of_series(&values);
        assert!((line.slope - 0.5).abs() < 1e-12 && (line.through[1] - 4.5).abs() < 1e-12);
        assert!(line.residuals(&values).all(|left| left.abs() < 1e-12));
        let alone = Line::of_series(&[7.0]);
        assert!(alone.slope.abs() < f64::EPSILON && (alone.through[1] - 7.0).abs() < 1e-12);
    }
}
