//! How loud a channel is from moment to moment, so that two channels can be
//! compared.

/// Loudness is compared over moments of this length, in seconds; fainter than
/// this power (−70 dB) is silence.
const MOMENT_S: f64 = 0.05;
const QUIET: f64 = 1e-7;

/// How loud it was from moment to moment.
#[derive(Default)]
pub(super) struct Loudness {
    /// Sum of squares and samples of the moment that is on.
    sum: (f64, u32),
    db: Vec<f64>,
}

impl Loudness {
    /// Takes samples.
    pub fn push(&mut self, samples: &[f32], rate_hz: u32) {
        let length = (MOMENT_S * f64::from(rate_hz)) as u32;
        for x in samples {
            self.sum.0 += f64::from(x * x);
            self.sum.1 += 1;
            if self.sum.1 >= length {
                let (sum, count) = std::mem::take(&mut self.sum);
                self.db
                    .push(10.0 * (sum / f64::from(count) + QUIET).log10());
            }
        }
    }

    /// In decibels, a value a moment.
    pub fn db(&self) -> &[f64] {
        &self.db
    }

    /// Forgets all but the newest seconds, now and then.
    pub fn keep_newest(&mut self, seconds: f64) {
        let keep = (seconds / MOMENT_S) as usize;
        if self.db.len() > 2 * keep {
            self.db.drain(..self.db.len() - keep);
        }
    }
}
