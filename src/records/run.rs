//! One of a machine's speeds and directions: each is set and measured by
//! itself.

use std::fmt;

use serde::{Deserialize, Serialize};

/// Which way the tape runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// As with the first side up.
    Forward,
    /// The other way, on machines that play both.
    Reverse,
}

/// A speed and a direction of a machine; what is not said is not known, or
/// there is no choice.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Run {
    /// Nominal tape speed in cm/s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub speed_cm_s: Option<f64>,
    /// Which way.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub direction: Option<Direction>,
}

impl fmt::Display for Direction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Forward => "forward",
            Self::Reverse => "reverse",
        })
    }
}

impl fmt::Display for Run {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.speed_cm_s, self.direction) {
            (Some(speed), Some(direction)) => write!(f, "{speed} cm/s {direction}"),
            (Some(speed), None) => write!(f, "{speed} cm/s"),
            (None, Some(direction)) => direction.fmt(f),
            (None, None) => f.write_str("the only run"),
        }
    }
}
