//! `tapewright tone`: a reference tone, into a file or out of a sound output.

use std::fmt::Write as _;
use std::path::PathBuf;

use super::cli::{Bits, ToneOptions};
use super::progress::Progress;
use super::{Exit, Failure, Outcome};
use crate::audio::output::{self, FillSamples};
use crate::audio::source::StreamFormat;
use crate::audio::tone_file::{self, Coding};
use crate::signal::tone::Tone;
use crate::units::{Decibels, Hertz, Seconds};

/// Long enough that nothing clicks, short enough to lose nothing.
const FADE_SECONDS: f64 = 0.010;

/// The highest tone, as a share of the sample rate, that every converter
/// still passes whole.
const HIGHEST_SHARE: f64 = 0.45;

const CAUTIONS: &str = "\
Caution: in headphones start at the lowest level; a steady tone can harm your
hearing before it sounds loud.
Caution: a tape recorded on the machine under test reads right at any speed of
that machine. Record on another one whose speed you know, and measure with
--home-made.
";

pub(super) fn run(options: &ToneOptions) -> Outcome {
    if options.play {
        play(options)
    } else {
        write_file(options)
    }
}

/// Cautions come first: the tone sounds as soon as the output is open.
fn play(options: &ToneOptions) -> Outcome {
    let frequency = options.frequency();
    super::write_out(&format!(
        "{CAUTIONS}Playing {frequency} at {} dBFS for {} s; Ctrl-C ends it.\n",
        options.level, options.seconds
    ))?;
    let mut progress = Progress::new(Some(milliseconds(Seconds(options.seconds))));
    let mut too_high = None;
    let make = |format: StreamFormat| -> FillSamples {
        too_high = check_rate(frequency, format.rate_hz).err();
        let length = if too_high.is_some() { 0 } else { u64::MAX };
        player(tone(options, format.rate_hz), format.channels, length)
    };
    let played = output::play(options.output.as_deref(), make, |played| {
        progress.at(milliseconds(played));
        true
    })
    .map_err(|error| Failure::new(Exit::Sound, error.to_string()))?;
    drop(progress);
    match (too_high, played.breaks) {
        (Some(too_high), _) => Err(too_high),
        (None, 0) => Ok(Exit::Done),
        (None, breaks) => Err(Failure::new(
            Exit::Sound,
            format!(
                "the tone broke {breaks} times because the computer was busy; what was recorded of it is no reference, so close other programs and record again"
            ),
        )),
    }
}

/// Fills buffers with the tone, the same in all channels, `at_most` so many
/// frames of it. Neither allocates nor waits.
fn player(tone: Tone, channels: u16, at_most: u64) -> FillSamples {
    let end = tone.length().min(at_most);
    let mut next = 0;
    Box::new(move |buffer| {
        for frame in buffer.chunks_mut(usize::from(channels.max(1))) {
            frame.fill(if next < end {
                tone.sample(next) as f32
            } else {
                0.0
            });
            next += 1;
        }
        next < end
    })
}

fn milliseconds(time: Seconds) -> u64 {
    (time.0 * 1000.0) as u64
}

fn write_file(options: &ToneOptions) -> Outcome {
    let frequency = options.frequency();
    let format = StreamFormat {
        rate_hz: options.rate,
        channels: if options.mono { 1 } else { 2 },
    };
    check_rate(frequency, format.rate_hz)?;
    let path = options
        .output_file
        .clone()
        .unwrap_or_else(|| usual_name(frequency));
    let coding = match options.bits {
        Bits::Sixteen => Coding::Signed16,
        Bits::TwentyFour => Coding::Signed24,
        Bits::Float => Coding::Float32,
    };
    let tone = tone(options, format.rate_hz);
    tone_file::write(&path, &tone, format, coding, options.force)
        .map_err(|error| Failure::new(Exit::File, error.to_string()))?;
    let mut text = String::new();
    let _ = writeln!(
        text,
        "{}: {frequency} at {} dBFS, {} s, {} Hz, {}, {}",
        path.display(),
        options.level,
        options.seconds,
        format.rate_hz,
        match coding {
            Coding::Signed16 => "16 bit with dither",
            Coding::Signed24 => "24 bit",
            Coding::Float32 => "32-bit float",
        },
        if options.mono { "mono" } else { "stereo" },
    );
    text.push_str(CAUTIONS);
    super::write_out(&text)?;
    Ok(Exit::Done)
}

fn tone(options: &ToneOptions, rate_hz: u32) -> Tone {
    let rate = f64::from(rate_hz);
    Tone::new(
        options.frequency().0,
        rate,
        Decibels(options.level).amplitude_ratio(),
        (options.seconds * rate).round() as u64,
        (FADE_SECONDS * rate).round() as u64,
    )
}

fn check_rate(frequency: Hertz, rate_hz: u32) -> Result<(), Failure> {
    let highest = Hertz((f64::from(rate_hz) * HIGHEST_SHARE).floor());
    if frequency <= highest {
        return Ok(());
    }
    Err(Failure::new(
        Exit::Usage,
        format!(
            "a tone of {frequency} is too high for {rate_hz} samples a second; the highest is {highest}, so choose a lower tone or a higher rate"
        ),
    ))
}

fn usual_name(frequency: Hertz) -> PathBuf {
    PathBuf::from(format!(
        "tone-{}Hz.wav",
        (frequency.0 * 1000.0).round() / 1000.0
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_player_gives_the_tone_whatever_the_block_size() {
        let tone = Tone::new(3150.0, 48_000.0, 0.5, 1000, 100);
        let mut heard = Vec::new();
        let mut fill = player(tone, 2, u64::MAX);
        for frames in [1, 7, 480, 512].into_iter().cycle() {
            let mut buffer = vec![9.0; 2 * frames];
            let more = fill(&mut buffer);
            heard.extend_from_slice(&buffer);
            assert_eq!(more, heard.len() / 2 < 1000, "{}", heard.len());
            if !more {
                break;
            }
        }
        for (number, frame) in heard.chunks(2).enumerate() {
            let expected = tone.sample(number as u64) as f32;
            assert!((frame[0] - expected).abs() < 1e-9, "{number}");
            assert!((frame[1] - expected).abs() < 1e-9, "{number}");
        }
    }

    #[test]
    fn files_are_named_after_the_tone() {
        assert_eq!(usual_name(Hertz(3150.0)), PathBuf::from("tone-3150Hz.wav"));
        assert_eq!(
            usual_name(Hertz(261.625_565)),
            PathBuf::from("tone-261.626Hz.wav")
        );
    }
}
