//! What `tapewright watch` understands.

use std::path::PathBuf;

use clap::Args;

use super::{ReferenceOptions, RunOptions, TicksOptions};
use crate::references::Tolerance;
use crate::rehearsal::TrimmerFault;

/// `tapewright watch`.
#[derive(Args, Debug)]
pub struct WatchOptions {
    /// Sound input by name or id, as `tapewright inputs` lists it
    #[arg(long, short, value_name = "NAME-OR-ID", conflicts_with_all = ["file", "rehearse"])]
    pub input: Option<String>,

    /// A recording, played into the same path at its own pace
    #[arg(long, short, value_name = "FILE", conflicts_with = "rehearse")]
    pub file: Option<PathBuf>,

    /// With --file: as fast as it goes
    #[arg(long, requires = "file")]
    pub fast: bool,

    /// Practise on a simulated machine
    #[arg(long)]
    pub rehearse: bool,

    /// With --rehearse: which simulated machine; the same number is the same
    /// machine
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pub seed: u64,

    /// With --rehearse: what is wrong with its trimmer
    #[arg(long, value_enum, value_name = "FAULT", default_value_t = TrimmerChoice::Dirty)]
    pub trimmer: TrimmerChoice,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub reference: ReferenceOptions,

    /// When is it right: portable (1 %), deck (0.5 %), professional (0.1 %)
    /// or a half width in percent
    #[arg(long, short, value_name = "BAND", default_value = "deck")]
    pub tolerance: Tolerance,

    /// Name of the machine on the bench, kept with every snapshot
    #[arg(long, short, value_name = "NAME")]
    pub machine: Option<String>,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub runs: RunOptions,

    /// Record file for snapshots instead of the usual one
    ///
    /// One line a snapshot, only ever appended to. The usual one lies in the
    /// system's folder for data; rehearsals have one of their own there.
    #[arg(long, value_name = "FILE")]
    pub record: Option<PathBuf>,

    /// File of clock figures instead of the usual one
    ///
    /// What tapewright clock measured of the sample clock of this input is
    /// applied, unless --clock-error or --clock-uncertainty say otherwise.
    #[arg(long, value_name = "FILE")]
    pub clocks: Option<PathBuf>,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub by_ear: TicksOptions,

    /// Plain characters only, for terminals without Unicode
    ///
    /// Taken by itself where the locale is not UTF-8 and on the Linux console.
    #[arg(long)]
    pub ascii: bool,
}

impl Default for WatchOptions {
    fn default() -> Self {
        Self {
            input: None,
            file: None,
            fast: false,
            rehearse: false,
            seed: 1,
            trimmer: TrimmerChoice::Dirty,
            reference: ReferenceOptions::default(),
            tolerance: Tolerance::default(),
            machine: None,
            runs: RunOptions::default(),
            record: None,
            clocks: None,
            by_ear: TicksOptions::default(),
            ascii: false,
        }
    }
}

/// What is wrong with the trimmer of the simulated machine.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum TrimmerChoice {
    /// Dirt where the wiper rested: cleaning cures it
    #[default]
    Dirty,
    /// The track is worn there: cleaning does not help
    Worn,
    /// A tenth of the travel changes nothing
    Dead,
    /// Right speed lies at the end of the travel: the fault is elsewhere
    AtTheEnd,
    /// Nothing is wrong with it
    Clean,
}

impl From<TrimmerChoice> for TrimmerFault {
    fn from(choice: TrimmerChoice) -> Self {
        match choice {
            TrimmerChoice::Dirty => Self::Dirty,
            TrimmerChoice::Worn => Self::Worn,
            TrimmerChoice::Dead => Self::Dead,
            TrimmerChoice::AtTheEnd => Self::AtTheEnd,
            TrimmerChoice::Clean => Self::None,
        }
    }
}

pub(super) const ABOUT: &str = "\
Watch the speed live while you turn the trimmer

Play a test tape on the machine, its line or headphone output wired to a sound input of this \
computer. The screen shows the deviation from right speed in large digits, with SLOW or FAST and \
a ±, a needle that zooms in as the speed comes right, the trend, drift, wow, flutter, and the \
health of the signal. What is not yet known well enough says so.

Keys keep a snapshot before the work (b) and after it (a); both then stand side by side and are \
saved in a record, which `tapewright snapshots` lists. ? on the screen shows all keys.

Without a choice the default sound input is taken. On a computer with no sound input at all, and \
only there, a simulated machine takes its place, and the screen says so; --rehearse asks for it. \
An input that is lost is waited for.";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright watch
          the default sound input; which tone the tape carries is asked
  tapewright watch --reference 3150
          the same with what stands on the tape's label
  tapewright watch --rehearse
          practise the whole job on a simulated machine: before, clean, trim,
          after; another --seed is another machine
  tapewright watch --rehearse --trimmer at-the-end
          the same with a trimmer that is not to blame; also worn, dead, clean
  tapewright watch --input \"usb audio\" --reference tone:3000
          an input by its name, and a tape that carries 3000 Hz
  tapewright watch --reference-error -0.2 --reference-uncertainty 0.1
          a tape known to play 0.2 % low, give or take 0.1 %: now the screen
          can say IN TOLERANCE
  tapewright watch --tolerance professional --machine \"studio 2\"
          a band of ±0.1 %, and a name that is kept with the snapshots
  tapewright watch --speeds 19.05,9.53 --directions both
          a machine with two speeds that plays both ways: four runs, each with
          its own before and after; d goes to the next
  tapewright watch --file side-a.wav
          a recording instead of an input, at its own pace

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

NO_COLOR in the environment takes the colours away.

Exit status: 0 left by key, 2 usage, 3 a file could not be read, 5 sound input,
6 no terminal.";
