//! What is kept: one measurement with all that is needed to understand it a
//! year later.

use std::fmt;
use std::sync::atomic::{AtomicU32, Ordering};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::run::Run;
use crate::readings::{Measurement, Position, SweepReport};
use crate::references::same_machine;
use crate::units::Percent;

/// What a snapshot was kept as.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Label {
    /// Before the work.
    Before,
    /// After the work.
    After,
    /// Under a name of its own.
    Named(String),
}

/// Steps of a track that are kept, a choice: each is narrower than a line in a
/// picture as wide as a page, and a job of many recordings stays small.
const KEPT_STEPS: usize = 1200;

/// One kept measurement.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Snapshot {
    /// Unlike every other's.
    pub id: String,
    /// What it was kept as.
    pub label: Label,
    /// When it was complete.
    pub taken_at: Timestamp,
    /// Name of the machine on the bench.
    pub machine: Option<String>,
    /// What the technician noted.
    pub note: Option<String>,
    /// Where the samples came from.
    pub source: String,
    /// From the simulated machine: invented, not measured.
    pub simulated: bool,
    /// Where on the tape; `None` where nobody said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub position: Option<Position>,
    /// At which speed and in which direction; `None` where there is one only.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<Run>,
    /// Supply voltage of the machine, as somebody typed it in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub supply_volts: Option<f64>,
    /// The newest check of the trimmer's wiper, without its picture; `None`
    /// where none was made in that sitting.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wiper: Option<SweepReport>,
    /// The first one of that sitting, where it was another: mostly that before
    /// cleaning.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wiper_at_first: Option<SweepReport>,
    /// How often it had been cleaned in that sitting for what a sweep had found,
    /// with a sweep after it; `None` where that is not known, or it was cleaned
    /// without need.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wiper_cleanings: Option<usize>,
    /// Name of the card of the tape that it was taken with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tape: Option<String>,
    /// Half width of the tolerance band that was in force; `None` where an
    /// earlier version kept it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<Percent>,
    /// All figures, with what they were taken against.
    pub measurement: Measurement,
}

impl Snapshot {
    /// A snapshot taken now, without machine and note, of a real source.
    pub fn new(label: Label, source: impl Into<String>, mut measurement: Measurement) -> Self {
        let taken_at = Timestamp::now();
        let track = measurement.track.take();
        measurement.track = track.map(|it| it.shortened(KEPT_STEPS));
        Self {
            id: new_id(taken_at),
            label,
            taken_at,
            machine: None,
            note: None,
            source: source.into(),
            simulated: false,
            position: None,
            run: None,
            supply_volts: None,
            wiper: None,
            wiper_at_first: None,
            wiper_cleanings: None,
            tape: None,
            tolerance: None,
            measurement,
        }
    }

    /// Of the same machine, however its name is written, or both of one without
    /// a name.
    pub fn is_of_machine_of(&self, other: &Self) -> bool {
        let [name, other_name] = [self, other].map(|it| it.machine.as_deref());
        name == other_name || same_machine(name, other_name)
    }

    /// Of the same machine at the same speed and direction; what is simulated is
    /// nobody else's.
    pub fn is_alike(&self, other: &Self) -> bool {
        self.is_of_machine_of(other) && self.run == other.run && self.simulated == other.simulated
    }

    /// What its line says.
    pub(super) fn line(&self) -> impl Serialize {
        #[derive(Serialize)]
        struct Line<'a> {
            schema: &'static str,
            #[serde(flatten)]
            snapshot: &'a Snapshot,
        }
        Line {
            schema: SCHEMA,
            snapshot: self,
        }
    }
}

/// Schema of the lines that this version writes.
pub(super) const SCHEMA: &str = "tapewright.snapshot/1";

/// How every line of every version begins.
pub(super) const LINE_BEGINS: &[u8] = b"{\"schema\":\"tapewright.snapshot/";

impl fmt::Display for Label {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Before => f.write_str("before"),
            Self::After => f.write_str("after"),
            Self::Named(name) => f.write_str(name),
        }
    }
}

/// Time, process and a counter: two programs that keep at the same moment
/// differ in the process, two snapshots of one program in the counter.
fn new_id(at: Timestamp) -> String {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    let process = std::process::id();
    format!("{:x}-{process:x}-{count:x}", at.as_nanosecond())
}
