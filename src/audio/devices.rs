//! The sound inputs and outputs of this computer, as a user should see them:
//! each once, by its right name, and none that is only a plugin.
//!
//! On Linux all goes through ALSA: its default is whatever the system's sound
//! settings say, also where a sound server runs; beside it stands each piece
//! of hardware, for the direct way past the server. The sound library could
//! speak to such a server itself, but then loses samples without a word: with
//! blocks of 512 frames 53 % of them arrived, with 4096 frames 91 %, where
//! ALSA's way to the same server delivered all.

use std::collections::BTreeSet;

use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{ErrorKind, HostId, SupportedStreamConfig, SupportedStreamConfigRange};

use super::quiet::QuietStderr;
use super::sound_error::{Direction, SoundError, plain};
use super::source::StreamFormat;
use super::stream_plan::{StreamPlan, offered};

/// ALSA names of software that is no device, of views of a device that is
/// listed already, and of ways to a sound server.
const ALSA_NOT_SHOWN: [&str; 35] = [
    "a52",
    "bluealsa",
    "center_lfe",
    "copy",
    "dca",
    "default",
    "dmix",
    "dsnoop",
    "equal",
    "file",
    "front",
    "hdmi",
    "iec958",
    "jack",
    "lavrate",
    "lavrate_higher",
    "modem",
    "null",
    "oss",
    "phoneline",
    "pipewire",
    "plughw",
    "pulse",
    "rate",
    "rear",
    "samplerate",
    "shm",
    "side",
    "spdif",
    "speex",
    "speexrate",
    "sysdefault",
    "upmix",
    "usbstream",
    "vdownmix",
];

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
    /// All rates it offers, in Hz: usual ones within its ranges.
    pub rates_hz: Vec<u32>,
    /// All sample formats it offers.
    pub formats: Vec<String>,
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

/// A device that can be opened again after it was lost.
pub(super) struct Found {
    pub direction: Direction,
    host: HostId,
    /// `None` for whatever is that host's default.
    id: Option<String>,
    pub name: String,
    pub device: cpal::Device,
}

/// The device for what the user said; `None` is the default.
pub(super) fn find(direction: Direction, wanted: Option<&str>) -> Result<Found, SoundError> {
    match wanted {
        Some(wanted) if !wanted.trim().is_empty() && wanted.trim() != "default" => {
            find_named(direction, wanted.trim())
        }
        _ => find_default(direction),
    }
}

impl Found {
    /// Looks the same device up anew, for its old handle may belong to a
    /// sound server that is no more. Never takes another in its place.
    pub(super) fn again(&self) -> Result<Self, SoundError> {
        let gone = || SoundError::Gone {
            direction: self.direction,
            name: self.name.clone(),
        };
        let host = cpal::host_from_id(self.host).map_err(|_| gone())?;
        let device = match &self.id {
            None => default_of(&host, self.direction),
            Some(id) => by_id(&host, id),
        }
        .ok_or_else(gone)?;
        Ok(Self {
            direction: self.direction,
            host: self.host,
            id: self.id.clone(),
            name: self.name.clone(),
            device,
        })
    }

    /// The format to open it with.
    pub(super) fn plan(&self) -> Result<StreamPlan, SoundError> {
        let failed = |error: cpal::Error| SoundError::of_system(self.direction, &self.name, &error);
        let all = configs(&self.device, self.direction).map_err(failed)?;
        let own = own_config(&self.device, self.direction).ok();
        StreamPlan::choose(own.as_ref(), &all).ok_or_else(|| SoundError::NoUsableFormat {
            direction: self.direction,
            name: self.name.clone(),
            found: offered(&all),
        })
    }
}

fn find_named(direction: Direction, wanted: &str) -> Result<Found, SoundError> {
    let candidates = candidates(direction);
    let chosen = choose(&candidates, wanted, |found| {
        (id_of(&found.device), found.name.clone())
    });
    match chosen {
        Choice::One(index) => {
            let mut candidates = candidates;
            let mut found = candidates.swap_remove(index);
            found.id = Some(id_of(&found.device));
            Ok(found)
        }
        Choice::Several(matching) => Err(SoundError::Ambiguous {
            direction,
            wanted: wanted.to_owned(),
            matching,
        }),
        // An id that is not listed, such as an ALSA plugin, is still an id.
        Choice::None => find_unlisted(direction, wanted).ok_or_else(|| SoundError::Unknown {
            direction,
            wanted: plain(wanted),
            listed: candidates.iter().map(title).collect(),
        }),
    }
}

fn find_unlisted(direction: Direction, wanted: &str) -> Option<Found> {
    let id: cpal::DeviceId = wanted.parse().ok()?;
    let host = cpal::host_from_id(id.host()).ok()?;
    let device = by_id(&host, wanted)?;
    Some(Found {
        direction,
        host: id.host(),
        id: Some(wanted.to_owned()),
        name: name_of(&device),
        device,
    })
}

fn find_default(direction: Direction) -> Result<Found, SoundError> {
    let mut refused = None;
    for host in hosts() {
        let Some(device) = default_of(&host, direction) else {
            continue;
        };
        let found = Found {
            direction,
            host: host.id(),
            id: None,
            name: name_of(&device),
            device,
        };
        // ALSA always names a default; only opening tells whether there is
        // one.
        match configs(&found.device, direction) {
            Ok(_) => return Ok(found),
            Err(error) if matters(error.kind()) => {
                refused = Some(SoundError::of_system(direction, &found.name, &error));
            }
            Err(_) => {}
        }
    }
    let listed: Vec<String> = candidates(direction).iter().map(title).collect();
    Err(match (refused, direction) {
        (Some(error), _) => error,
        (None, Direction::Input) if !listed.is_empty() => SoundError::NoDefaultInput { listed },
        (None, Direction::Input) => forbidden().unwrap_or(SoundError::NoInput),
        (None, Direction::Output) => SoundError::NoOutput,
    })
}

/// Errors that show that there is a device.
fn matters(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::DeviceBusy | ErrorKind::PermissionDenied)
}

/// Sound hardware that this user may not open does not show up at all in
/// ALSA's lists; it must not look as if there were none.
fn forbidden() -> Option<SoundError> {
    let entries = std::fs::read_dir("/dev/snd").ok()?;
    entries
        .flatten()
        .filter(|entry| {
            let name = entry.file_name();
            let name = name.to_string_lossy();
            name.starts_with("pcm") && name.ends_with('c')
        })
        .find_map(|entry| {
            let error = std::fs::File::open(entry.path()).err()?;
            (error.kind() == std::io::ErrorKind::PermissionDenied).then(|| SoundError::Refused {
                direction: Direction::Input,
                name: entry.path().display().to_string(),
            })
        })
}

/// The sound systems that answer.
fn hosts() -> Vec<cpal::Host> {
    cpal::available_hosts()
        .into_iter()
        .filter_map(|id| cpal::host_from_id(id).ok())
        .collect()
}

/// Devices that a user should see, opened or not.
fn candidates(direction: Direction) -> Vec<Found> {
    hosts()
        .iter()
        .flat_map(|host| candidates_of(host, direction))
        .collect()
}

fn candidates_of(host: &cpal::Host, direction: Direction) -> Vec<Found> {
    let Ok(devices) = host.devices() else {
        return Vec::new();
    };
    let mut devices: Vec<cpal::Device> = devices
        .filter(|device| match direction {
            Direction::Input => device.supports_input(),
            Direction::Output => device.supports_output(),
        })
        .collect();
    if host.id().to_string() == "alsa" {
        devices = alsa_devices_shown(&devices, direction);
        let default = default_of(host, direction);
        devices.splice(
            0..0,
            default.filter(|device| configs(device, direction).is_ok()),
        );
    }
    devices
        .into_iter()
        .map(|device| Found {
            direction,
            host: host.id(),
            id: Some(id_of(&device)),
            name: name_of(&device),
            device,
        })
        .collect()
}

fn alsa_devices_shown(all: &[cpal::Device], direction: Direction) -> Vec<cpal::Device> {
    let pcms: Vec<String> = all.iter().map(pcm_of).collect();
    all.iter()
        .zip(&pcms)
        .filter(|(_, pcm)| is_shown(pcm, &pcms))
        .map(|(device, pcm)| {
            // Hardware may speak packed 24 bits only, as many USB interfaces
            // do, which must be converted on the way.
            let converted = format!("plug{pcm}");
            let speaks_unknown = || {
                configs(device, direction).is_ok_and(|all| StreamPlan::choose(None, &all).is_none())
            };
            let other = pcms.iter().position(|other| *other == converted);
            match other {
                Some(index) if speaks_unknown() => all[index].clone(),
                _ => device.clone(),
            }
        })
        .collect()
}

fn list_found(direction: Direction) -> Vec<SoundDevice> {
    let default = find_default(direction)
        .ok()
        .map(|found| id_of(&found.device));
    let mut seen = BTreeSet::new();
    let mut listed: Vec<SoundDevice> = candidates(direction)
        .iter()
        .filter(|found| seen.insert(id_of(&found.device)))
        .map(|found| describe(found, default.as_deref()))
        .collect();
    listed.sort_by_key(|device| !device.is_default);
    listed
}

fn describe(found: &Found, default: Option<&str>) -> SoundDevice {
    let id = id_of(&found.device);
    let all = configs(&found.device, found.direction);
    let plan = found.plan();
    let ranges = all.unwrap_or_default();
    let native = plan.as_ref().ok().map(|plan| NativeFormat {
        stream: plan.format,
        samples: plan.samples.to_string(),
    });
    SoundDevice {
        is_default: default == Some(id.as_str()),
        id,
        name: found.name.clone(),
        native,
        rates_hz: usual_rates(&ranges),
        formats: sample_formats(&ranges),
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

/// Whether an ALSA name is shown, among all of them: hardware by the name of
/// its card, by number only where the name is not listed, and what the user
/// has made in a configuration of their own.
fn is_shown(pcm: &str, all: &[String]) -> bool {
    let (kind, card) = pcm.split_once(':').unwrap_or((pcm, ""));
    if ALSA_NOT_SHOWN.contains(&kind) || kind.starts_with("surround") {
        return false;
    }
    let numbered = |card: &str| {
        card.strip_prefix("CARD=")
            .is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit()))
    };
    let named = |other: &String| {
        other
            .split_once(':')
            .is_some_and(|(kind, card)| kind == "hw" && !numbered(card))
    };
    !(kind == "hw" && numbered(card) && all.iter().any(named))
}

/// Whether an id and a name are meant.
type Rule<'a> = &'a dyn Fn(&str, &str) -> bool;

enum Choice {
    One(usize),
    Several(Vec<String>),
    None,
}

/// The entry that `wanted` means: its id, its id without the host, its name,
/// or the beginning of one name only; upper or lower case alike for names.
fn choose<T>(all: &[T], wanted: &str, label: impl Fn(&T) -> (String, String)) -> Choice {
    let folded = wanted.to_lowercase();
    let labels: Vec<(String, String)> = all.iter().map(label).collect();
    let without_host = |id: &str| id.split_once(':').map(|(_, rest)| rest.to_owned());
    let rules: [Rule; 4] = [
        &|id, _| id == wanted,
        &|id, _| without_host(id).as_deref() == Some(wanted),
        &|_, name| name.to_lowercase() == folded,
        &|_, name| name.to_lowercase().starts_with(&folded),
    ];
    for rule in rules {
        let mut matching: Vec<usize> = (0..labels.len())
            .filter(|&n| rule(&labels[n].0, &labels[n].1))
            .collect();
        matching.dedup_by_key(|n| labels[*n].0.clone());
        match matching[..] {
            [] => {}
            [one] => return Choice::One(one),
            _ => {
                let texts = matching
                    .iter()
                    .map(|&n| format!("\"{}\" ({})", labels[n].1, labels[n].0))
                    .collect();
                return Choice::Several(texts);
            }
        }
    }
    Choice::None
}

fn title(found: &Found) -> String {
    format!("\"{}\" ({})", found.name, id_of(&found.device))
}

fn default_of(host: &cpal::Host, direction: Direction) -> Option<cpal::Device> {
    match direction {
        Direction::Input => host.default_input_device(),
        Direction::Output => host.default_output_device(),
    }
}

fn by_id(host: &cpal::Host, id: &str) -> Option<cpal::Device> {
    host.device_by_id(&id.parse().ok()?).or_else(|| {
        // The default of ALSA need not be among its own list.
        [host.default_input_device(), host.default_output_device()]
            .into_iter()
            .flatten()
            .find(|device| id_of(device) == id)
    })
}

fn configs(
    device: &cpal::Device,
    direction: Direction,
) -> Result<Vec<SupportedStreamConfigRange>, cpal::Error> {
    Ok(match direction {
        Direction::Input => device.supported_input_configs()?.collect(),
        Direction::Output => device.supported_output_configs()?.collect(),
    })
}

fn own_config(
    device: &cpal::Device,
    direction: Direction,
) -> Result<SupportedStreamConfig, cpal::Error> {
    match direction {
        Direction::Input => device.default_input_config(),
        Direction::Output => device.default_output_config(),
    }
}

fn id_of(device: &cpal::Device) -> String {
    device
        .id()
        .map_or_else(|_| name_of(device), |id| plain(&id.to_string()))
}

/// The part of the id that ALSA itself uses.
fn pcm_of(device: &cpal::Device) -> String {
    device
        .id()
        .map_or_else(|_| String::new(), |id| id.id().to_owned())
}

fn name_of(device: &cpal::Device) -> String {
    device
        .description()
        .map_or_else(|_| "unnamed".to_owned(), |text| plain(text.name()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plugins_are_not_shown_and_hardware_is() {
        let all: Vec<String> = [
            "null",
            "lavrate",
            "samplerate",
            "speexrate",
            "jack",
            "oss",
            "pulse",
            "speex",
            "upmix",
            "vdownmix",
            "default",
            "sysdefault:CARD=PCH",
            "front:CARD=PCH,DEV=0",
            "surround51:CARD=PCH,DEV=0",
            "hw:CARD=PCH,DEV=0",
            "plughw:CARD=PCH,DEV=0",
            "hw:CARD=0,DEV=0",
            "plughw:CARD=0,DEV=0",
            "dsnoop:CARD=PCH,DEV=0",
            "bench_left",
        ]
        .map(String::from)
        .to_vec();
        let shown: Vec<&String> = all.iter().filter(|pcm| is_shown(pcm, &all)).collect();
        assert_eq!(shown, ["hw:CARD=PCH,DEV=0", "bench_left"]);
    }

    #[test]
    fn numbered_hardware_is_shown_where_no_names_are() {
        let all = [
            "hw:CARD=0,DEV=0".to_owned(),
            "plughw:CARD=0,DEV=0".to_owned(),
        ];
        assert!(is_shown(&all[0], &all));
        assert!(!is_shown(&all[1], &all));
    }

    fn chosen(wanted: &str) -> Result<usize, usize> {
        let all = [
            ("alsa:deck", "Monitor of Deck"),
            ("alsa:usb", "USB Line"),
            ("alsa:hw:CARD=A,DEV=0", "USB Line"),
            ("alsa:hw:CARD=B,DEV=0", "USB Line In"),
        ];
        let label = |pair: &(&str, &str)| (pair.0.to_owned(), pair.1.to_owned());
        match choose(&all, wanted, label) {
            Choice::One(index) => Ok(index),
            Choice::Several(matching) => Err(matching.len()),
            Choice::None => Err(0),
        }
    }

    #[test]
    fn ids_names_and_beginnings_of_names_are_understood() {
        assert_eq!(chosen("alsa:usb"), Ok(1));
        assert_eq!(chosen("hw:CARD=A,DEV=0"), Ok(2));
        assert_eq!(chosen("deck"), Ok(0));
        assert_eq!(chosen("monitor OF deck"), Ok(0));
        assert_eq!(chosen("moni"), Ok(0));
        // A whole name goes before a longer one that begins with it.
        assert_eq!(chosen("usb line in"), Ok(3));
    }

    #[test]
    fn what_fits_several_or_none_is_not_guessed() {
        assert_eq!(chosen("USB Line"), Err(2));
        assert_eq!(chosen("us"), Err(3));
        assert_eq!(chosen("tape"), Err(0));
    }
}
