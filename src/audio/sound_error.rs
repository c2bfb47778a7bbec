//! What can go wrong with sound inputs and outputs, each in one sentence.

use cpal::ErrorKind;
use thiserror::Error;

use crate::report::numbers;

/// Sound that cannot be had.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
#[allow(missing_docs)] // Each sentence says what it is.
pub enum SoundError {
    #[error(
        "this computer has no sound input; connect one, or use a recording made elsewhere with --file"
    )]
    NoInput,

    #[error(
        "no sound input is set as the default; name one with --input: {}",
        names(listed)
    )]
    NoDefaultInput { listed: Vec<String> },

    #[error("this computer has no sound output; connect one, or write the tone to a file instead")]
    NoOutput,

    #[error(
        "there is no sound {direction} called \"{wanted}\"; there is {}",
        names(listed)
    )]
    Unknown {
        direction: Direction,
        wanted: String,
        listed: Vec<String>,
    },

    #[error(
        "\"{wanted}\" could be more than one sound {direction}; give the id of one of them: {}",
        names(matching)
    )]
    Ambiguous {
        direction: Direction,
        wanted: String,
        matching: Vec<String>,
    },

    #[error(
        "the sound {direction} \"{name}\" is in use by another program; close that program or choose another {direction} (tapewright inputs lists them)"
    )]
    Busy { direction: Direction, name: String },

    #[error(
        "the system refuses access to the sound {direction} \"{name}\"; allow it in the system's privacy settings or, on Linux, add yourself to the group audio and log in again"
    )]
    Refused { direction: Direction, name: String },

    #[error(
        "the sound {direction} \"{name}\" has no format that can be used (it offers {found}); choose another {direction} or change its format in the system's sound settings"
    )]
    NoUsableFormat {
        direction: Direction,
        name: String,
        found: String,
    },

    #[error(
        "the sound {direction} \"{name}\" has {has} channels, and channel {wanted} was asked for; choose others with --channel or another {direction} (tapewright inputs lists them)"
    )]
    TooFewChannels {
        direction: Direction,
        name: String,
        has: u16,
        wanted: u16,
    },

    #[error(
        "the sound {direction} \"{name}\" is gone; check its cable and the system's sound settings"
    )]
    Gone { direction: Direction, name: String },

    #[error(
        "the sound {direction} \"{name}\" opens but does not run; check it in the system's sound settings or choose another {direction}"
    )]
    Silent { direction: Direction, name: String },

    #[error(
        "the sound {direction} \"{name}\" cannot be used: {reason}; check it in the system's sound settings or choose another {direction}"
    )]
    System {
        direction: Direction,
        name: String,
        reason: String,
    },

    #[error(
        "the sound {direction} could not be started: {reason}; close other programs and try again"
    )]
    Thread {
        direction: Direction,
        reason: String,
    },
}

/// Which way the sound goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Into the computer.
    Input,
    /// Out of it.
    Output,
}

impl std::fmt::Display for Direction {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str(match self {
            Self::Input => "input",
            Self::Output => "output",
        })
    }
}

impl SoundError {
    /// What a device that was lost and is there again still lacks, where somebody
    /// can see to it; that one which is gone is waited for goes without saying.
    pub(super) fn why_it_waits(&self) -> Option<String> {
        let there = matches!(
            self,
            Self::Busy { .. }
                | Self::Refused { .. }
                | Self::NoUsableFormat { .. }
                | Self::TooFewChannels { .. }
        );
        there.then(|| format!("It is back but cannot be had yet: {self}; still trying"))
    }

    /// The sentence for what the sound system reports about a device.
    pub(super) fn of_system(direction: Direction, name: &str, error: &cpal::Error) -> Self {
        let name = name.to_owned();
        match error.kind() {
            ErrorKind::DeviceBusy => Self::Busy { direction, name },
            ErrorKind::PermissionDenied => Self::Refused { direction, name },
            ErrorKind::DeviceNotAvailable | ErrorKind::HostUnavailable => {
                Self::Gone { direction, name }
            }
            _ => Self::System {
                direction,
                name,
                reason: plain(&error.to_string()),
            },
        }
    }
}

/// Text of a foreign library or device as it may stand within a sentence and
/// on a terminal: one line, no full stop.
pub(super) fn plain(text: &str) -> String {
    let words: Vec<_> = text.split_whitespace().collect();
    let text = words.join(" ");
    numbers::plain(text.trim_end_matches(['.', ' ']))
}

fn names(listed: &[String]) -> String {
    if listed.is_empty() {
        return "none".to_owned();
    }
    listed.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrong_name_is_answered_with_what_there_is() {
        let error = SoundError::Unknown {
            direction: Direction::Input,
            wanted: "tape".into(),
            listed: vec!["\"Line\" (alsa:hw:CARD=A,DEV=0)".into()],
        };
        assert_eq!(
            error.to_string(),
            "there is no sound input called \"tape\"; there is \"Line\" (alsa:hw:CARD=A,DEV=0)"
        );
    }

    #[test]
    fn what_the_system_reports_is_told_apart() {
        let of = |kind| SoundError::of_system(Direction::Input, "Line", &cpal::Error::new(kind));
        let says = |kind, part| assert!(of(kind).to_string().contains(part), "{part}");
        says(ErrorKind::DeviceBusy, "in use by another program");
        says(ErrorKind::PermissionDenied, "refuses access");
        says(ErrorKind::DeviceNotAvailable, "is gone");
        says(ErrorKind::BackendError, "cannot be used");
    }

    #[test]
    fn why_a_device_is_still_waited_for_is_said_where_somebody_can_help() {
        let (direction, name) = (Direction::Input, "Line".to_owned());
        let of = |kind| SoundError::of_system(direction, "Line", &cpal::Error::new(kind));
        let why = |error: SoundError| error.why_it_waits().expect("a reason");
        assert!(why(of(ErrorKind::DeviceBusy)).contains("in use by another program"));
        assert!(why(of(ErrorKind::PermissionDenied)).contains("refuses access"));
        let found = "dsdu8 at 2822400 Hz".to_owned();
        let no_format = SoundError::NoUsableFormat {
            direction,
            name,
            found,
        };
        assert!(why(no_format).contains("dsdu8"));
        assert_eq!(of(ErrorKind::DeviceNotAvailable).why_it_waits(), None);
    }

    #[test]
    fn foreign_text_cannot_drive_the_terminal() {
        assert_eq!(plain("Mic\u{1b}[2J\n."), "Mic\\u001b[2J");
    }
}
