//! Systems of linear equations whose matrix is symmetric and positive: normal
//! equations and covariances, by Cholesky's decomposition.

/// The lower factor L of a matrix L Lᵀ, row by row.
#[derive(Clone, Debug)]
pub struct Cholesky {
    size: usize,
    lower: Vec<f64>,
}

/// Place of an entry in a lower triangle that is kept row by row.
fn at(row: usize, column: usize) -> usize {
    row * (row + 1) / 2 + column
}

impl Cholesky {
    /// Of a matrix given by its lower triangle, row by row; `None` where it is
    /// not positive: normal equations that do not tell all unknowns apart.
    pub fn of(size: usize, mut lower: Vec<f64>) -> Option<Self> {
        for row in 0..size {
            for column in 0..=row {
                let mut sum = lower[at(row, column)];
                for k in 0..column {
                    sum -= lower[at(row, k)] * lower[at(column, k)];
                }
                lower[at(row, column)] = if row > column {
                    sum / lower[at(column, column)]
                } else if sum > 0.0 {
                    sum.sqrt()
                } else {
                    return None;
                };
            }
        }
        Some(Self { size, lower })
    }

    fn row(&self, row: usize) -> &[f64] {
        &self.lower[at(row, 0)..at(row + 1, 0)]
    }

    /// Solves L w = v in place: makes what hangs together as the matrix says
    /// independent, each of variance 1.
    pub fn whiten(&self, values: &mut [f64]) {
        for k in 0..self.size {
            let row = self.row(k);
            let known: f64 = row.iter().zip(&values[..k]).map(|(l, w)| l * w).sum();
            values[k] = (values[k] - known) / row[k];
        }
    }

    /// Solves L Lᵀ x = v in place.
    pub fn solve(&self, values: &mut [f64]) {
        self.whiten(values);
        for k in (0..self.size).rev() {
            for below in k + 1..self.size {
                values[k] -= self.lower[at(below, k)] * values[below];
            }
            values[k] /= self.lower[at(k, k)];
        }
    }

    /// Half the logarithm of the determinant.
    pub fn ln_half_determinant(&self) -> f64 {
        (0..self.size).map(|k| self.lower[at(k, k)].ln()).sum()
    }
}

/// Normal equations of a least-squares fit, added up row by row.
#[derive(Clone, Debug)]
pub struct Normal {
    size: usize,
    /// Lower triangle of Σ weight rowᵀ row.
    matrix: Vec<f64>,
    right: Vec<f64>,
}

impl Normal {
    /// Of `size` unknowns.
    pub fn new(size: usize) -> Self {
        Self {
            size,
            matrix: vec![0.0; at(size, 0)],
            right: vec![0.0; size],
        }
    }

    /// Adds an equation: the row times the unknowns is to be the value.
    #[inline]
    pub fn add(&mut self, row: &[f64], value: f64, weight: f64) {
        let mut place = 0;
        for (k, &own) in row.iter().enumerate() {
            let own = weight * own;
            for &other in &row[..=k] {
                self.matrix[place] += own * other;
                place += 1;
            }
            self.right[k] += own * value;
        }
    }

    /// Keeps unknowns small that hardly show: adds a part of itself and a
    /// fixed sum to each entry of the diagonal.
    pub fn damp(&mut self, part: f64, sum: f64) {
        for k in 0..self.size {
            let entry = &mut self.matrix[at(k, k)];
            *entry += part * *entry + sum;
        }
    }

    /// `None` where the rows do not tell all unknowns apart: where their
    /// determinant is less than asked for.
    pub fn solve(mut self, least_determinant: f64) -> Option<Vec<f64>> {
        let factor = Cholesky::of(self.size, self.matrix)?;
        factor.solve(&mut self.right);
        (factor.ln_half_determinant() >= 0.5 * least_determinant.ln()).then_some(self.right)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_system_by_hand() {
        // [4 2; 2 3] has the factor [2 0; 1 √2].
        let factor = Cholesky::of(2, vec![4.0, 2.0, 3.0]).expect("positive");
        assert!((factor.ln_half_determinant() - 8f64.ln() / 2.0).abs() < 1e-12);
        let mut values = [2.0, 3.0];
        factor.whiten(&mut values);
        assert!((values[0] - 1.0).abs() < 1e-12 && (values[1] - 2f64.sqrt()).abs() < 1e-12);
        let mut values = [8.0, 8.0];
        factor.solve(&mut values);
        assert!((values[0] - 1.0).abs() < 1e-12 && (values[1] - 2.0).abs() < 1e-12);
        assert!(Cholesky::of(2, vec![1.0, 1.0, 1.0]).is_none());
    }

    #[test]
    fn a_fit_finds_what_made_the_values() {
        let mut normal = Normal::new(2);
        for k in 0..5 {
            let x = f64::from(k);
            normal.add(&[1.0, x], 3.0 - 0.5 * x, 1.0 + x);
        }
        // Σ w = 15, Σ w x = 40, Σ w x² = 130: a determinant of 350.
        assert!(normal.clone().solve(349.9).is_some() && normal.clone().solve(350.1).is_none());
        let found = normal.solve(0.0).expect("two unknowns");
        assert!((found[0] - 3.0).abs() < 1e-12 && (found[1] + 0.5).abs() < 1e-12);
        let mut normal = Normal::new(2);
        normal.add(&[1.0, 1.0], 3.0, 1.0);
        assert!(normal.clone().solve(0.0).is_none());
        // Damped, an unknown takes its part of what is known of both.
        normal.damp(0.0, 1e-9);
        let found = normal.solve(0.0).expect("damped");
        assert!((found[0] - 1.5).abs() < 1e-6 && (found[1] - 1.5).abs() < 1e-6);
    }
}
