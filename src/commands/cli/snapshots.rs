//! What `tapewright snapshots` understands.

use clap::{Args, Subcommand};

use super::DataOptions;

pub(super) const ABOUT: &str = "\
List and compare kept snapshots

Lists what was kept in tapewright watch, oldest first, or puts two of them side by side and says \
what changed.

A record is a file of one JSON object a line in the data folder of your system. It is only ever \
added to. A last line that was torn by a power cut is reported, and set aside by the next \
snapshot; nothing before it is touched.";

pub(super) const EXAMPLES: &str = "\
Examples:
  tapewright snapshots
          all of them; the newest is the last
  tapewright snapshots --machine \"deck 4\"
          those of one machine
  tapewright snapshots compare
          the newest after, and the newest before of the same machine, speed
          and direction
  tapewright snapshots compare 3 7
          the third and the seventh of the list
  tapewright snapshots --rehearsal
          what was kept of the simulated machine

Columns of the list: the number to call it by, when it was kept, machine, what
it was kept as, deviation of speed with its ± (positive is fast), weighted
flutter (two-sigma), note.

Exit status: 0 done, 2 usage or nothing to compare, 3 the record could not be
read.";

/// `tapewright snapshots`.
#[derive(Args, Debug)]
pub struct SnapshotsOptions {
    /// What to do; the list when nothing is said.
    #[command(subcommand)]
    pub action: Option<SnapshotsAction>,

    /// Only those of this machine
    #[arg(long, short, value_name = "NAME", global = true)]
    pub machine: Option<String>,

    #[command(flatten)]
    #[allow(missing_docs)]
    pub data: DataOptions,

    /// The record of the simulated machine
    #[arg(long, global = true)]
    pub rehearsal: bool,
}

/// What `tapewright snapshots` can do.
#[derive(Debug, Subcommand)]
pub enum SnapshotsAction {
    /// List them (as without this word)
    List,
    /// Put two side by side and say what changed
    Compare {
        /// Their numbers in the list [default: the newest after, and the
        /// newest before of the same machine, speed and direction]
        #[arg(value_name = "NUMBER", num_args = 2)]
        numbers: Vec<usize>,
    },
}
