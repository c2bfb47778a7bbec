//! Finding the device that is meant, and the same one again.
//!
//! On Linux all goes through ALSA: its default is whatever the system's sound
//! settings say, also where a sound server runs; beside it stands each piece
//! of hardware, for the direct way past the server. The sound library could
//! speak to such a server itself, but then loses samples without a word: with
//! blocks of 512 frames 53 % of them arrived, with 4096 frames 91 %, where
//! ALSA's way to the same server delivered all.

use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{ErrorKind, HostId, SupportedStreamConfig, SupportedStreamConfigRange};

use super::device_names::{Choice, choose, is_shown};
use super::sound_error::{Direction, SoundError, plain};
use super::stream_plan::{StreamPlan, offered};

/// A device that can be opened again after it was lost.
pub(super) struct FoundDevice {
    pub direction: Direction,
    host: HostId,
    /// Taken because it was the host's default, not by its name.
    is_default: bool,
    /// Which device it is, also where it was the default.
    id: String,
    pub name: String,
    pub device: cpal::Device,
}

/// The device for what the user said; `None` is the default.
pub(super) fn find(direction: Direction, wanted: Option<&str>) -> Result<FoundDevice, SoundError> {
    match wanted {
        Some(wanted) if !wanted.trim().is_empty() && wanted.trim() != "default" => {
            find_named(direction, wanted.trim())
        }
        _ => find_default(direction),
    }
}

impl FoundDevice {
    fn new(direction: Direction, host: HostId, device: cpal::Device) -> Self {
        Self {
            direction,
            host,
            is_default: false,
            id: id_of(&device),
            name: name_of(&device),
            device,
        }
    }

    /// Its id, also where it was taken as the default.
    pub(super) fn id(&self) -> String {
        self.id.clone()
    }

    /// All formats that it offers.
    pub(super) fn offers(&self) -> Result<Vec<SupportedStreamConfigRange>, SoundError> {
        configs(&self.device, self.direction)
            .map_err(|error| SoundError::of_system(self.direction, &self.name, &error))
    }

    /// True where formats are converted on the way, so that what it offers
    /// is not what the hardware has.
    pub(super) fn converts(&self) -> bool {
        self.is_alsa() && !pcm_of(&self.device).starts_with("hw:")
    }

    /// Its id stays the same whatever stands behind it: a part of ALSA that is
    /// told no card, such as its default, leads to what the sound settings say.
    pub(super) fn is_by_settings(&self) -> bool {
        self.is_alsa() && names_no_card(&pcm_of(&self.device))
    }

    fn is_alsa(&self) -> bool {
        self.host.to_string() == "alsa"
    }

    /// Looks the same device up anew, for its old handle may belong to a
    /// sound server that is no more. Another is never taken in its place,
    /// but for a default that stays away when `or_another` says so.
    pub(super) fn again(&self, or_another: bool) -> Result<Self, SoundError> {
        let gone = || SoundError::Gone {
            direction: self.direction,
            name: self.name.clone(),
        };
        let host = cpal::host_from_id(self.host).map_err(|_| gone())?;
        let same = by_id(&host, &self.id);
        let default = || default_of(&host, self.direction);
        let (device, stands_in) =
            same_or_another(same, or_another && self.is_default, default).ok_or_else(gone)?;
        let found = Self::new(self.direction, self.host, device);
        if stands_in {
            // By its name it is known to be another.
            let alike = found.name == self.name;
            return Ok(Self {
                is_default: true,
                name: if alike {
                    title(&found)
                } else {
                    found.name.clone()
                },
                ..found
            });
        }
        Ok(Self {
            is_default: self.is_default,
            // An id that is no device's own, such as an ALSA plugin's, stays.
            id: self.id.clone(),
            name: self.name.clone(),
            ..found
        })
    }

    /// The format to open it with, of this number of channels or more.
    pub(super) fn plan(&self, channels: u16) -> Result<StreamPlan, SoundError> {
        let all = self.offers()?;
        let own = own_config(&self.device, self.direction).ok();
        StreamPlan::choose_with(channels, own.as_ref(), &all).ok_or_else(|| {
            let (direction, name) = (self.direction, self.name.clone());
            match StreamPlan::choose(own.as_ref(), &all) {
                Some(_) => SoundError::TooFewChannels {
                    direction,
                    name,
                    has: all
                        .iter()
                        .map(cpal::SupportedStreamConfigRange::channels)
                        .max()
                        .unwrap_or(0),
                    wanted: channels,
                },
                None => SoundError::NoUsableFormat {
                    direction,
                    name,
                    found: offered(&all),
                },
            }
        })
    }
}

/// The same device, else another where that may be; and whether it is another.
fn same_or_another<D>(
    same: Option<D>,
    or_another: bool,
    another: impl FnOnce() -> Option<D>,
) -> Option<(D, bool)> {
    match same {
        Some(same) => Some((same, false)),
        None if or_another => another().map(|it| (it, true)),
        None => None,
    }
}

fn find_named(direction: Direction, wanted: &str) -> Result<FoundDevice, SoundError> {
    let candidates = candidates(direction);
    let chosen = choose(&candidates, wanted, |found| {
        (found.id(), found.name.clone())
    });
    match chosen {
        Choice::One(index) => {
            let mut candidates = candidates;
            Ok(candidates.swap_remove(index))
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

fn find_unlisted(direction: Direction, wanted: &str) -> Option<FoundDevice> {
    let id: cpal::DeviceId = wanted.parse().ok()?;
    let host = cpal::host_from_id(id.host()).ok()?;
    let device = by_id(&host, wanted)?;
    Some(FoundDevice {
        id: wanted.to_owned(),
        ..FoundDevice::new(direction, id.host(), device)
    })
}

pub(super) fn find_default(direction: Direction) -> Result<FoundDevice, SoundError> {
    let mut refused = None;
    for host in hosts() {
        let Some(device) = default_of(&host, direction) else {
            continue;
        };
        let found = FoundDevice {
            is_default: true,
            ..FoundDevice::new(direction, host.id(), device)
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
pub(super) fn candidates(direction: Direction) -> Vec<FoundDevice> {
    hosts()
        .iter()
        .flat_map(|host| candidates_of(host, direction))
        .collect()
}

fn candidates_of(host: &cpal::Host, direction: Direction) -> Vec<FoundDevice> {
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
        .map(|device| FoundDevice::new(direction, host.id(), device))
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

fn title(found: &FoundDevice) -> String {
    format!("\"{}\" ({})", found.name, found.id())
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

/// ALSA's names are a kind, and behind a colon which one: `hw:CARD=A,DEV=0`.
fn names_no_card(pcm: &str) -> bool {
    !pcm.contains(':')
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
    fn a_device_comes_back_as_itself_or_is_said_to_be_another() {
        let another = || Some("built-in microphone");
        assert_eq!(
            same_or_another(Some("interface"), true, another),
            Some(("interface", false))
        );
        assert_eq!(same_or_another(None, false, another), None);
        assert_eq!(
            same_or_another(None, true, another),
            Some(("built-in microphone", true))
        );
        assert_eq!(same_or_another::<&str>(None, true, || None), None);
    }

    #[test]
    fn what_the_sound_settings_decide_names_no_card() {
        for (pcm, by_settings) in [
            ("default", true),
            ("pulse", true),
            ("hw:CARD=A,DEV=0", false),
            ("plughw:CARD=A,DEV=0", false),
            ("sysdefault:CARD=A", false),
        ] {
            assert_eq!(names_no_card(pcm), by_settings, "{pcm}");
        }
    }
}
