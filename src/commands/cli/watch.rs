//! What `tapewright watch` understands.

use std::path::PathBuf;

use clap::builder::BoolishValueParser;
use clap::{ArgAction, Args};

use super::{PartsChoice, ReferenceOptions, RunOptions, TicksOptions};
use crate::records::About;
use crate::references::Tolerance;

/// `tapewright watch`.
#[derive(Args, Debug, Default)]
pub struct WatchOptions {
    /// Sound input by name or id, as `tapewright inputs` lists it
    #[arg(long, short, value_name = "NAME-OR-ID", conflicts_with = "file")]
    pub input: Option<String>,

    /// A recording, played into the same path at its own pace
    #[arg(long, short, value_name = "FILE")]
    pub file: Option<PathBuf>,

    /// With --file: as fast as it goes
    #[arg(long, requires = "file")]
    pub fast: bool,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub sitting: SittingOptions,
}

/// What every sitting at the screen takes.
#[derive(Args, Debug, Default)]
pub struct SittingOptions {
    #[command(flatten)]
    #[allow(missing_docs)]
    pub reference: ReferenceOptions,

    /// When is it right: portable (1 %), deck (0.5 %), professional (0.1 %)
    /// or a half width in percent
    #[arg(long, short, value_name = "BAND", default_value = "deck")]
    pub tolerance: Tolerance,

    /// Name of the machine on the bench, kept in the job
    #[arg(long, short, value_name = "NAME")]
    pub machine: Option<String>,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub job: JobOptions,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub parts: PartsChoice,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub runs: RunOptions,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub by_ear: TicksOptions,

    /// Keep a log: a line of JSON a second into a new file
    ///
    /// Speed, flutter and health of a whole side, in constant memory. A program
    /// that is killed loses a second of it at most. Start, middle and end are
    /// told on leaving; tapewright help records describes the lines.
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,

    /// Plain characters only, for terminals without Unicode
    ///
    /// Taken by itself where the locale is not UTF-8 and on the Linux console.
    #[arg(long, value_name = "true|false", num_args = 0..=1, require_equals = true,
          default_value = "false", default_missing_value = "true", hide_default_value = true,
          hide_possible_values = true, action = ArgAction::Set, value_parser = BoolishValueParser::new())]
    pub ascii: bool,
}

/// The job that what is kept goes into, and what is said of its machine.
#[derive(Args, Clone, Debug, Default)]
pub struct JobOptions {
    /// Job that what is kept goes into: a new one, or one to go on with
    ///
    /// By its name, or by a file that ends in .jsonl. A job of one machine
    /// takes nothing of another. [default: one of the day and the machine,
    /// made when something is kept]
    #[arg(long, value_name = "NAME")]
    pub job: Option<String>,

    /// Serial number of the machine, kept in the job as it is typed
    #[arg(long, value_name = "TEXT")]
    pub serial: Option<String>,

    /// What the owner says of the machine, kept in the job
    #[arg(long, value_name = "TEXT")]
    pub owner_note: Option<String>,

    /// How the machine is supplied, kept in the job: "4 cells", "bench supply 6 V"
    #[arg(long, value_name = "TEXT")]
    pub supply: Option<String>,
}

impl JobOptions {
    /// What is said of the machine beside its name.
    pub fn said(&self) -> Vec<(About, String)> {
        let said = [
            (About::Serial, &self.serial),
            (About::OwnerNote, &self.owner_note),
            (About::Supply, &self.supply),
        ];
        let said = said.into_iter().filter_map(|(about, text)| {
            let text = text.as_deref()?.trim();
            (!text.is_empty()).then(|| (about, text.to_owned()))
        });
        said.collect()
    }
}

pub(super) const ABOUT: &str = "\
Watch the speed live while you turn the trimmer

Play a test tape on the machine, its line or headphone output wired to a sound input of this \
computer. The screen shows the deviation from right speed in large digits, with SLOW or FAST and \
a ±, a needle that zooms in as the speed comes right, the trend, drift, wow, flutter, and the \
health of the signal. What is not yet known well enough says so.

Keys keep a snapshot before the work (b) and after it (a); both then stand side by side and are \
saved in a job: a file of its own for each machine and day, or the one that --job names. Checks of \
the wiper and notes (e) go there too; 9 shows the job and what the machine read last time, which \
stands faintly behind the needle. Leaving with q tells before and after, the verdict, the file and \
the command that makes its sheet. ? on the screen shows all keys.

Without a choice the default sound input is taken. On a computer with no sound input at all, and \
only there, a simulated machine takes its place, and the screen says so; tapewright practise asks for it. \
An input that is lost is waited for.";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright watch
          the default sound input; which tone the tape carries is asked
  tapewright watch --reference 3150
          the same with what stands on the tape's label
  tapewright watch --input \"usb audio\" --reference tone:3000
          an input by its name, and a tape that carries 3000 Hz
  tapewright watch --tape-error -0.2±0.1
          a tape known to play 0.2 % low, give or take 0.1 %: now the screen
          can say IN TOLERANCE
  tapewright watch --tolerance professional --machine \"studio 2\"
          a band of ±0.1 %, and a name that is kept with the snapshots
  tapewright watch --job \"repair 117\" --machine \"studio 2\" --serial 0042
          a job of that name, begun or gone on with, and what is kept with it
  tapewright watch --speeds 19.05,9.53 --directions both
          a machine with two speeds that plays both ways: four runs, each with
          its own before and after; d goes to the next
  tapewright watch --file side-a.wav
          a recording instead of an input, at its own pace
  tapewright watch --log side-a.jsonl
          a whole side: a line a second goes into a new file
  tapewright watch --ticks --output \"usb speaker\"
          ticks for the ear while the eyes stay on the screwdriver: one at a
          time slow, two fast, a roll right, a rattle stop; x mutes

Cautions:
  Mains parts can kill, also after the plug is pulled. Open and trim a live
  machine only if you are trained to, with an insulated tool.
  Power off before contact cleaner; it is flammable: ventilate, let it dry.
  Keep hair, sleeves and fingers off belts and flywheels.
  Ticks: in headphones start at the lowest level, and name an output that
  leads to neither the machine nor the sound input.
  Switch a microphone input's automatic gain and noise suppression off.

--color never, or NO_COLOR in the environment, takes the colours away.

Exit status: 0 left by key, 2 usage, 3 a file could not be read, 5 sound input,
6 no terminal.";
