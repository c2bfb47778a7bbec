//! What `tapewright tape` understands.

use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::stated::known_percent;
use super::{DataOptions, ReferenceOptions};
use crate::references::{Reference, WithUncertainty};

pub(super) const ABOUT: &str = "\
Make, show and list the cards of reference tapes

A reading is only as true as the tape. A card says what a tape carries, how far its own speed is \
off, how well that is known, and how it was found out; --tape CARD on watch and read then takes \
the tape's own error out of every reading and puts its ± in.

A card comes from the tape's certificate (certify), or from a recording of the tape played on a \
machine whose own error is known (measure): that machine's error and ± go in. It is a small text \
file in the folder of this program's data, or where you say.

A tape that was recorded on the machine under test reads right at any speed of it. Say on the card \
where the tape was recorded (--recorded-on), and name the machine under test with --machine: the \
program then refuses to call what it reads a speed error.";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright tape
          the cards there are
  tapewright tape certify \"tone tape 3\" --error -0.2±0.1 --carries tone:3150
          from the tape's data sheet
  tapewright tape measure \"home tone\" tape.wav --reference tone:3150 --machine-error 0.05±0.03
          from a recording of it, played on a machine that is 0.05 % fast
  tapewright tape show \"home tone\"
          what a card says
  tapewright read --tape \"home tone\" side-a.wav
          measured with that tape

An error is positive where the tape plays high on a true machine; a tape that was
recorded on a fast machine plays low. Each ± is for 95 %.

Exit status: 0 done, 2 usage, 3 a card or recording could not be read or written, 4 no
usable reference in the recording.";

/// `tapewright tape`.
#[derive(Args, Debug)]
pub struct TapeOptions {
    /// What to do; the list when nothing is said.
    #[command(subcommand)]
    pub action: Option<TapeAction>,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub data: DataOptions,
}

/// What `tapewright tape` can do.
#[derive(Debug, Subcommand)]
pub enum TapeAction {
    /// List the cards (as without this word)
    List,
    /// Show what a card says
    Show {
        /// Name of the card, or its file
        #[arg(value_name = "CARD")]
        card: String,
    },
    /// Make a card from a certificate or data sheet
    Certify {
        #[command(flatten)]
        #[allow(missing_docs)]
        new: NewCard,
        /// The tape's own error in percent with its ± (95 %), positive where it
        /// plays high on a true machine: -0.2±0.1 (or -0.2+-0.1)
        #[arg(long, value_name = "ERROR±", allow_hyphen_values = true, value_parser = known_percent)]
        error: WithUncertainty,
        /// Number or words of the certificate
        #[arg(long, value_name = "TEXT")]
        certificate: Option<String>,
        /// What the tape carries, as --reference takes it
        #[arg(long, value_name = "REFERENCE")]
        carries: Option<Reference>,
    },
    /// Make a card from a recording of the tape, played on a machine whose own
    /// error is known
    Measure(Box<MeasureTape>),
}

/// A card that is made.
#[derive(Args, Debug)]
pub struct NewCard {
    /// Name of the card, or a file for it (name.toml)
    #[arg(value_name = "CARD")]
    pub card: String,
    /// Name of the machine that the tape was recorded on [default when
    /// measured: what the tape says of itself]
    #[arg(long, value_name = "MACHINE")]
    pub recorded_on: Option<String>,
    /// Take the place of a card of this name
    #[arg(long)]
    pub replace: bool,
}

/// `tapewright tape measure`. What says the tape's own error is not asked for:
/// it is what is to be found.
#[derive(Args, Debug)]
#[command(
    mut_arg("tape", |it| it.hide(true)),
    mut_arg("tape_error", |it| it.hide(true))
)]
pub struct MeasureTape {
    #[command(flatten)]
    #[allow(missing_docs)]
    pub new: NewCard,
    /// Recording of the tape, made on the trusted machine
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// That machine's own speed error in percent with its ± (95 %), positive
    /// where it is fast: 0.1±0.05 (or 0.1+-0.05)
    #[arg(long, value_name = "ERROR±", allow_hyphen_values = true, value_parser = known_percent)]
    pub machine_error: WithUncertainty,
    /// Name of that machine
    #[arg(long, value_name = "MACHINE")]
    pub played_on: Option<String>,
    #[command(flatten)]
    #[allow(missing_docs)]
    pub reference: ReferenceOptions,
}
