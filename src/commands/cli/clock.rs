//! What `tapewright clock` understands.

use std::path::PathBuf;

use clap::Args;

use super::{Channel, DataOptions, channel, number_between, uncertainty};

pub(super) const ABOUT: &str = "\
Measure the sample clock of a sound input

No crystal runs exactly at its nominal rate, and every reading is off by as much: a clock that runs \
100 ppm fast makes a true tone read 0.01 % low. This measures how far off the clock of an input is, \
with a ±, and keeps it for that input: tapewright watch then takes it out of every reading.

Without --tone the arrival of the samples is timed with the system's monotonic clock for some \
minutes. The ± then is mostly the system's own: ±50 ppm (common practice), or ±5 ppm (our own \
allowance) where the system says that its clock is disciplined by NTP or PTP; \
--system-clock-uncertainty says it where you know better.

With --tone a tone whose frequency is known, from a frequency standard or a generator locked to \
one, is fed into the input, or has been recorded through it (--file). The ± then is mostly the \
tone's. A test tape is no such tone.

Let the interface warm up for half an hour first (common practice).";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright clock
          five minutes of the default input against the system's clock
  tapewright clock --input alsa:hw:CARD=CODEC,DEV=0 --minutes 20
          another input, for longer
  tapewright clock --tone 10000 --tone-uncertainty 0.1
          against a tone of 10000 Hz, true to 0.1 ppm, for a minute
  tapewright clock --file tone.wav --tone 3150 --tone-uncertainty 1
          from a recording of such a tone; says what to give read
  tapewright clock --file tone.wav --tone 3150 --tone-uncertainty 1 --input \"usb audio\"
          the same, kept for the input that it was made through
  tapewright clock --list
          what is kept
  tapewright clock --forget alsa:default
          no longer what it was

Positive runs fast. Each ± is for 95 %. A figure that is kept is used with ±5 ppm more (in
quadrature), because a crystal follows warmth and age. --clock on
the command line wins over what is kept.

Nothing is kept when the timing is too jittery, samples were lost, or the run was too
short: a sentence says which, and what to do. Ctrl-C ends a run early, with the result
if it is good enough by then.

Exit status: 0 measured, 2 usage, 3 a file could not be read or written, 4 no usable
tone, 5 sound input, or nothing could be said about its clock.";

/// `tapewright clock`.
#[derive(Args, Debug)]
pub struct ClockOptions {
    /// Sound input by name or id, as `tapewright inputs` lists it
    #[arg(long, short, value_name = "NAME-OR-ID")]
    pub input: Option<String>,

    /// How long to listen [default: 5, with --tone 1]
    #[arg(long, short, value_name = "MINUTES", value_parser = minutes, conflicts_with = "file")]
    pub minutes: Option<f64>,

    /// Against a reference tone of this frequency, in Hz
    #[arg(long, value_name = "HZ", requires = "tone_uncertainty", value_parser = tone)]
    pub tone: Option<f64>,

    /// How true that tone is, ± ppm (95 %)
    #[arg(long, value_name = "PPM", requires = "tone", value_parser = uncertainty)]
    pub tone_uncertainty: Option<f64>,

    /// With --tone: a recording of it instead of a live input; kept only
    /// where --input says what it was made through
    #[arg(long, short, value_name = "FILE", requires = "tone")]
    pub file: Option<PathBuf>,

    /// With --tone: which channel to listen to: auto, left, right, or by
    /// number: 3, or 3,4 for two of them
    #[arg(long, value_name = "CHANNEL", default_value = "auto", value_parser = channel, requires = "tone")]
    pub channel: Channel,

    /// How true the system's clock is, ± ppm (95 %) [default: 5 where it is
    /// disciplined, else 50]
    #[arg(long, value_name = "PPM", value_parser = uncertainty, conflicts_with = "tone")]
    pub system_clock_uncertainty: Option<f64>,

    /// Refuse unless the measurement itself is as good as this, ± ppm
    #[arg(long, value_name = "PPM", default_value = "10", value_parser = wanted)]
    pub wanted: f64,

    /// List what is kept
    #[arg(long, conflicts_with_all = ["input", "minutes", "tone", "file", "forget"])]
    pub list: bool,

    /// Forget what is kept for an input, by id or name
    #[arg(long, value_name = "NAME-OR-ID",
          conflicts_with_all = ["input", "minutes", "tone", "file"])]
    pub forget: Option<String>,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub data: DataOptions,
}

fn minutes(text: &str) -> Result<f64, String> {
    number_between(text, 0.1, 180.0, "a number of minutes")
}

fn tone(text: &str) -> Result<f64, String> {
    number_between(text, 100.0, 20_000.0, "a frequency in Hz")
}

fn wanted(text: &str) -> Result<f64, String> {
    number_between(text, 0.01, 1000.0, "a number of ppm")
}
