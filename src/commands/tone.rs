//! `tapewright tone`: a reference tone, marks or a whole programme, into a file
//! or out of a sound output.

use std::fmt::Write as _;
use std::path::PathBuf;

use super::cli::{Bits, ToneOptions};
use super::interrupt::Interrupt;
use super::programme::{self, Planned};
use super::progress::Progress;
use super::{Exit, Failure, Outcome};
use crate::audio::feed::{self, FillSamples};
use crate::audio::output;
use crate::audio::source::StreamFormat;
use crate::audio::tone_file::{self, Coding};
use crate::signal::ident::Ident;
use crate::signal::timed::bursts::{BURST_HZ, Bursts};
use crate::signal::tone::{Sound, Tone};
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
--tape-error home-made.
";

pub(super) fn run(options: &ToneOptions) -> Outcome {
    let content = Content::of(options)?;
    if options.play {
        play(&content)
    } else {
        write_file(&content)
    }
}

/// Cautions come first: the tone sounds as soon as the output is open.
fn play(content: &Content<'_>) -> Outcome {
    let options = content.options;
    // The list of a programme is the same at any rate.
    let planned = content.planned(options.rate);
    let length = content.length(options.rate);
    super::say::write_words(&format!(
        "{CAUTIONS}Playing {} at {} dBFS for {:.0} s; Ctrl-C ends it.\n{}",
        content.what(),
        options.level,
        length.0,
        planned.as_ref().map(Planned::list).unwrap_or_default()
    ))?;
    let names = planned.map_or(Vec::new(), |planned| planned.names());
    let mut progress = Progress::new(Some(milliseconds(length)));
    let mut too_high = None;
    let make = |format: StreamFormat| -> FillSamples {
        too_high = check_rate(content.highest_frequency(), format.rate_hz).err();
        let length = if too_high.is_some() { 0 } else { u64::MAX };
        feed::playing(content.sound(format.rate_hz), format.channels, length)
    };
    let played = output::play(options.output.as_deref(), make, |played| {
        progress.saying(milliseconds(played), programme::name_at(&names, played));
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

fn milliseconds(time: Seconds) -> u64 {
    (time.0 * 1000.0) as u64
}

fn write_file(content: &Content<'_>) -> Outcome {
    let options = content.options;
    let format = StreamFormat {
        rate_hz: options.rate,
        channels: if options.mono { 1 } else { 2 },
    };
    check_rate(content.highest_frequency(), format.rate_hz)?;
    let path = options
        .output_file
        .clone()
        .unwrap_or_else(|| content.usual_name());
    let coding = match options.bits {
        Bits::Sixteen => Coding::Signed16,
        Bits::TwentyFour => Coding::Signed24,
        Bits::Float => Coding::Float32,
    };
    let sound = content.sound(format.rate_hz);
    let interrupt = Interrupt::listen();
    let go_on = || !interrupt.came();
    tone_file::write(&path, &*sound, format, coding, options.force, &go_on).map_err(|error| {
        // Nothing is left of it, so it may end as if nobody had listened.
        interrupt.end_by_it();
        Failure::new(Exit::File, error.to_string())
    })?;
    let mut text = String::new();
    let _ = writeln!(
        text,
        "{}: {} at {} dBFS, {} s, {} Hz, {}, {}",
        path.display(),
        content.what(),
        options.level,
        (content.length(options.rate).0 * 100.0).round() / 100.0,
        format.rate_hz,
        match coding {
            Coding::Signed16 => "16 bit with dither",
            Coding::Signed24 => "24 bit",
            Coding::Float32 => "32-bit float",
        },
        if options.mono { "mono" } else { "stereo" },
    );
    if let Some(planned) = content.planned(format.rate_hz) {
        text.push_str(&planned.list());
    }
    text.push_str(CAUTIONS);
    super::say::write_words(&text)?;
    Ok(Exit::Done)
}

/// What is written or played.
struct Content<'a> {
    options: &'a ToneOptions,
    /// Of a programme.
    ident: Option<Ident>,
}

impl<'a> Content<'a> {
    /// What the options ask for, if there can be such a thing.
    fn of(options: &'a ToneOptions) -> Result<Self, Failure> {
        let ident = options.programme.then(|| programme::ident(options));
        let content = Self {
            options,
            ident: ident.transpose()?,
        };
        content.check_marks()?;
        Ok(content)
    }

    /// The programme, where it is one.
    fn planned(&self, rate_hz: u32) -> Option<Planned> {
        let ident = self.ident.as_ref()?;
        Some(programme::plan(self.options, ident, f64::from(rate_hz)))
    }

    fn sound(&self, rate_hz: u32) -> Box<dyn Sound + Send> {
        let options = self.options;
        if let Some(planned) = self.planned(rate_hz) {
            return Box::new(planned.sound);
        }
        if let Some(spacing_s) = options.marks {
            return Box::new(marks(options, spacing_s, rate_hz));
        }
        let rate = f64::from(rate_hz);
        Box::new(Tone::new(
            options.frequency().0,
            rate,
            Decibels(options.level).amplitude_ratio(),
            length(options, rate),
            (FADE_SECONDS * rate).round() as u64,
        ))
    }

    fn length(&self, rate_hz: u32) -> Seconds {
        Seconds(self.sound(rate_hz).length() as f64 / f64::from(rate_hz))
    }

    /// In words.
    fn what(&self) -> String {
        let options = self.options;
        match (&self.ident, options.marks) {
            (Some(_), _) => format!("a programme with {}", options.frequency()),
            (None, Some(spacing_s)) => format!(
                "{} marks, {spacing_s} s apart,",
                marks(options, spacing_s, options.rate).count()
            ),
            (None, None) => options.frequency().to_string(),
        }
    }

    fn highest_frequency(&self) -> Hertz {
        match self.options.marks {
            Some(_) => Hertz(BURST_HZ),
            None => self.options.frequency(),
        }
    }

    /// A row has two marks at least.
    fn check_marks(&self) -> Result<(), Failure> {
        let options = self.options;
        match options.marks {
            Some(spacing_s) if marks(options, spacing_s, options.rate).count() < 2 => {
                Err(Failure::new(
                    Exit::Usage,
                    format!(
                        "{} s have no room for two marks {spacing_s} s apart and half a second of silence at each end; choose more --seconds or a smaller spacing",
                        options.seconds
                    ),
                ))
            }
            _ => Ok(()),
        }
    }

    fn usual_name(&self) -> PathBuf {
        let thousandths = |value: f64| (value * 1000.0).round() / 1000.0;
        let frequency = thousandths(self.options.frequency().0);
        PathBuf::from(match (&self.ident, self.options.marks) {
            (Some(_), _) => format!("programme-{frequency}Hz.wav"),
            (None, Some(spacing_s)) => format!("marks-{}s.wav", thousandths(spacing_s)),
            (None, None) => format!("tone-{frequency}Hz.wav"),
        })
    }
}

fn marks(options: &ToneOptions, spacing_s: f64, rate_hz: u32) -> Bursts {
    let rate = f64::from(rate_hz);
    let amplitude = Decibels(options.level).amplitude_ratio();
    Bursts::new(spacing_s, rate, amplitude, length(options, rate))
}

fn length(options: &ToneOptions, rate: f64) -> u64 {
    (options.seconds * rate).round() as u64
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::commands::cli::{Cli, Command};
    use clap::Parser;

    fn named(arguments: &[&str]) -> PathBuf {
        let all = ["tapewright", "tone"].iter().chain(arguments);
        match Cli::try_parse_from(all).expect("parses").command {
            Some(Command::Tone(options)) => Content::of(&options).expect("sound").usual_name(),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn files_are_named_after_what_is_in_them() {
        assert_eq!(named(&[]), PathBuf::from("tone-3150Hz.wav"));
        assert_eq!(named(&["C4"]), PathBuf::from("tone-261.626Hz.wav"));
        assert_eq!(named(&["--marks", "0.5"]), PathBuf::from("marks-0.5s.wav"));
        assert_eq!(
            named(&["3000", "--programme", "--machine", "deck 2"]),
            PathBuf::from("programme-3000Hz.wav")
        );
    }

    #[test]
    fn marks_have_a_pitch_of_their_own() {
        let both = ["tapewright", "tone", "440", "--marks", "1"];
        assert!(Cli::try_parse_from(both).is_err());
    }
}
