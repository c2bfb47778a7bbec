//! What can be typed: commands, options, their help. Validates and does
//! nothing else.

mod clock;
mod jobs;
mod parts;
mod practise;
mod read;
mod runs;
mod settings;
mod sheet;
mod snapshots;
mod stated;
mod tape;
mod ticks;
mod tone;
mod watch;

use std::path::{Path, PathBuf};

use clap::builder::BoolishValueParser;
use clap::error::{ContextKind, ContextValue};
use clap::{ArgAction, Args, ColorChoice, Parser, Subcommand};

use crate::audio::pick::Pick;
use crate::readings::{ChannelChoice, Conditions, Nominal, SampleClock};
use crate::records::cards::{self, CardError};
use crate::records::places::Places;
use crate::references::{Reference, TapeCard};

pub use clock::ClockOptions;
pub use jobs::{
    CorrectOptions, ExportOptions, HistoryOptions, JobsAction, JobsOptions, TablesFormat,
};
pub use parts::{LearnPart, PartsAction, PartsChoice, PartsOptions};
pub use practise::{PractiseOptions, TrimmerChoice};
pub use read::ReadOptions;
pub use runs::{Directions, RunOptions};
pub use settings::{CompletionsOptions, ManpagesOptions, SettingsOptions};
pub use sheet::{SheetFormat, SheetOptions};
pub use snapshots::{SnapshotsAction, SnapshotsOptions};
pub use stated::TapeError;
pub use tape::{MeasureTape, NewCard, TapeAction, TapeOptions};
pub use ticks::TicksOptions;
pub use tone::{Bits, Pitch, ToneOptions};
pub use watch::{JobOptions, SittingOptions, WatchOptions};

/// Live speed, drift and flutter of a tape machine, for the technician at the
/// trimmer.
#[derive(Debug, Parser)]
#[command(
    name = "tapewright",
    version,
    max_term_width = 100,
    disable_help_subcommand = true,
    after_long_help = ENVIRONMENT
)]
pub struct Cli {
    /// Colours: auto (where a terminal has them), always or never
    #[arg(
        long,
        global = true,
        display_order = LAST,
        value_name = "WHEN",
        default_value = "auto",
        hide_possible_values = true
    )]
    pub color: ColorChoice,

    /// Nothing but errors on standard error: no progress, no remarks
    #[arg(long, global = true, display_order = LAST, value_name = "true|false", num_args = 0..=1, require_equals = true,
          default_value = "false", default_missing_value = "true", hide_default_value = true,
          hide_possible_values = true, action = ArgAction::Set, value_parser = BoolishValueParser::new())]
    pub quiet: bool,

    /// What to do; `watch` when nothing is said.
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Watch the speed live while you turn the trimmer
    #[command(long_about = watch::ABOUT, after_long_help = watch::EXAMPLES)]
    Watch(Box<WatchOptions>),
    /// Practise the whole job on a simulated machine
    #[command(long_about = practise::ABOUT, after_long_help = practise::EXAMPLES)]
    Practise(Box<PractiseOptions>),
    /// Measure recordings
    #[command(long_about = read::ABOUT, after_long_help = read::EXAMPLES)]
    Read(Box<ReadOptions>),
    /// List sound inputs and outputs
    #[command(long_about = INPUTS_ABOUT, after_long_help = INPUTS_EXAMPLES)]
    Inputs(InputsOptions),
    /// Write or play a reference tone
    #[command(long_about = tone::ABOUT, after_long_help = tone::EXAMPLES)]
    Tone(ToneOptions),
    /// Measure the sample clock of a sound input
    #[command(long_about = clock::ABOUT, after_long_help = clock::EXAMPLES)]
    Clock(ClockOptions),
    /// Make, show and list the cards of reference tapes
    #[command(long_about = tape::ABOUT, after_long_help = tape::EXAMPLES)]
    Tape(TapeOptions),
    /// List, show, make and learn the rotating parts of machines
    #[command(long_about = parts::ABOUT, after_long_help = parts::EXAMPLES)]
    Parts(PartsOptions),
    /// List and compare kept snapshots
    #[command(long_about = snapshots::ABOUT, after_long_help = snapshots::EXAMPLES)]
    Snapshots(SnapshotsOptions),
    /// List, compare, correct and export jobs
    #[command(long_about = jobs::ABOUT, after_long_help = jobs::EXAMPLES)]
    Jobs(JobsOptions),
    /// Show the settings and where each came from
    #[command(long_about = settings::ABOUT, after_long_help = settings::EXAMPLES)]
    Settings(SettingsOptions),
    /// Write completions for a shell
    #[command(long_about = settings::COMPLETIONS_ABOUT,
              after_long_help = settings::COMPLETIONS_EXAMPLES)]
    Completions(CompletionsOptions),
    /// Write manual pages into a folder
    #[command(long_about = settings::MANPAGES_ABOUT,
              after_long_help = settings::MANPAGES_EXAMPLES)]
    Manpages(ManpagesOptions),
    /// Make the sheet of a job: a page, Markdown, text, JSON, pictures
    #[command(long_about = sheet::ABOUT, after_long_help = sheet::EXAMPLES)]
    Sheet(SheetOptions),
    /// Help on a command, or a chapter of the manual
    Help(HelpOptions),
}

/// `tapewright help`.
#[derive(Args, Debug)]
pub struct HelpOptions {
    /// A command or a chapter; without it the list of both
    #[arg(value_name = "TOPIC")]
    pub topic: Option<String>,
}

/// A recording that stands where a command belongs is to be read, probably.
pub(super) fn offer_to_read(error: &mut clap::Error) {
    let Some(ContextValue::String(word)) = error.get(ContextKind::InvalidSubcommand) else {
        return;
    };
    // What is no file may have been misspelt; its ending tells.
    let path = Path::new(word);
    if path.is_file() || path.extension().is_some() {
        let offer = format!("to measure a recording, write: tapewright read {word}");
        let offer = ContextValue::StyledStrs(vec![offer.into()]);
        error.insert(ContextKind::Suggested, offer);
    }
}

impl Default for Command {
    fn default() -> Self {
        Self::Watch(Box::default())
    }
}

/// What every command has stands behind what is its own.
const LAST: usize = 1000;

const ENVIRONMENT: &str = "\
Environment:
  TAPEWRIGHT_DATA, TAPEWRIGHT_COLOR, TAPEWRIGHT_QUIET, TAPEWRIGHT_ASCII,
  TAPEWRIGHT_TOLERANCE, TAPEWRIGHT_CHANNEL, TAPEWRIGHT_INPUT, TAPEWRIGHT_OUTPUT,
  TAPEWRIGHT_PARALLEL, TAPEWRIGHT_WORKSHOP
          hold where the option of that name is not typed; a file of settings
          may say the same (tapewright settings)
  NO_COLOR, CLICOLOR_FORCE, CLICOLOR
          colours off, on, off where it is 0, as no-color.org and
          bixense.com/clicolors describe; --color counts more
  LC_ALL, LC_CTYPE, LANG
          what characters the terminal has";

/// What is measured against; the same for every command that measures.
#[derive(Args, Clone, Debug, Default)]
pub struct ReferenceOptions {
    /// What the tape carries: tone:3150 or 3150 (any frequency in Hz),
    /// tone:auto, a held note:A4 (note:A4@442 at
    /// another concert pitch), passage:200 (seconds), marks:1 (seconds
    /// apart) or recording:FILE (a digital copy of the music on it)
    ///
    /// Read it off the tape's label. A tape of 3150 Hz that plays 3 % slow is
    /// heard at 3055 Hz, nearer to 3000. Where nobody has said which tone it is
    /// and two usual ones would leave the machine less than 10 % off, both are
    /// shown with what each would mean, and there is no verdict before one is
    /// chosen. [default: what the tape's card says, else tone:3150 is assumed]
    #[arg(long = "reference", short = 'r', value_name = "REFERENCE")]
    pub said: Option<Reference>,

    /// Card of the reference tape, by its name or file: see tapewright tape
    ///
    /// The tape's own error is taken out of every reading, and its ± goes in.
    #[arg(long, value_name = "CARD", conflicts_with = "tape_error")]
    pub tape: Option<String>,

    /// What that card says; read by [`Self::read_card`].
    #[arg(skip)]
    pub card: Option<TapeCard>,

    /// The tape's own error in percent with its ± (95 %): -0.2±0.1 (or
    /// -0.2+-0.1), or home-made, which stands for ±3 %
    ///
    /// From the tape's data sheet or a measurement of it; a tape that was
    /// recorded on a fast machine has a negative one. Without its ±, the most
    /// that can be said is that a machine is right by this tape, not that it is
    /// in tolerance.
    #[arg(long, value_name = "ERROR±", allow_hyphen_values = true, value_parser = TapeError::of)]
    pub tape_error: Option<TapeError>,

    /// Error of the sample clock in ppm with its ± (95 %), positive where it
    /// runs fast: -12±5 (or -12+-5) [± where it is not said: 100]
    ///
    /// It is taken out of every reading; 100 ppm are 0.01 %. Without it, watch
    /// takes what tapewright clock measured of the input, and a recording
    /// counts with 0±100.
    #[arg(long, value_name = "PPM±", allow_hyphen_values = true, value_parser = stated::clock)]
    pub clock: Option<SampleClock>,

    /// Which channel to listen to: auto, left, right, or by number where there
    /// are more than two: 3, or 3,4 for two of them
    #[arg(long, value_name = "CHANNEL", default_value = "auto", value_parser = channel)]
    pub channel: Channel,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub data: DataOptions,
}

/// Where things are kept.
#[derive(Args, Clone, Debug, Default)]
pub struct DataOptions {
    /// Folder for snapshots, clock figures and cards instead of the usual
    /// one, which is the system's folder for data
    #[arg(long = "data", value_name = "FOLDER", global = true)]
    pub folder: Option<PathBuf>,
}

impl DataOptions {
    /// The places in it.
    pub fn places(&self) -> Places {
        self.folder
            .clone()
            .map_or_else(Places::default, Places::in_folder)
    }
}

/// Channel as typed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Channel {
    /// Both where both carry the tone, else the one that does.
    #[default]
    Auto,
    /// Left only.
    Left,
    /// Right only.
    Right,
    /// By number, of an input or a recording that has more than two.
    Numbered(Pick),
}

impl Channel {
    /// Which channels are taken of what comes in, where it is not the first.
    pub fn pick(self) -> Option<Pick> {
        match self {
            Self::Numbered(pick) => Some(pick),
            Self::Auto | Self::Left | Self::Right => None,
        }
    }

    /// Which of those the engine is told to take.
    pub fn choice(self) -> ChannelChoice {
        match self {
            Self::Auto | Self::Numbered(_) => ChannelChoice::Auto,
            Self::Left => ChannelChoice::Left,
            Self::Right => ChannelChoice::Right,
        }
    }
}

pub(super) fn channel(text: &str) -> Result<Channel, String> {
    match text {
        "auto" => Ok(Channel::Auto),
        "left" => Ok(Channel::Left),
        "right" => Ok(Channel::Right),
        numbers => numbers.parse().map(Channel::Numbered).map_err(|_| {
            "must be auto, left, right, or a channel by its number, such as 3, or two, such as 3,4"
                .to_owned()
        }),
    }
}

/// `tapewright inputs`.
#[derive(Args, Debug)]
pub struct InputsOptions {}

const INPUTS_ABOUT: &str = "\
List sound inputs and outputs

Every device stands with its name, its id, and the channels, rates and sample formats that it \
has; the first format is the one that will be used. The default, which is what the system's sound \
settings say, comes first. Ids stay the same from one start to the next.

A direct id of the hardware (alsa:hw:…) goes past the sound server and its processing, but only \
while no other program uses the device.";

const INPUTS_EXAMPLES: &str = "\
Examples:
  tapewright inputs
      what is there?
  tapewright watch --input alsa:hw:CARD=CODEC,DEV=0
      an input by its id
  tapewright watch --input \"usb audio\"
      the same by its name, or by the beginning of it, in upper or lower case
  tapewright tone --play --output alsa:default
      an output by its id; the same way for watch --ticks --output

A microphone input will do only with its automatic gain and noise suppression switched off.";

impl ReferenceOptions {
    /// Reads the card that was named.
    pub fn read_card(&mut self) -> Result<(), CardError> {
        self.card = self
            .tape
            .as_deref()
            .map(|named| cards::read(&self.data.places(), named))
            .transpose()?;
        Ok(())
    }

    /// What is measured against: as it was said, else as the card says.
    pub fn reference(&self) -> Reference {
        let of_card = || self.card.as_ref().and_then(TapeCard::reference);
        let usual = Reference::Tone(crate::readings::USUAL_TONES[0]);
        self.said.clone().or_else(of_card).unwrap_or(usual)
    }

    /// Says something else instead, or nothing any more, with the card of its
    /// tape.
    pub fn say(&mut self, reference: Option<Reference>, card: Option<TapeCard>) {
        self.said = reference;
        self.card = card;
    }

    /// Which frequency is right; only assumed where neither the command line nor
    /// the tape's card says so.
    pub fn nominal(&self) -> Nominal {
        let of_card = self.card.as_ref().and_then(TapeCard::reference);
        match self.reference() {
            Reference::Tone(hz) if self.said.is_none() && of_card.is_none() => Nominal::Assumed(hz),
            reference => reference.nominal(),
        }
    }

    /// What the engine is told, of a machine of this name.
    pub fn conditions(&self, machine: Option<&str>) -> Conditions {
        Conditions {
            kind: self.reference().kind(),
            nominal: self.nominal(),
            reference: match &self.card {
                Some(card) => card.reference_error(machine),
                None => TapeError::reference_error(self.tape_error),
            },
            clock: self.clock.unwrap_or_default(),
        }
    }

    /// Which channel the engine is told to take.
    pub fn choice(&self) -> ChannelChoice {
        self.channel.choice()
    }
}

fn number_between(text: &str, low: f64, high: f64, what: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(value) if (low..=high).contains(&value) => Ok(value),
        _ => Err(format!("must be {what} between {low} and {high}")),
    }
}

fn uncertainty(text: &str) -> Result<f64, String> {
    number_between(text, 0.0, 10_000.0, "a number")
}

fn seconds(text: &str) -> Result<f64, String> {
    number_between(text, 0.0, 1e7, "a number of seconds")
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn the_table_is_sound() {
        Cli::command().debug_assert();
    }

    /// Every option has a long name, of whole words.
    #[test]
    fn long_options_are_spelled_in_full_words() {
        // Short forms that are used elsewhere for words.
        const SHORT_FORMS: [&str; 24] = [
            "avg", "chan", "cfg", "config", "conf", "dev", "dir", "dst", "err", "fmt", "freq",
            "in", "lang", "len", "max", "min", "msg", "num", "out", "ref", "sec", "src", "tol",
            "vol",
        ];
        fn look(command: &clap::Command) {
            for option in command.get_arguments().filter(|it| !it.is_positional()) {
                let long = option.get_long().expect("a long name");
                for word in long.split('-') {
                    let is_whole = word.len() > 1
                        && word.contains(['a', 'e', 'i', 'o', 'u', 'y'])
                        && !SHORT_FORMS.contains(&word);
                    assert!(is_whole, "--{long}");
                }
            }
            command.get_subcommands().for_each(look);
        }
        look(&Cli::command());
    }

    #[test]
    fn nothing_said_is_the_same_as_bare_watch() {
        let Some(Command::Watch(said)) = Cli::try_parse_from(["tapewright", "watch"])
            .expect("parses")
            .command
        else {
            panic!("watch was not understood");
        };
        let Command::Watch(unsaid) = Command::default() else {
            panic!("the default is not watch");
        };
        assert_eq!(format!("{said:?}"), format!("{unsaid:?}"));
    }
}
