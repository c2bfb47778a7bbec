//! The sound inputs and outputs of this computer, as a user should see them:
//! each once, by its right name, and none that is only a plugin.

use std::collections::BTreeSet;

use cpal::SupportedStreamConfigRange;

use super::found::{FoundDevice, candidates, find_default};
use super::quiet::QuietStderr;
use super::sound_error::{Direction, SoundError};
use super::source::StreamFormat;

/// A device as it is listed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SoundDevice {
    /// Stable across restarts; what scripts use.
    pub id: String,
    /// For people.
    pub name: String,
    /// It is what is taken when nothing is said.
    pub is_default: bool,
    /// Its own format, which is used.
    pub native: Option<NativeFormat>,
    /// The usual rates that the hardware has, in Hz; empty where the system
    /// converts, for then it is not known.
    pub rates_hz: Vec<u32>,
    /// The sample formats that the hardware has; empty likewise.
    pub formats: Vec<String>,
    /// The system converts to the format above on the way.
    pub converts: bool,
    /// Why it cannot be used now, if so.
    pub trouble: Option<SoundError>,
}

/// A device's own format.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NativeFormat {
    /// Rate and channels.
    pub stream: StreamFormat,
    /// Sample format, such as i16 or f32.
    pub samples: String,
}

/// Everything there is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SoundDevices {
    /// Sound inputs, the default first.
    pub inputs: Vec<SoundDevice>,
    /// Sound outputs, the default first.
    pub outputs: Vec<SoundDevice>,
}

/// Lists what there is. Standard error stays quiet meanwhile.
pub fn list() -> SoundDevices {
    let _quiet = QuietStderr::start();
    SoundDevices {
        inputs: list_found(Direction::Input),
        outputs: list_found(Direction::Output),
    }
}

fn list_found(direction: Direction) -> Vec<SoundDevice> {
    let default = find_default(direction).ok().map(|found| found.id());
    let mut seen = BTreeSet::new();
    let mut listed: Vec<SoundDevice> = candidates(direction)
        .iter()
        .filter(|found| seen.insert(found.id()))
        .map(|found| describe(found, default.as_deref()))
        .collect();
    listed.sort_by_key(|device| !device.is_default);
    listed
}

fn describe(found: &FoundDevice, default: Option<&str>) -> SoundDevice {
    let id = found.id();
    let plan = found.plan(1);
    let converts = found.converts();
    let hardware = if converts {
        Vec::new()
    } else {
        found.offers().unwrap_or_default()
    };
    let native = plan.as_ref().ok().map(|plan| NativeFormat {
        stream: plan.format,
        samples: plan.samples.to_string(),
    });
    SoundDevice {
        is_default: default == Some(id.as_str()),
        id,
        name: found.name.clone(),
        native,
        rates_hz: usual_rates(&hardware),
        formats: sample_formats(&hardware),
        converts,
        trouble: plan.err(),
    }
}

fn usual_rates(ranges: &[SupportedStreamConfigRange]) -> Vec<u32> {
    const USUAL_HZ: [u32; 9] = [
        8000, 16_000, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000, 192_000,
    ];
    USUAL_HZ
        .into_iter()
        .filter(|rate| {
            ranges
                .iter()
                .any(|range| (range.min_sample_rate()..=range.max_sample_rate()).contains(rate))
        })
        .collect()
}

fn sample_formats(ranges: &[SupportedStreamConfigRange]) -> Vec<String> {
    let formats: BTreeSet<_> = ranges
        .iter()
        .map(SupportedStreamConfigRange::sample_format)
        .collect();
    formats.iter().map(ToString::to_string).collect()
}
