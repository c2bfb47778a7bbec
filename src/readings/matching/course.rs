//! The course of the tape through the copy: a line, and how it wavers.

use super::hearing::{HOPS_S, Point};
use super::line::{median_line, refined};
use crate::signal::line::Line;
use crate::signal::statistics::median;

/// A window agrees with a line when it is so near, at each scale.
const AGREES_S: [f64; 3] = [0.006, 0.004, 0.003];

/// Fewer windows make no line.
const LEAST: usize = 6;

/// A course at a time is the median of what was heard within this many
/// seconds.
const WAVERS_S: f64 = 0.5;

/// No wow carries a tape further off its line.
const MOST_OFF_S: f64 = 0.02;

/// A line through what was heard, and how well it is borne out: the mean
/// correlation, where what lies off the line counts nothing.
pub fn fitted(points: &[Point], scale: usize) -> Option<(Line, f64)> {
    let places: Vec<[f64; 2]> = points
        .iter()
        .filter(|point| point.loud)
        .map(|point| [point.time_s, point.place_s])
        .collect();
    if places.len() < LEAST {
        return None;
    }
    let first = median_line(&places, 4.0 * HOPS_S[scale])?;
    let line = refined(&places, first, AGREES_S[scale]);
    let agreeing = points
        .iter()
        .filter(|p| p.loud && (p.place_s - line.at(p.time_s)).abs() < AGREES_S[scale]);
    let sum: f64 = agreeing.map(|point| f64::from(point.correlation)).sum();
    Some((line, sum / places.len() as f64))
}

/// A course that wavers about a line.
pub struct Course {
    line: Line,
    off: Vec<[f64; 2]>,
}

impl Course {
    /// Through what was heard.
    pub fn new(points: &[Point], line: Line) -> Self {
        let off = points
            .iter()
            .filter(|point| point.loud)
            .map(|point| [point.time_s, point.place_s - line.at(point.time_s)])
            .filter(|off| off[1].abs() < MOST_OFF_S)
            .collect();
        Self { line, off }
    }

    /// The line, moved to where the tape is at a time.
    pub fn at(&self, time_s: f64) -> Line {
        let from = self.off.partition_point(|off| off[0] < time_s - WAVERS_S);
        let mut near: Vec<f64> = self.off[from..]
            .iter()
            .take_while(|off| off[0] <= time_s + WAVERS_S)
            .map(|off| off[1])
            .collect();
        let off = if near.len() < 3 {
            0.0
        } else {
            median(&mut near).unwrap_or(0.0)
        };
        Line {
            through: [time_s, self.line.at(time_s) + off],
            slope: self.line.slope,
        }
    }
}
