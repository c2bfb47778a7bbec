//! Lines of flutter and two channels, as scripts have them.

use serde::Serialize;

use super::numbers::{places, significant, significant_up};
use crate::readings::{
    Chirp, FlutterLine, LikelyPart, LineAt, LineCourse, LineMotion, TwoChannels,
};
use crate::units::Percent;

#[derive(Serialize)]
pub(super) struct Line<'a> {
    hz: Option<f64>,
    uncertainty_hz: Option<f64>,
    peak_percent: Option<f64>,
    uncertainty_percent: Option<f64>,
    weighted_share: Option<f64>,
    parts: Vec<Part<'a>>,
    motion: LineMotion,
    course: Option<LineCourse>,
    percent_per_minute: Option<f64>,
    uncertainty_percent_per_minute: Option<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    over_time: Vec<At>,
}

#[derive(Serialize)]
struct Part<'a> {
    name: &'a str,
    harmonic: u32,
    likelihood: Option<f64>,
}

/// A line in one window of a long record.
#[allow(clippy::struct_field_names)] // the keys of the contract carry their unit
#[derive(Serialize)]
struct At {
    at_s: Option<f64>,
    hz: Option<f64>,
    peak_percent: Option<f64>,
}

#[allow(clippy::struct_field_names)] // the keys of the contract carry their unit
#[derive(Serialize)]
pub(super) struct Channels {
    level_left_dbfs: Option<f64>,
    level_right_dbfs: Option<f64>,
    balance_db: Option<f64>,
    balance_uncertainty_db: Option<f64>,
    right_lags_us: Option<f64>,
    right_lags_uncertainty_us: Option<f64>,
    right_lags_ambiguous_by_us: Option<f64>,
    right_lags_jitter_us: Option<f64>,
    inverted: bool,
}

impl<'a> Line<'a> {
    pub(super) fn of(line: &'a FlutterLine) -> Self {
        let around = line.hz_uncertainty.0;
        // Two digits more than the first one of the ±.
        let decimals = (2.0 - around.max(1e-9).log10().floor()).clamp(0.0, 6.0) as i32;
        let slope = |of: fn(&Chirp) -> f64| places(of(line.chirp.as_ref()?), 3);
        Self {
            hz: places(line.hz.0, decimals),
            uncertainty_hz: significant_up(around, 3),
            peak_percent: percent(line.peak),
            uncertainty_percent: significant_up(line.peak_uncertainty.0, 3),
            weighted_share: places(line.weighted_share, 4),
            parts: line.parts.iter().map(Part::of).collect(),
            motion: line.motion,
            course: line.course,
            percent_per_minute: slope(|it| it.percent_per_minute),
            uncertainty_percent_per_minute: slope(|it| it.uncertainty_percent_per_minute),
            over_time: line.windows.iter().map(At::of).collect(),
        }
    }
}

impl<'a> Part<'a> {
    fn of(part: &'a LikelyPart) -> Self {
        // Rounded down, so that those of a line never add to more than 1.
        let thousandths = (1000.0 * part.likelihood).floor();
        Self {
            name: &part.name,
            harmonic: part.harmonic,
            likelihood: places(thousandths / 1000.0, 3),
        }
    }
}

impl At {
    fn of(at: &LineAt) -> Self {
        Self {
            at_s: places(at.at.0, 2),
            hz: significant(at.hz.0, 6),
            peak_percent: percent(at.peak),
        }
    }
}

impl Channels {
    pub(super) fn of(channels: &TwoChannels) -> Self {
        let it = channels;
        let up = |value: Option<f64>| significant_up(value?, 3);
        Self {
            level_left_dbfs: places(it.level_left.0, 2),
            level_right_dbfs: places(it.level_right.0, 2),
            balance_db: places(it.balance.0, 3),
            balance_uncertainty_db: up(it.balance_uncertainty.map(|it| it.0)),
            right_lags_us: places(it.right_lags_us, 3),
            right_lags_uncertainty_us: up(it.right_lags_uncertainty_us),
            right_lags_ambiguous_by_us: it.ambiguous_by_us.and_then(|it| places(it, 2)),
            right_lags_jitter_us: it.jitter_us.and_then(|it| significant(it, 3)),
            inverted: it.inverted,
        }
    }
}

fn percent(value: Percent) -> Option<f64> {
    significant(value.0, 4)
}
