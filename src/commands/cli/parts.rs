//! What `tapewright parts` understands, and `--parts` where lines are read.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::{DataOptions, ReferenceOptions, number_between};
use crate::records::cards::{self, CardError};
use crate::records::places::Places;
use crate::references::parts::PartsCard;

/// The card that lines are held against.
#[derive(Args, Clone, Debug, Default)]
pub struct PartsChoice {
    /// Card of the machine's rotating parts, by its name or file: see
    /// tapewright parts
    ///
    /// Regular wavering is held against it: which part turns as often as that?
    /// [default: the card with the name of --machine, if there is one]
    #[arg(long = "parts", value_name = "CARD")]
    pub named: Option<String>,

    /// What that card says; read by [`Self::read_card`].
    #[arg(skip)]
    pub card: Option<PartsCard>,
}

impl PartsChoice {
    /// Reads the card that was named, else that of the machine of this name.
    pub fn read_card(&mut self, places: &Places, machine: Option<&str>) -> Result<(), CardError> {
        let of_machine = || {
            let known = machine.and_then(|machine| cards::of_machine(places, machine));
            known.map(|(_, card)| card).transpose()
        };
        self.card = match &self.named {
            Some(named) => Some(cards::read(places, named)?),
            None => of_machine()?,
        };
        Ok(())
    }
}

pub(super) const ABOUT: &str = "\
List, show, make and learn the rotating parts of machines

A speed that wavers regularly has lines in its flutter. A part that turns as often as a line may \
be behind it: a parts card lists the rotating parts of a machine, with how often each turns at \
nominal speed and how well that is known. --parts CARD on watch and read then names them.

Cards for kinds of machine come with the program; their tolerances are wide, so they only hint. A \
card of your own is a small text file in the folder of this program's data, or where you say.";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright parts
          the cards there are
  tapewright parts show \"portable cassette\"
          its parts and how often each turns
  tapewright parts show \"bench deck\" --deviation -1.2
          the same on a machine that runs 1.2 % slow
  tapewright parts make \"bench deck\"
          asks for one part after the other
  tapewright parts learn \"bench deck\" side-a.wav --line 6.08 --part capstan
          the line near 6.08 turns a second was recognised as the capstan's: its
          rate at nominal speed goes on the card
  tapewright read --parts \"bench deck\" side-a.wav
          which part wavers

What a card may say stands in tapewright help lines.

A rate is all that a line tells. A part that is not on the card, or a line that
was recorded on the tape, may have the same: try another tape, count turns by eye.

Cautions:
  Keep hair, sleeves, fingers and tools off turning parts; mark a part for
  counting with the power off.

Exit status: 0 done, 2 usage, 3 a card or recording could not be read or written, 4 no
usable tone or no such line in the recording, 6 no terminal to ask at.";

/// `tapewright parts`.
#[derive(Args, Debug)]
pub struct PartsOptions {
    /// What to do; the list when nothing is said.
    #[command(subcommand)]
    pub action: Option<PartsAction>,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub data: DataOptions,
}

/// What `tapewright parts` can do.
#[derive(Debug, Subcommand)]
pub enum PartsAction {
    /// List the cards (as without this word)
    List,
    /// Show the parts of a card and how often each turns
    Show {
        /// Name of the card, or its file
        #[arg(value_name = "CARD")]
        card: String,
        /// How far the machine is off, in percent; positive is fast
        #[arg(long, value_name = "PERCENT", allow_hyphen_values = true, value_parser = percent, default_value = "0")]
        deviation: f64,
    },
    /// Make a card step by step
    Make {
        /// Name of the card, or a file for it (name.toml)
        #[arg(value_name = "CARD")]
        card: String,
        /// Take the place of a card of this name
        #[arg(long)]
        replace: bool,
    },
    /// Put a part on a card whose line was recognised in a recording
    Learn(Box<LearnPart>),
}

/// `tapewright parts learn`.
#[derive(Args, Debug)]
pub struct LearnPart {
    /// Name of the card, or its file; made where there is none
    #[arg(value_name = "CARD")]
    pub card: String,
    /// Recording of a test tone, played on the machine
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// The line, in turns a second as heard
    #[arg(long, value_name = "HZ", value_parser = line_hz)]
    pub line: f64,
    /// What the part is called
    #[arg(long, value_name = "NAME")]
    pub part: String,
    /// How often a turn the line comes: 2 for twice
    #[arg(long, value_name = "TIMES", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=1000))]
    pub times: u32,
    /// Put the rate of a part right that stands on the card already
    #[arg(long)]
    pub replace: bool,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub reference: ReferenceOptions,
}

fn percent(text: &str) -> Result<f64, String> {
    number_between(text, -50.0, 100.0, "a number of percent")
}

fn line_hz(text: &str) -> Result<f64, String> {
    number_between(text, 0.05, 500.0, "turns a second")
}
