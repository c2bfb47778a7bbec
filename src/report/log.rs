//! The log of a sitting: a line of JSON a second, and one a minute with the
//! lines in the flutter. The manual describes it (`tapewright help records`).

use std::sync::Arc;

use serde::{Serialize, Serializer};

use super::numbers::{places, significant};
use super::wavering_json::Line;
use crate::readings::{FlutterLine, FlutterLines, Reading, ToneState};
use crate::units::{Decibels, Percent};

/// Value of the key `schema` in the first line.
const SCHEMA: &str = "tapewright.log/1";

/// Half seconds of the trend in a second.
const HALVES: usize = 2;

/// What holds for the whole log.
#[derive(Clone, Debug, Serialize)]
pub struct LogHead {
    schema: &'static str,
    /// When it began, to the second.
    pub started: String,
    /// The machine on the bench.
    pub machine: Option<String>,
    /// What is listened to.
    pub source: String,
    /// As it is typed for an option.
    pub reference: String,
    /// Half width of the tolerance band.
    pub tolerance_percent: f64,
    /// It is no real machine.
    pub simulated: bool,
}

impl LogHead {
    /// Of this source; the rest is to be filled in.
    pub fn of(source: String) -> Self {
        Self {
            schema: SCHEMA,
            started: String::new(),
            machine: None,
            source,
            reference: String::new(),
            tolerance_percent: 0.0,
            simulated: false,
        }
    }
}

/// One line after the first.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum LogLine {
    /// Once a second.
    Second(LogSecond),
    /// Once a minute.
    Lines(LogLines),
}

/// A second of the input. What is not known is `null`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LogSecond {
    /// Seconds of input since the log began.
    pub at_s: u64,
    /// Mean of this second.
    pub deviation_percent: Option<f64>,
    /// Weighted flutter as the screen shows it.
    pub weighted_percent: Option<f64>,
    wow_rms_percent: Option<f64>,
    flutter_rms_percent: Option<f64>,
    level_dbfs: Option<f64>,
    snr_db: Option<f64>,
    /// Of the second just past.
    right_lags_us: Option<f64>,
    /// Since the input began.
    dropouts: u64,
    /// Lost on the way in, since it began.
    lost_frames: u64,
    tone: bool,
    /// Lines of the log that found no way to the disk so far.
    skipped: u64,
}

/// The lines in the flutter as of the last look at them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LogLines {
    at_s: u64,
    /// `None` where none can be told.
    #[serde(serialize_with = "for_scripts")]
    lines: Option<Arc<FlutterLines>>,
}

/// As they stand in the JSON of a recording.
#[allow(clippy::ref_option)] // serde gives it so
fn for_scripts<S: Serializer>(lines: &Option<Arc<FlutterLines>>, to: S) -> Result<S::Ok, S::Error> {
    let found = lines.as_ref();
    found.map(|it| to_lines(&it.lines)).serialize(to)
}

fn to_lines(lines: &[FlutterLine]) -> Vec<Line<'_>> {
    lines.iter().map(Line::of).collect()
}

impl LogSecond {
    /// What a reading says of the second that has just ended.
    pub fn of(reading: &Reading, at_s: u64, lost_frames: u64, skipped: u64) -> Self {
        let percent = |it: Option<Percent>| it.and_then(|it| significant(it.0, 3));
        let tenth = |it: Option<Decibels>| it.and_then(|it| places(it.0, 1));
        let flutter = &reading.flutter;
        let lags = reading.channels_now.as_ref().map(|it| it.right_lags_us);
        Self {
            at_s,
            deviation_percent: mean_of_the_second(&reading.trend)
                .and_then(|deviation| places(deviation, 4)),
            weighted_percent: percent(flutter.weighted_two_sigma),
            wow_rms_percent: percent(flutter.wow_rms),
            flutter_rms_percent: percent(flutter.flutter_rms),
            level_dbfs: tenth(reading.signal.tone_level),
            snr_db: tenth(reading.signal.snr),
            right_lags_us: lags.and_then(|lags| places(lags, 2)),
            dropouts: reading.signal.dropouts,
            lost_frames,
            tone: reading.tone == ToneState::Locked,
            skipped,
        }
    }
}

#[cfg(test)]
impl LogSecond {
    /// A second of which nothing is known.
    pub(super) fn silent(at_s: u64) -> Self {
        Self {
            at_s,
            deviation_percent: None,
            weighted_percent: None,
            wow_rms_percent: None,
            flutter_rms_percent: None,
            level_dbfs: None,
            snr_db: None,
            right_lags_us: None,
            dropouts: 0,
            lost_frames: 0,
            tone: false,
            skipped: 0,
        }
    }
}

/// Mean of the newest half seconds that have one.
fn mean_of_the_second(trend: &[Option<Percent>]) -> Option<f64> {
    let newest = &trend[trend.len().saturating_sub(HALVES)..];
    let (sum, count) = newest
        .iter()
        .flatten()
        .fold((0.0, 0.0), |(sum, count), it| (sum + it.0, count + 1.0));
    (count > 0.0).then(|| sum / count)
}

impl LogLines {
    /// The lines that a reading shows.
    pub fn of(reading: &Reading, at_s: u64) -> Self {
        let lines = reading.lines.clone();
        Self { at_s, lines }
    }
}
