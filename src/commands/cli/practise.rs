//! What `tapewright practise` understands.

use clap::Args;

use super::SittingOptions;
use crate::rehearsal::{PartFault, TrimmerFault};

/// `tapewright practise`.
#[derive(Args, Debug)]
pub struct PractiseOptions {
    /// Which simulated machine; the same number is the same machine
    #[arg(value_name = "NUMBER", default_value_t = 1)]
    pub number: u64,

    /// What is wrong with its trimmer
    #[arg(long, value_enum, value_name = "FAULT", default_value_t = TrimmerChoice::Dirty)]
    pub fault: TrimmerChoice,

    /// Which part of its transport is at fault; told on leaving
    #[arg(long, value_enum, value_name = "FAULT")]
    pub part: Option<PartChoice>,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub sitting: SittingOptions,
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

/// What is wrong with the transport of the simulated machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum PartChoice {
    /// Any of these, by the number of the machine
    Any,
    /// Capstan or flywheel
    Capstan,
    /// Pinch roller
    PinchRoller,
    /// Belt
    Belt,
    /// Motor
    Motor,
    /// A reel, whose rate goes with the pack
    Reel,
    /// Idler or guide roller
    Idler,
    /// Ripple of the mains, which keeps its rate
    Ripple,
    /// A governor that hunts
    Hunting,
    /// Cells that run down
    TiredCells,
    /// The two channels apart in time
    Azimuth,
    /// None, but its parts turn
    Sound,
}

impl PartChoice {
    /// The fault in the machine of this number.
    pub fn fault(self, seed: u64) -> PartFault {
        match self {
            Self::Any => PartFault::of_seed(seed),
            Self::Capstan => PartFault::Capstan,
            Self::PinchRoller => PartFault::PinchRoller,
            Self::Belt => PartFault::Belt,
            Self::Motor => PartFault::Motor,
            Self::Reel => PartFault::Reel,
            Self::Idler => PartFault::Idler,
            Self::Ripple => PartFault::Ripple,
            Self::Hunting => PartFault::Hunting,
            Self::TiredCells => PartFault::TiredCells,
            Self::Azimuth => PartFault::Azimuth,
            Self::Sound => PartFault::None,
        }
    }
}

pub(super) const ABOUT: &str = "\
Practise the whole job on a simulated machine

The same screen and the same keys as tapewright watch, on an invented machine whose trimmer you \
turn with the arrow keys: look, keep a before, clean, check the wiper, trim, hands off, keep an \
after. What is kept goes into jobs apart from those of real machines (tapewright snapshots --rehearsal).";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright practise
          the first machine, with dirt on its trimmer; Space goes from step to
          step
  tapewright practise 7
          another machine
  tapewright practise --fault at-the-end
          a trimmer that is not to blame; also worn, dead, clean
  tapewright practise 3 --part any
          a part of the transport is at fault too: which one is told on leaving

On a real machine the cautions count that the steps show (s): mains parts can
kill, cleaner is flammable, belts and flywheels catch fingers.

Exit status: 0 left by key, 2 usage, 3 a file could not be read or written,
5 sound output, 6 no terminal.";
