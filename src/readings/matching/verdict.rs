//! Whether what was heard along a course is the same music.

use super::closely::BANDS;
use super::course::Course;
use super::hearing::{CLOSE, HOPS_S, Point};
use crate::signal::line::Line;
use crate::signal::statistics::median;
use crate::units::Seconds;

/// A band agrees in a window when it finds the course to within this by itself.
const AGREES_S: f64 = 0.001;

/// Least sound that decides, and the same as a part of a short copy.
const LEAST_S: f64 = 7.5;
const LEAST_OF_COPY: f64 = 0.55;

/// Part of the sound in which a band must agree, and bands that must.
const LEAST_SHARE: f64 = 0.4;
const LEAST_BANDS: usize = 2;

/// Coefficients of all bands together, where they agree.
const LEAST_CORRELATION: f64 = 0.7;

/// The same above what decoys reach: steady tones are like themselves
/// everywhere, and tell no place. (On music 0.35 or more where it is right.)
const LEAST_ABOVE_DECOYS: f64 = 0.15;

/// Most that places scatter about the line (median of the magnitudes): 1 % of
/// wow at 0.5 Hz is 2.3 ms.
const MOST_RESIDUAL_S: f64 = 0.004;

/// Each band of what was heard.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BandEvidence {
    /// Part of the sound in which it agrees, 0 … 1.
    pub share: f64,
    /// Mean coefficient, 0 where it does not agree.
    pub correlation: f64,
    /// Mean coefficient near a wrong place.
    pub decoy: f64,
}

/// What speaks for a course.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Evidence {
    /// How much of the sound could be compared, in seconds.
    pub heard_s: f64,
    /// Each band.
    pub bands: [BandEvidence; BANDS],
    /// Median of how far places lie off the line, in seconds.
    pub residual_s: f64,
}

impl Evidence {
    /// Of windows heard closely.
    pub fn of(points: &[Point], line: Line) -> Self {
        let course = Course::new(points, line);
        let loud: Vec<&Point> = points.iter().filter(|point| point.loud).collect();
        let part = 1.0 / (loud.len() as f64).max(1.0);
        let mut bands = [BandEvidence::default(); BANDS];
        for point in &loud {
            let at = course.at(point.time_s).at(point.time_s);
            for (band, evidence) in bands.iter_mut().enumerate() {
                let (place_s, correlation) = point.bands[band];
                if (place_s - at).abs() < AGREES_S {
                    evidence.share += part;
                    evidence.correlation += part * f64::from(correlation);
                }
                evidence.decoy += part * f64::from(point.decoy[band]);
            }
        }
        let mut off: Vec<f64> = loud
            .iter()
            .map(|point| (point.place_s - line.at(point.time_s)).abs())
            .collect();
        Self {
            heard_s: loud.len() as f64 * HOPS_S[CLOSE],
            bands,
            residual_s: median(&mut off).unwrap_or(f64::INFINITY),
        }
    }

    /// Whether it is the same music, of a copy of this length.
    pub fn accepts(&self, copy: Seconds) -> bool {
        let agree = self
            .bands
            .iter()
            .filter(|band| band.share >= LEAST_SHARE)
            .count();
        let correlation: f64 = self.bands.iter().map(|band| band.correlation).sum();
        let decoys: f64 = self.bands.iter().map(|band| band.decoy).sum();
        self.heard_s >= LEAST_S.min(LEAST_OF_COPY * copy.0)
            && agree >= LEAST_BANDS
            && correlation >= LEAST_CORRELATION
            && correlation - decoys >= LEAST_ABOVE_DECOYS
            && self.residual_s <= MOST_RESIDUAL_S
    }
}
