//! `tapewright inputs`: what sound comes in through, and goes out.

use std::fmt::Write as _;

use super::cli::InputsOptions;
use super::{Exit, Outcome};
use crate::audio::devices::{self, SoundDevice, SoundDevices};

pub(super) fn run(_options: &InputsOptions) -> Outcome {
    let text = text(&devices::list());
    super::say::write_words(&text)?;
    Ok(Exit::Done)
}

fn text(devices: &SoundDevices) -> String {
    let mut text = String::new();
    if devices.inputs.is_empty() {
        text.push_str(
            "There is no sound input on this computer.\n\
             Connect one and run this again. On Linux your user may have to be in the\n\
             group audio. Without an input you can measure a recording (tapewright read,\n\
             tapewright watch --file) or practise (tapewright practise).\n",
        );
    } else {
        text.push_str("Sound inputs (for watch --input)\n");
        push_all(&mut text, &devices.inputs);
    }
    text.push('\n');
    if devices.outputs.is_empty() {
        text.push_str("There is no sound output on this computer.\n");
    } else {
        text.push_str("Sound outputs (for tone --play --output, watch --ticks --output)\n");
        push_all(&mut text, &devices.outputs);
    }
    text
}

fn push_all(text: &mut String, devices: &[SoundDevice]) {
    for device in devices {
        let default = if device.is_default { "  [default]" } else { "" };
        let what = device.trouble.as_ref().map_or_else(
            || formats(device),
            |trouble| format!("not usable now: {trouble}"),
        );
        // Writing to a string cannot fail.
        let _ = write!(
            text,
            "\n  {}{default}\n    id   {}\n    has  {what}\n",
            device.name, device.id
        );
    }
}

fn formats(device: &SoundDevice) -> String {
    let Some(native) = &device.native else {
        return "nothing that can be used".to_owned();
    };
    let channels = match native.stream.channels {
        1 => "mono".to_owned(),
        2 => "stereo".to_owned(),
        many => format!("{many} channels"),
    };
    let mut text = format!(
        "{channels}, {} Hz, {}",
        native.stream.rate_hz, native.samples
    );
    if device.converts {
        text.push_str("\n         converted by the system from what the hardware has");
    }
    let rates: Vec<String> = device
        .rates_hz
        .iter()
        .filter(|rate| **rate != native.stream.rate_hz)
        .map(ToString::to_string)
        .collect();
    let formats: Vec<String> = device
        .formats
        .iter()
        .filter(|format| **format != native.samples)
        .cloned()
        .collect();
    if !rates.is_empty() {
        let _ = write!(text, "\n         also {} Hz", rates.join(", "));
    }
    if !formats.is_empty() {
        let _ = write!(text, "\n         also {}", formats.join(", "));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::devices::NativeFormat;
    use crate::audio::source::StreamFormat;
    use crate::audio::{Direction, SoundError};

    fn line() -> SoundDevice {
        SoundDevice {
            id: "alsa:hw:CARD=A,DEV=0".into(),
            name: "USB Line".into(),
            is_default: true,
            native: Some(NativeFormat {
                stream: StreamFormat {
                    rate_hz: 48_000,
                    channels: 2,
                },
                samples: "i16".into(),
            }),
            rates_hz: vec![44_100, 48_000],
            formats: vec!["i16".into(), "i32".into()],
            converts: false,
            trouble: None,
        }
    }

    #[test]
    fn a_device_shows_all_that_is_needed_to_choose_it() {
        let busy = SoundDevice {
            is_default: false,
            trouble: Some(SoundError::Busy {
                direction: Direction::Input,
                name: "USB Line".into(),
            }),
            ..line()
        };
        let shown = text(&SoundDevices {
            inputs: vec![line(), busy],
            outputs: Vec::new(),
        });
        assert!(shown.contains("USB Line  [default]\n    id   alsa:hw:CARD=A,DEV=0\n"));
        assert!(shown.contains("has  stereo, 48000 Hz, i16\n         also 44100 Hz\n"));
        assert!(shown.contains("also i32\n"));
        assert!(shown.contains("not usable now: the sound input \"USB Line\" is in use"));
        assert!(shown.contains("no sound output"));
    }

    #[test]
    fn a_computer_without_inputs_is_told_what_to_do() {
        let shown = text(&SoundDevices::default());
        assert!(shown.contains("no sound input"));
        assert!(shown.contains("practise"));
    }
}
