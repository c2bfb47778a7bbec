//! `tapewright tone`: a reference tone, into a file or out of a sound output.

use std::fmt::Write as _;
use std::path::PathBuf;

use super::cli::{Bits, ToneOptions};
use super::{Exit, Failure, Outcome};
use crate::audio::source::StreamFormat;
use crate::audio::tone_file::{self, Coding};
use crate::signal::tone::Tone;
use crate::units::{Decibels, Hertz};

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
    write_file(options)
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
            "a tone of {frequency} is too high for {rate_hz} samples a second; the highest is {highest}, so choose a lower tone or a higher --rate"
        ),
    ))
}

fn usual_name(frequency: Hertz) -> PathBuf {
    PathBuf::from(format!(
        "tone-{}Hz.wav",
        (frequency.0 * 1000.0).round() / 1000.0
    ))
}
